# Reference values for residuals that differ in spread between tests: nlme (gls, lme), pbkrtest; writes values.json.
suppressMessages({library(nlme); library(lme4); library(pbkrtest); library(lmerTest); library(jsonlite)})
out <- list()
levels3 <- c("pretest", "posttest", "retention")
read <- function(f) { d <- read.csv(f); d$phase <- factor(d$phase, levels3); d$participant <- factor(d$participant); d$at <- as.integer(d$phase); d }
tests <- read("tests.csv"); trials <- read("trials.csv")
g_tight <- glsControl(tolerance = 1e-12, msTol = 1e-14, msMaxIter = 5000, maxIter = 500, opt = "optim")
l_tight <- lmeControl(tolerance = 1e-12, msTol = 1e-14, msMaxIter = 5000, maxIter = 500, niterEM = 200, opt = "optim")
pack <- function(m) list(names = names(coef(m)), fixef = as.numeric(coef(m)), se = sqrt(as.numeric(diag(vcov(m)))),
  minus2loglik = -2 * as.numeric(logLik(m)), sd = as.list(sigma(m) * coef(m$modelStruct$varStruct, unconstrained = FALSE, allCoef = TRUE)),
  correlation = as.numeric(coef(m$modelStruct$corStruct, unconstrained = FALSE)))
for (method in c("REML", "ML")) {
  m <- gls(radial_error ~ group * phase, tests, correlation = corSymm(form = ~ at | participant), weights = varIdent(form = ~ 1 | phase), method = method, control = g_tight)
  out[[paste0("unstructured_", method)]] <- pack(m)
}
m <- gls(radial_error ~ group * phase, tests, correlation = corSymm(form = ~ at | participant), control = g_tight)
out$correlated_equal <- list(names = names(coef(m)), fixef = as.numeric(coef(m)), se = sqrt(diag(vcov(m))), minus2loglik = -2 * as.numeric(logLik(m)), sigma = sigma(m), correlation = as.numeric(coef(m$modelStruct$corStruct, unconstrained = FALSE)))
m <- lme(radial_error ~ group * phase, trials, random = ~ 1 | participant, weights = varIdent(form = ~ 1 | phase), control = l_tight)
v <- coef(m$modelStruct$varStruct, unconstrained = FALSE, allCoef = TRUE)
out$trials_lme <- list(names = names(fixef(m)), fixef = as.numeric(fixef(m)), se = sqrt(as.numeric(diag(vcov(m)))), minus2loglik = -2 * as.numeric(logLik(m)), sd_intercept = as.numeric(VarCorr(m)[1, 2]), sd = as.list(sigma(m) * v))
m <- lme(radial_error ~ group * phase, trials, random = ~ 1 | participant/phase, weights = varIdent(form = ~ 1 | phase), control = l_tight)
v <- coef(m$modelStruct$varStruct, unconstrained = FALSE, allCoef = TRUE)
out$trials_nested <- list(names = names(fixef(m)), fixef = as.numeric(fixef(m)), se = sqrt(as.numeric(diag(vcov(m)))), minus2loglik = -2 * as.numeric(logLik(m)), sd = as.list(sigma(m) * v))
# The same covariance written with an effect of each wide row, so that pbkrtest can adjust it.
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-11, maxfun = 1e5), calc.derivs = FALSE, check.nobs.vs.nlev = "ignore", check.nobs.vs.nRE = "ignore", check.nobs.vs.rankZ = "ignore")
kr <- function(d, wide) {
  d$row <- factor(seq_len(nrow(d))); d$wide <- as.numeric(wide)
  m <- lmerTest::lmer(radial_error ~ group * phase + (1 | participant) + (0 + wide | row), d, control = tight)
  s <- coef(summary(m, ddf = "Kenward-Roger"))
  p <- nrow(s); L <- diag(p)[grepl(":", rownames(s)), , drop = FALSE]
  a <- contest(m, L, ddf = "Kenward-Roger")
  list(names = rownames(s), fixef = s[, 1], se = s[, 2], df = s[, 3], minus2loglik = -2 * as.numeric(logLik(m)), interaction = c(a$`F value`, a$NumDF, a$DenDF, a$`Pr(>F)`))
}
out$trials_kr <- kr(trials, trials$spread == "wide")
two <- droplevels(tests[tests$phase != "posttest", ])
out$two_tests_kr <- kr(two, two$phase == "retention")
d <- read.csv("machines.csv"); d$Worker <- factor(d$Worker)
m <- lme4::lmer(score ~ Machine + (1 + Machine | Worker), d, control = lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5)))
m0 <- update(m, . ~ . - Machine)
k <- KRmodcomp(m, m0)$stats
out$machines <- list(statistic = k$Fstat, df1 = k$ndf, df2 = k$ddf, p = k$p.value, scaling = k$F.scaling, unscaled = k$FstatU)
writeLines(toJSON(out, digits = 15, auto_unbox = TRUE, pretty = TRUE), "values.json")
