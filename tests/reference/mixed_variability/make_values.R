# Spread with a fixed part: nlme (varIdent, varExp) and glmmTMB (dispformula), on Orthodont and sleepstudy.
suppressMessages({library(nlme); library(glmmTMB); library(lme4); library(jsonlite)})
O <- as.data.frame(Orthodont); O$Subject <- as.character(O$Subject); O$Sex <- as.character(O$Sex); O$late <- as.numeric(O$age > 10)
write.csv(O, "orthodont.csv", row.names = FALSE)
ctl <- lmeControl(msTol = 1e-12, tolerance = 1e-10, msMaxIter = 500, maxIter = 500, msMaxEval = 2000)
of <- function(m) { s <- m$sigma; r <- coef(m$modelStruct$varStruct, unconstrained = FALSE)
  list(fixef = as.numeric(fixef(m)), se = as.numeric(sqrt(diag(vcov(m)))), loglik = as.numeric(logLik(m)), log_sd = log(s), slope = as.numeric(r)) }
fine <- glmmTMBControl(optCtrl = list(iter.max = 1e4, eval.max = 1e4, rel.tol = 1e-14, x.tol = 1e-12))
# glmmTMB 1.1.5 models the logarithm of the variance: halved here.
tmb <- function(m) { d <- summary(m)$coefficients; list(fixef = d$cond[, 1], se = d$cond[, 2], loglik = as.numeric(logLik(m)), log_sd = d$disp[, 1] / 2, log_sd_se = d$disp[, 2] / 2) }
S <- sleepstudy; S$Subject <- as.character(S$Subject); S$half <- ifelse(S$Days < 5, "early", "late")
out <- list(
  sex = of(lme(distance ~ age * Sex, random = ~ 1 | Subject, data = O, weights = varIdent(form = ~ 1 | Sex), method = "ML", control = ctl)),
  sex_slopes = of(lme(distance ~ age * Sex, random = ~ age | Subject, data = O, weights = varIdent(form = ~ 1 | Sex), method = "ML", control = ctl)),
  age = of(lme(distance ~ age * Sex, random = ~ 1 | Subject, data = O, weights = varExp(form = ~ age), method = "ML", control = ctl)),
  sex_tmb = tmb(glmmTMB(distance ~ age * Sex + (1 | Subject), O, dispformula = ~ Sex + age, control = fine)),
  sleep_tmb = tmb(glmmTMB(Reaction ~ Days + (1 | Subject), S, dispformula = ~ half, control = fine)),
  sleep_slopes_tmb = tmb(glmmTMB(Reaction ~ Days + (Days | Subject), S, dispformula = ~ Days, control = fine))
)
writeLines(toJSON(out, digits = 15, auto_unbox = TRUE, pretty = TRUE), "values.json")
