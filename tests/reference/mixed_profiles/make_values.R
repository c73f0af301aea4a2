# Profile intervals of fixed effects; sleepstudy.csv and cbpp.csv are those of ../mixed_models.
library(lme4); library(jsonlite)
write.csv(Penicillin, "penicillin.csv", row.names = FALSE)
of <- function(m) { v <- suppressMessages(confint(m, parm = "beta_", method = "profile")); list(low = as.numeric(v[, 1]), high = as.numeric(v[, 2])) }
out <- list(
  sleepstudy = of(lmer(Reaction ~ Days + (Days | Subject), sleepstudy, REML = FALSE)),
  penicillin = of(lmer(diameter ~ 1 + (1 | plate) + (1 | sample), Penicillin, REML = FALSE)),
  cbpp = of(glmer(cbind(incidence, size - incidence) ~ period + (1 | herd), cbpp, family = binomial))
)
spread <- function(m) { v <- suppressMessages(confint(m, parm = "theta_", method = "profile")); list(low = as.numeric(v[, 1]), high = as.numeric(v[, 2])) }
# sigma of plate, of sample, of the residual, as lme4 orders them.
out$penicillin_sd <- spread(lmer(diameter ~ 1 + (1 | plate) + (1 | sample), Penicillin, REML = FALSE))
writeLines(toJSON(out, digits = 12, auto_unbox = FALSE, pretty = TRUE), "values.json")
