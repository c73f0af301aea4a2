# Non-linear mixed models of logarithms by maximum likelihood: the logarithm of the curve is their mean.
library(nlme)
rows <- read.csv("data.csv")
rows$participant <- factor(rows$participant)
control <- nlmeControl(tolerance = 1e-9, pnlsTol = 1e-9, msTol = 1e-12, maxIter = 500, pnlsMaxIter = 100,
                       msMaxIter = 500, returnObject = TRUE, minScale = 1e-12)
once <- function(random) nlme(
  log(y) ~ log(A + G * exp(-exp(l) * (block - 1))), data = rows, fixed = A + G + l ~ 1, random = random,
  start = c(A = 19, G = 13, l = -1.5), method = "ML", control = control)
fits <- list(asymptote = once(list(participant = pdDiag(A ~ 1))), both = once(list(participant = pdDiag(A + G ~ 1))))
cat("{\n")
for (name in names(fits)) {
  fit <- fits[[name]]
  cat(sprintf('  "%s": {"asymptote": %.10f, "gain": %.10f, "log_rate": %.10f, "loglik_of_scores": %.8f, "residual_sd": %.10f, "se": [%s], "sd": [%s]}%s\n',
      name, fixef(fit)["A"], fixef(fit)["G"], fixef(fit)["l"], as.numeric(logLik(fit)) - sum(log(rows$y)), fit$sigma,
      paste(sprintf("%.8f", sqrt(diag(vcov(fit)))), collapse = ", "),
      paste(sprintf("%.8f", as.numeric(VarCorr(fit)[, "StdDev"])[seq_len(if (name == "both") 2 else 1)]), collapse = ", "),
      if (name == "both") "" else ","))
}
cat("}\n")
