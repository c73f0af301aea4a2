# Generalised nonlinear least squares by maximum likelihood; tight tolerances.
library(nlme)
rows <- read.csv("data.csv")
control <- gnlsControl(tolerance = 1e-6, nlsTol = 1e-5, minScale = 1e-12, msTol = 1e-10, returnObject = TRUE, msMaxIter = 500,
                       maxIter = 500, nlsMaxIter = 100)
model <- error ~ a + g * exp(-exp(l) * (trial - 1))
start <- c(a = 20, g = 16, l = log(.08))
fits <- list(
  mean_ar1 = gnls(model, rows, start = start, weights = varPower(form = ~ fitted(.)),
                  correlation = corAR1(form = ~ trial), control = control),
  practice = gnls(model, rows, start = start, weights = varPower(form = ~ trial),
                  control = control),
  ar1 = gnls(model, rows, start = start, correlation = corAR1(form = ~ trial), control = control))
cat("{\n")
for (name in names(fits)) {
  fit <- fits[[name]]
  v <- fit$modelStruct$varStruct
  r <- fit$modelStruct$corStruct
  cat(sprintf('  "%s": {"asymptote": %.10f, "gain": %.10f, "log_rate": %.10f, "loglik": %.8f, "spread_power": %s, "correlation": %s}%s\n',
      name, coef(fit)["a"], coef(fit)["g"], coef(fit)["l"], as.numeric(logLik(fit)),
      if (is.null(v)) "null" else sprintf("%.8f", coef(v, unconstrained = FALSE)),
      if (is.null(r)) "null" else sprintf("%.8f", coef(r, unconstrained = FALSE)),
      if (name == "ar1") "" else ","))
}
cat("}\n")
