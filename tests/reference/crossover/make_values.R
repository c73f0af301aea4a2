library(lmerTest); library(jsonlite)
d <- read.csv("data.csv", stringsAsFactors = FALSE)
d$period <- factor(d$period); d$condition <- factor(d$condition)
contrasts(d$period) <- contr.sum(2); d$sequence <- factor(d$sequence)
contrasts(d$sequence) <- contr.sum(2)
tight <- lmerControl(optCtrl = list(xtol_abs = 1e-12, ftol_abs = 1e-14, maxeval = 1e5))
late <- d[d$phase == "retention", ]
whole <- late[late$participant %in% names(which(table(late$participant) == 2)), ]
told <- function(m, row = "conditionrandom") {
  s <- summary(m, ddf = "Kenward-Roger")$coefficients[row, ]
  as.list(setNames(s, c("estimate", "std_error", "df", "statistic", "p")))
}
complete <- lmer(radial_error ~ condition + period + sequence + (1 | participant), whole, control = tight)
all <- lmer(radial_error ~ condition + period + sequence + (1 | participant), late, control = tight)
# Adjusted for the baselines of both periods: the difference of people on that of their baselines.
w <- reshape(d[d$participant %in% whole$participant, c("participant", "sequence", "condition", "phase", "radial_error")],
  idvar = c("participant", "sequence", "phase"), timevar = "condition", direction = "wide")
w$away <- w$radial_error.random - w$radial_error.blocked
v <- reshape(w[, c("participant", "sequence", "phase", "away")], idvar = c("participant", "sequence"),
  timevar = "phase", direction = "wide")
m <- summary(lm(away.retention ~ sequence + away.pretest, v))
a <- m$coefficients["(Intercept)", ]
# lmer's sum coding of the second period and second sequence: half the differences.
write_json(list(complete = told(complete), period = told(complete, "period1"),
  carry_over = told(complete, "sequence1"), all = told(all),
  adjusted = as.list(c(setNames(a, c("estimate", "std_error", "statistic", "p")), df = m$df[2]))),
  "values.json", digits = NA, auto_unbox = TRUE, pretty = TRUE)
