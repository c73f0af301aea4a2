# Classic data sets: cake and Arabidopsis (lme4), Oats (nlme), npk (R); linear models with Satterthwaite's df, counts by glmmTMB.
suppressMessages({library(lme4); library(lmerTest); library(nlme); library(glmmTMB); library(jsonlite)})
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-12, maxfun = 1e5))
linear <- function(formula, d) { m <- lmerTest::lmer(formula, d, control = tight); s <- summary(m)$coefficients; a <- anova(m, type = 3)
  list(names = rownames(s), estimate = s[, 1], se = s[, 2], df = s[, 3], p = s[, 5], loglik = as.numeric(logLik(m)), sd = as.data.frame(lme4::VarCorr(m))$sdcor,
    terms = rownames(a), f = a[["F value"]], df1 = a$NumDF, df2 = a$DenDF) }
C <- cake; C$recipe <- as.character(C$recipe); C$temperature <- as.character(C$temperature); C$replicate <- as.character(C$replicate)
write.csv(C[c("replicate", "recipe", "temperature", "angle")], "cake.csv", row.names = FALSE)
O <- as.data.frame(Oats); for (n in c("Block", "Variety")) O[[n]] <- as.character(O[[n]]); O$nitro <- paste0("n", 10 * O$nitro); write.csv(O, "oats.csv", row.names = FALSE)
N <- npk; for (n in c("block", "N", "P", "K")) N[[n]] <- as.character(N[[n]]); write.csv(N, "npk.csv", row.names = FALSE)
A <- Arabidopsis; A$nutrient <- A$nutrient / 8; A <- A[c("popu", "gen", "rack", "nutrient", "amd", "status", "total.fruits")]; names(A)[7] <- "fruits"
for (n in c("popu", "gen", "rack", "amd", "status")) A[[n]] <- as.character(A[[n]]); write.csv(A, "arabidopsis.csv", row.names = FALSE)
fine <- glmmTMBControl(optCtrl = list(iter.max = 1e4, eval.max = 1e4, rel.tol = 1e-14, x.tol = 1e-12))
counted <- function(m) { s <- summary(m)$coefficients$cond; list(names = rownames(s), estimate = s[, 1], se = s[, 2], loglik = as.numeric(logLik(m)),
  sd = sapply(glmmTMB::VarCorr(m)$cond, function(v) sqrt(v[1, 1])), dispersion = sigma(m)) }
out <- list(
  cake = linear(angle ~ recipe * temperature + (1 | recipe:replicate), C),
  oats = linear(yield ~ nitro * Variety + (1 | Block) + (1 | Block:Variety), O),
  npk = linear(yield ~ N * P * K - N:P:K + (1 | block), N),
  arabidopsis = counted(glmmTMB(fruits ~ nutrient * amd + rack + status + (1 | popu) + (1 | gen), A, family = nbinom2, control = fine))
)
writeLines(toJSON(out, digits = 13, auto_unbox = TRUE, pretty = TRUE), "values.json")
