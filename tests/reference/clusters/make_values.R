library(lmerTest); library(jsonlite)
d <- read.csv("data.csv", stringsAsFactors = FALSE)
w <- reshape(d, idvar = c("class", "participant", "group"), timevar = "phase", direction = "wide")
names(w) <- sub("radial_error.", "", names(w), fixed = TRUE)
w$group <- factor(w$group)
both <- w[!is.na(w$retention), ]
tight <- lmerControl(optCtrl = list(xtol_abs = 1e-12, ftol_abs = 1e-14, maxeval = 1e5))
told <- function(m) {
  s <- summary(m, ddf = "Kenward-Roger")$coefficients["grouprandom", ]
  as.list(setNames(s, c("estimate", "std_error", "df", "statistic", "p")))
}
plain <- lmer(retention ~ group + (1 | class), both, control = tight)
adjusted <- lmer(retention ~ group + pretest + (1 | class), both, control = tight)
v <- as.data.frame(VarCorr(plain))$vcov
means <- aggregate(cbind(pretest, retention) ~ class + group, w, mean, na.action = na.pass, na.rm = TRUE)
covariance <- summary(lm(retention ~ group + pretest, means))$coefficients["grouprandom", ]
write_json(list(plain = told(plain), adjusted = told(adjusted), icc = v[1] / sum(v),
  class_means = as.list(setNames(covariance, c("estimate", "std_error", "statistic", "p")))),
  "values.json", digits = NA, auto_unbox = TRUE, pretty = TRUE)
