library(afex); library(jsonlite)
data(obk.long)
write.csv(obk.long[, c("id", "treatment", "phase", "hour", "value")], "data.csv", row.names = FALSE)
rows <- function(fit) {
  s <- summary(fit); a <- anova(fit, es = "ges", correction = "none")
  u <- unclass(s$univariate.tests); g <- s$pval.adjustments
  lapply(setNames(nm = rownames(a)), function(term) c(list(
    df1 = a[term, "num Df"], df2 = a[term, "den Df"], statistic = a[term, "F"], p = a[term, "Pr(>F)"],
    generalised_eta2 = a[term, "ges"]),
    if (term %in% rownames(g)) list(epsilon_gg = g[term, "GG eps"], p_gg = g[term, "Pr(>F[GG])"])))
}
mixed <- aov_ez("id", "value", obk.long, between = "treatment", within = c("phase", "hour"))
alone <- aov_ez("id", "value", obk.long, within = c("phase", "hour"))
write_json(list(mixed = rows(mixed), alone = rows(alone)), "values.json",
  digits = NA, auto_unbox = TRUE, pretty = TRUE)
