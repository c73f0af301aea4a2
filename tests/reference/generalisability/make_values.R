# Variance components of scores.csv by restricted maximum likelihood: Rscript make_values.R
suppressMessages(library(lme4))
d <- read.csv("scores.csv")
for (n in c("participant", "rater", "occasion", "clip")) d[[n]] <- factor(d[[n]])
d$own <- interaction(d$participant, d$clip, drop = TRUE)
m <- lmer(score ~ 1 + (1 | participant) + (1 | rater) + (1 | occasion) + (1 | own) +
  (1 | participant:rater) + (1 | participant:occasion) + (1 | rater:occasion) +
  (1 | rater:own) + (1 | occasion:own), d,
  control = lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10), check.nobs.vs.nlev = "ignore"))
v <- as.data.frame(VarCorr(m))
write.csv(v[, c("grp", "vcov")], "values.csv", row.names = FALSE)
cat(packageDescription("lme4")$Version, R.version.string, "\n")
