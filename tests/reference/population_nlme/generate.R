# Fits data.csv with nlme at tight tolerances and writes values.json.
library(nlme)
rows <- read.csv("data.csv")
rows$participant <- factor(rows$participant)
rows$group <- factor(rows$group)
fit <- nlme(
  y ~ A + G * exp(-exp(lr) * (block - 1)), data = rows,
  fixed = A + G + lr ~ group, random = A + G + lr ~ 1 | participant,
  start = c(20, 0, 12, 0, -1.4, 0), method = "ML",
  control = nlmeControl(
    maxIter = 500, msMaxIter = 500, pnlsMaxIter = 200,
    tolerance = 1e-10, pnlsTol = 1e-10, msTol = 1e-12, returnObject = TRUE
  )
)
covariance <- as.matrix(fit$modelStruct$reStruct[[1]]) * fit$sigma^2
numbers <- function(x) paste(sprintf("%.10g", x), collapse = ", ")
cat(sprintf(
  '{"loglik": %.10g, "fixed": [%s], "covariance": [%s], "sigma": %.10g, "version": "%s"}\n',
  as.numeric(logLik(fit)), numbers(fixef(fit)), numbers(covariance), fit$sigma,
  paste("R", getRversion(), "nlme", packageVersion("nlme"))
), file = "values.json")
