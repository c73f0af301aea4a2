# By lme4: ICC(A,1) of each table of cases.csv from its variances (icc); by psych: the same (psych),
# and Cohen's kappa, plain and quadratic, of tables of two raters, items both scored (psych_kappa, psych_weighted)
suppressMessages({library(lme4); library(psych)})
d <- read.csv("cases.csv"); out <- NULL
quiet <- function(e) suppressMessages(suppressWarnings(e))
for (cc in unique(d$case)) {
  x <- subset(d, case == cc); x$item <- factor(x$item); x$rater <- factor(x$rater)
  m <- quiet(lmer(score ~ 1 + (1 | item) + (1 | rater), x,
    control = lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10))))
  v <- as.data.frame(VarCorr(m)); of <- function(g) v$vcov[v$grp == g]
  w <- as.matrix(reshape(x[, c("item", "rater", "score")], idvar = "item", timevar = "rater", direction = "wide")[, -1])
  p <- tryCatch(quiet(ICC(w, missing = FALSE, lmer = TRUE)$results$ICC[2]), error = function(e) NA)
  k <- c(NA, NA); full <- w[complete.cases(w), , drop = FALSE]
  if (ncol(w) == 2 && nrow(full) >= 5 && all(apply(full, 2, function(z) diff(range(z))) > 0)) {
    f <- tryCatch(quiet(cohen.kappa(full)), error = function(e) NULL)
    if (!is.null(f)) k <- c(f$kappa, f$weighted.kappa)
  }
  out <- rbind(out, data.frame(case = cc, icc = of("item") / sum(v$vcov), psych = p, psych_kappa = k[1], psych_weighted = k[2]))
}
write.csv(out, "by_r.csv", row.names = FALSE)
cat(packageDescription("psych")$Version, packageDescription("lme4")$Version, "\n")
