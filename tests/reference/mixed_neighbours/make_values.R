# Ovary of Pierson & Ginther (1987), as R's nlme carries it, with residuals of neighbours that are alike.
library(nlme); library(jsonlite)
O <- as.data.frame(Ovary); O$s <- sin(2 * pi * O$Time); O$c <- cos(2 * pi * O$Time)
O$k <- ave(O$Time, O$Mare, FUN = rank); O$half <- ifelse(O$Time < 0.5, "early", "late")
O$Mare <- as.character(O$Mare)
write.csv(O[, c("Mare", "follicles", "s", "c", "k", "half")], "ovary.csv", row.names = FALSE)
ctl <- lmeControl(msTol = 1e-12, tolerance = 1e-10, msMaxIter = 500, maxIter = 500, msMaxEval = 2000)
of <- function(m) list(fixef = as.numeric(if (inherits(m, "gls")) coef(m) else fixef(m)), se = as.numeric(sqrt(diag(vcov(m)))), loglik = as.numeric(logLik(m)), rho = as.numeric(coef(m$modelStruct$corStruct, unconstrained = FALSE)), sigma = m$sigma, ratio = as.numeric(coef(m$modelStruct$varStruct, unconstrained = FALSE)))
near <- corAR1(form = ~ k | Mare)
out <- list(
  slopes = of(lme(follicles ~ s + c, random = list(Mare = pdDiag(~ s)), data = O, correlation = near, control = ctl)),
  ml = of(lme(follicles ~ s + c, random = ~ 1 | Mare, data = O, correlation = near, control = ctl, method = "ML")),
  variance = of(lme(follicles ~ s + c, random = ~ 1 | Mare, data = O, correlation = near, weights = varIdent(form = ~ 1 | half), control = ctl)),
  gaps = of(lme(follicles ~ s + c, random = ~ 1 | Mare, data = O[O$k %% 5 != 0, ], correlation = near, control = ctl)),
  alone = of(gls(follicles ~ s + c, data = O, correlation = near, control = glsControl(msTol = 1e-12, tolerance = 1e-10)))
)
writeLines(toJSON(out, digits = 15, auto_unbox = TRUE, pretty = TRUE), "values.json")
