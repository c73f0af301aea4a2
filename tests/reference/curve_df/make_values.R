# Degrees of freedom of a curve whose rate is known: a straight line on x = exp(-.05 (n - 1)).
# Rscript make_values.R, in this folder
suppressMessages({
  library(nlme)
  library(emmeans)
})
rows <- read.csv("data.csv")
fit <- gls(y ~ x, rows,
  correlation = corAR1(form = ~n), weights = varPower(form = ~n), method = "REML",
  control = glsControl(tolerance = 1e-10, msTol = 1e-12)
)
print(summary(fit)$tTable, digits = 9)
print(coef(fit$modelStruct, unconstrained = FALSE), digits = 9)
ends <- emmeans(fit, ~x, at = list(x = c(0, 1)), mode = "satterthwaite")
print(as.data.frame(ends), digits = 6)
print(as.data.frame(emtrends(fit, ~1, var = "x", mode = "satterthwaite")), digits = 6)
