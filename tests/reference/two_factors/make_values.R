# Two factors between people over tests: afex (types III and II), emmeans of analyses of covariance.
suppressMessages({library(afex); library(emmeans); library(jsonlite); library(car)})
options(contrasts = c("contr.sum", "contr.poly"))
d <- read.csv("data.csv")
whole <- names(which(table(d$participant) == 3))
w <- d[d$participant %in% whole, ]
table_of <- function(type) {
  a <- suppressMessages(aov_ez("participant", "radial_error", w, between = c("order", "feedback"),
    within = "phase", type = type, anova_table = list(correction = "none", es = "ges")))
  s <- summary(a)
  u <- as.data.frame(unclass(s$univariate.tests)); u$term <- rownames(u)
  p <- as.data.frame(unclass(s$pval.adjustments)); p$term <- rownames(p)
  g <- as.data.frame(a$anova_table); g$term <- rownames(g)
  list(tests = u, corrected = p, ges = g[, c("term", "ges")],
       mauchly = as.data.frame(unclass(s$sphericity.tests))[1, ])
}
m <- reshape(d, idvar = c("participant", "order", "feedback", "age", "site"), timevar = "phase",
             direction = "wide")
names(m) <- sub("radial_error.", "", names(m), fixed = TRUE)
m$order <- factor(m$order); m$feedback <- factor(m$feedback); m$site <- factor(m$site)
r <- m[!is.na(m$transfer), ]
fit <- lm(transfer ~ order * feedback + pretest, r)
more <- lm(transfer ~ order * feedback + pretest + age + site, r)
frame <- function(x) as.data.frame(summary(x, infer = TRUE))
of <- function(fit) {
  a <- as.data.frame(Anova(fit, type = 3)); a$term <- rownames(a)
  b <- as.data.frame(Anova(fit, type = 2)); b$term <- rownames(b)
  e <- emmeans(fit, ~ order * feedback)
  list(iii = a, ii = b, r2 = summary(fit)$r.squared, adjusted_r2 = summary(fit)$adj.r.squared,
       order = frame(pairs(emmeans(fit, ~order), reverse = TRUE, adjust = "holm")),
       feedback = frame(pairs(emmeans(fit, ~feedback), reverse = TRUE, adjust = "holm")),
       order_means = frame(emmeans(fit, ~order)), feedback_means = frame(emmeans(fit, ~feedback)),
       cells = frame(e),
       simple = frame(pairs(emmeans(fit, ~order | feedback), reverse = TRUE)),
       interaction = frame(contrast(e, interaction = c("revpairwise", "revpairwise"))))
}
write_json(list(III = table_of(3), II = table_of(2), ancova = of(fit), covariates = of(more)),
           "values.json", digits = 12, dataframe = "rows", auto_unbox = TRUE)
cat(as.character(packageVersion("afex")), as.character(packageVersion("emmeans")),
    as.character(packageVersion("car")), "\n")
