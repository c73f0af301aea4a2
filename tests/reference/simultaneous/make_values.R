# Reference values for joint tests of type II, simultaneous comparisons, slopes and places: emmeans, lmerTest; writes values.json.
suppressMessages({library(lme4); library(lmerTest); library(emmeans); library(mvtnorm); library(jsonlite)})
set.seed(1)
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-11, maxfun = 1e5), calc.derivs = FALSE)
out <- list()
oats <- as.data.frame(nlme::Oats)
oats$Block <- as.character(oats$Block); oats$Variety <- as.character(oats$Variety)
write.csv(oats, "oats.csv", row.names = FALSE)
oats$level <- factor(oats$nitro)
m <- lmer(yield ~ Variety + level + (1 | Block / Variety), oats, control = tight)
tab <- function(x) { s <- summary(x, infer = c(TRUE, TRUE)); e <- intersect(c("estimate", "ratio"), names(s)); list(label = as.character(s[[1]]), estimate = s[[e]], se = s$SE, df = s$df, low = s$lower.CL, high = s$upper.CL, p = s$p.value) }
e <- emmeans(m, "level", lmer.df = "kenward-roger")
out$oats_tukey <- tab(contrast(e, "revpairwise", adjust = "tukey"))
out$oats_dunnett_mvt <- tab(contrast(e, "trt.vs.ctrl", adjust = "mvt"))
out$oats_variety_mvt <- tab(contrast(emmeans(m, "Variety", lmer.df = "kenward-roger"), "revpairwise", adjust = "mvt"))
m2 <- lmer(yield ~ Variety * nitro + (1 | Block / Variety), oats, control = tight)
out$oats_slopes <- { s <- summary(emtrends(m2, "Variety", var = "nitro", lmer.df = "kenward-roger")); list(label = as.character(s$Variety), estimate = s$nitro.trend, se = s$SE, df = s$df) }
out$oats_slope_pairs <- tab(contrast(emtrends(m2, "Variety", var = "nitro", lmer.df = "kenward-roger"), "revpairwise", adjust = "tukey"))
s <- summary(emmeans(m2, "Variety", at = list(nitro = .3), lmer.df = "kenward-roger")); out$oats_at <- list(label = as.character(s$Variety), estimate = s$emmean, se = s$SE, df = s$df)
d <- oats[-c(3, 17, 18, 40, 41, 42, 60), ]
m3 <- lmer(yield ~ Variety * level + (1 | Block), d, control = tight)
a <- car::Anova(m3, type = 2); out$oats_type2_chisq <- list(term = rownames(a), chisq = a$Chisq, df = a$Df, p = a$`Pr(>Chisq)`)
a <- car::Anova(m3, type = 2, test.statistic = "F"); out$oats_type2_kr <- list(term = rownames(a), F = a$F, df1 = a$Df, df2 = a$Df.res, p = a$`Pr(>F)`)
# Dunnett on unbalanced independent groups, by the multivariate t.
w <- warpbreaks; write.csv(w, "warpbreaks.csv", row.names = FALSE)
l <- lm(breaks ~ wool * tension, w); v <- emmeans(l, "tension")
out$warp_tukey <- tab(contrast(v, "revpairwise", adjust = "tukey"))
out$warp_dunnett <- tab(contrast(v, "trt.vs.ctrl", adjust = "mvt"))
out$tails <- list(t = c(1, 2, 3, 5), tukey5_12 = ptukey(c(1, 2, 3, 5) * sqrt(2), 5, 12, lower.tail = FALSE),
  mvt = sapply(c(1, 2, 3, 5), function(q) 1 - pmvt(rep(-q, 3), rep(q, 3), df = 12, corr = matrix(c(1, .5, .2, .5, 1, .5, .2, .5, 1), 3), algorithm = GenzBretz(maxpts = 1e6, abseps = 1e-8))[1]))
writeLines(toJSON(out, digits = 15, auto_unbox = TRUE, pretty = TRUE), "values.json")
