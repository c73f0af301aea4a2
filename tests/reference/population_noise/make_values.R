# Non-linear mixed models by maximum likelihood with unequal spread and correlated neighbours.
library(nlme)
rows <- read.csv("data.csv")
rows$participant <- factor(rows$participant)
control <- nlmeControl(tolerance = 1e-9, pnlsTol = 1e-9, msTol = 1e-12, maxIter = 500, pnlsMaxIter = 100,
                       msMaxIter = 500, returnObject = TRUE, minScale = 1e-12)
once <- function(random, ...) nlme(
  y ~ A + G * exp(-exp(l) * (block - 1)), data = rows, fixed = A + G + l ~ 1, random = random,
  start = c(A = 19, G = 13, l = -1.9), method = "ML", control = control, ...)
full <- A + G ~ 1 | participant
diagonal <- list(participant = pdDiag(A + G ~ 1))
fits <- list(
  diagonal = once(diagonal),
  ar1 = once(full, correlation = corAR1(form = ~ block | participant)),
  practice = once(full, weights = varPower(form = ~ block)),
  practice_ar1 = once(full, weights = varPower(form = ~ block), correlation = corAR1(form = ~ block | participant)))
cat("{\n")
for (name in names(fits)) {
  fit <- fits[[name]]
  v <- fit$modelStruct$varStruct
  r <- fit$modelStruct$corStruct
  sds <- as.numeric(VarCorr(fit)[c("A", "G"), "StdDev"])
  link <- if (name == "diagonal") 0 else corMatrix(fit$modelStruct$reStruct[[1]])[1, 2]
  cat(sprintf('  "%s": {"asymptote": %.10f, "gain": %.10f, "log_rate": %.10f, "loglik": %.8f, "residual_sd": %.10f, "sd": [%.10f, %.10f], "link": %.10f, "spread_power": %s, "correlation": %s}%s\n',
      name, fixef(fit)["A"], fixef(fit)["G"], fixef(fit)["l"], as.numeric(logLik(fit)), fit$sigma, sds[1], sds[2], link,
      if (is.null(v)) "null" else sprintf("%.8f", coef(v, unconstrained = FALSE)),
      if (is.null(r)) "null" else sprintf("%.8f", coef(r, unconstrained = FALSE)),
      if (name == "practice_ar1") "" else ","))
}
cat("}\n")
