# Reference values for ratings, counts, scattering hits and times: ordinal, glmmTMB, lme4; writes data and values.json.
suppressMessages({library(ordinal); library(glmmTMB); library(lme4); library(jsonlite); library(emmeans)})
out <- list()
tight <- clmm.control(gradTol = 1e-9, maxIter = 500, maxLineIter = 200)
rated <- function(m, seconds = NA) { s <- summary(m)$coefficients; list(names = rownames(s), estimate = s[, 1], se = s[, 2], loglik = as.numeric(logLik(m)),
  sd = sapply(VarCorr(m), function(v) sqrt(v[1, 1])), seconds = seconds) }
write.csv(wine, "wine.csv", row.names = FALSE)
for (link in c("logit", "probit")) out[[paste0("wine_", link)]] <- rated(clmm(rating ~ temp + contact + (1 | judge), wine, link = link, control = tight))
out$wine_agq <- rated(clmm(rating ~ temp + contact + (1 | judge), wine, nAGQ = 11, control = tight))
s <- system.time(m <- clmm(resp ~ btype + mode + (1 | id) + (1 | item), transform(VerbAgg, resp = factor(resp, ordered = TRUE)), control = tight))[3]
out$verbagg <- rated(m, as.numeric(s))
w <- reshape(transform(VerbAgg, r = as.integer(resp) - 1)[c("id", "item", "r")], idvar = "id", timevar = "item", direction = "wide")
items <- sub("^r\\.", "", names(w)[-1])
writeLines(apply(w[-1], 1, paste, collapse = ""), "verbagg.txt")
write.csv(unique(VerbAgg[c("item", "btype", "mode")])[match(items, unique(VerbAgg$item)), ], "verbagg_items.csv", row.names = FALSE)
counted <- function(m) { s <- summary(m)$coefficients$cond; list(names = rownames(s), estimate = s[, 1], se = s[, 2], loglik = as.numeric(logLik(m)),
  sd = sapply(VarCorr(m)$cond, function(v) sqrt(v[1, 1])), dispersion = sigma(m)) }
finer <- glmmTMBControl(optCtrl = list(iter.max = 1e4, eval.max = 1e4, rel.tol = 1e-12, x.tol = 1e-10))
epil <- MASS::epil; epil$lbase <- log(epil$base / 4); epil$lage <- log(epil$age); write.csv(epil[c("subject", "trt", "lbase", "lage", "V4", "y")], "epil.csv", row.names = FALSE)
f <- y ~ lbase * trt + lage + V4 + (1 | subject)
out$epil_poisson <- counted(glmmTMB(f, epil, family = poisson, control = finer))
out$epil_nb <- counted(glmmTMB(f, epil, family = nbinom2, control = finer))
ticks <- grouseticks; ticks$height <- as.numeric(scale(ticks$HEIGHT)); write.csv(ticks[c("TICKS", "YEAR", "height", "BROOD", "LOCATION")], "grouseticks.csv", row.names = FALSE)
out$ticks_nb <- counted(glmmTMB(TICKS ~ YEAR + height + (1 | BROOD) + (1 | LOCATION), ticks, family = nbinom2, control = finer))
out$ticks_poisson <- counted(glmmTMB(TICKS ~ YEAR + height + (1 | BROOD) + (1 | LOCATION), ticks, family = poisson, control = finer))
out$cbpp_betabinomial <- counted(glmmTMB(cbind(incidence, size - incidence) ~ period + (1 | herd), cbpp, family = betabinomial, control = finer))
g <- glmmTMB(Reaction ~ Days + (1 | Subject), sleepstudy, family = Gamma("log"), control = finer)
out$sleep_gamma <- counted(g); out$sleep_gamma$dispersion <- 1 / sigma(g)^2
bacteria <- MASS::bacteria; write.csv(bacteria[c("y", "trt", "week", "ID")], "bacteria.csv", row.names = FALSE)
b <- glmer(y ~ trt + I(week > 2) + (1 | ID), bacteria, family = binomial, nAGQ = 21, control = glmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5)))
out$bacteria_agq <- list(names = names(fixef(b)), estimate = fixef(b), loglik = as.numeric(logLik(b)), se = sqrt(diag(as.matrix(vcov(b, use.hessian = TRUE)))))
writeLines(toJSON(out, digits = 12, auto_unbox = TRUE, pretty = TRUE), "values.json")
