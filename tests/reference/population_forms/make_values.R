# S-shaped and two-process curves of a population by maximum likelihood, learners differing in asymptote and gain
# (where the likelihood is exact), and in asymptote, gain and tempo (where nlme's is an approximation).
library(nlme)
all <- read.csv("data.csv")
all$participant <- factor(all$participant)
control <- nlmeControl(tolerance = 1e-9, pnlsTol = 1e-9, msTol = 1e-12, maxIter = 500, pnlsMaxIter = 100,
                       msMaxIter = 500, returnObject = TRUE, minScale = 1e-12)
share <- function(u, low, high) low + (high - low) / (1 + exp(-u))
models <- list(
  s_shaped = y ~ A + G / (1 + exp(exp(l) * block - exp(d))),
  two_processes = y ~ A + G * (share(f, .02, .98) * exp(-exp(l) * (block - 1)) +
                               (1 - share(f, .02, .98)) * exp(-share(s, 1e-3, .8) * exp(l) * (block - 1))))
fixed <- list(s_shaped = A + G + l + d ~ 1, two_processes = A + G + l + s + f ~ 1)
start <- list(s_shaped = c(A = 20, G = 12, l = log(.3), d = log(4)),
              two_processes = c(A = 20, G = 12, l = log(.5), s = -1.7, f = 0))
out <- c()
for (form in names(models)) for (kind in c("exact", "tempo")) {
  random <- list(participant = if (kind == "exact") pdDiag(A + G ~ 1) else pdDiag(A + G + l ~ 1))
  fit <- nlme(models[[form]], data = all[all$form == form, ], fixed = fixed[[form]], random = random,
              start = start[[form]], method = "ML", control = control)
  e <- fixef(fit)
  shared <- if (form == "s_shaped") exp(e["d"]) else c(share(e["s"], 1e-3, .8), share(e["f"], .02, .98))
  out <- c(out, sprintf('  "%s, %s": {"estimates": [%s], "shared": [%s], "sd": [%s], "residual_sd": %.8f, "loglik": %.8f, "se": [%s]}',
    form, kind, paste(sprintf("%.8f", e[1:3]), collapse = ", "), paste(sprintf("%.8f", shared), collapse = ", "),
    paste(sprintf("%.8f", head(as.numeric(VarCorr(fit)[, "StdDev"]), -1)), collapse = ", "), fit$sigma,
    as.numeric(logLik(fit)), paste(sprintf("%.8f", sqrt(diag(fit$varFix))), collapse = ", ")))
}
cat("{\n", paste(out, collapse = ",\n"), "\n}\n", sep = "")
