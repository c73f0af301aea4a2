# The draws of one situation of error_rates.py by lme4 and lmerTest; prints name,value lines.
suppressMessages({library(lme4); library(lmerTest)})
d <- read.csv(commandArgs(TRUE)[1])
d$group <- factor(d$group); d$test <- factor(d$test); d$person <- factor(d$person)
counts <- d$attempts[1] > 1
quiet <- function(x) suppressMessages(suppressWarnings(tryCatch(x, error = function(e) NULL)))
two <- c(); three <- c()
for (one in split(d, d$study)) {
  # Groups alike at the first test: one cell for it, one for each group at each later test.
  one$a1 <- as.numeric(one$test == 1); one$a2 <- as.numeric(one$test == 2)
  one$g1 <- one$a1 * (one$group == 1); one$g2 <- one$a2 * (one$group == 1)
  if (counts) {
    m <- quiet(glmer(cbind(y, attempts - y) ~ a1 + a2 + g1 + g2 + (1 | person), one, family = binomial))
    if (is.null(m)) next
    s <- coef(summary(m)); two <- c(two, s["g1", 4]); three <- c(three, s["g2", 4])
  } else {
    m <- quiet(lmerTest::lmer(y ~ a1 + a2 + g1 + g2 + (1 | person), one))
    if (is.null(m)) next
    s <- quiet(coef(summary(m)))
    if (is.null(s)) next
    two <- c(two, s["g1", 5]); three <- c(three, s["g2", 5])
  }
}
name <- if (counts) "glmer (1|person)" else "lmerTest (1|person)"
cat(sprintf("%s: second test,%g\n%s: last test,%g\n%s: studies,%d\n", name, mean(two < .05), name, mean(three < .05), name, length(two)))
