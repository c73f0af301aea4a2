# Times of lme4 and lmerTest on the data sets that mixed.py wrote; one line of CSV per run.
suppressMessages({library(lme4); library(lmerTest)})
arguments <- commandArgs(trailingOnly = TRUE)
folder <- arguments[1]; case <- arguments[2]; runs <- as.integer(arguments[3])
if (case == "insteval_data") {
  write.csv(InstEval[, c("s", "d", "service", "y")], file.path(folder, "insteval.csv"), row.names = FALSE)
  quit(save = "no")
}
d <- read.csv(file.path(folder, paste0(case, ".csv")), stringsAsFactors = TRUE)
fit <- switch(case,
  binary_rows = function() glmer(hit ~ group * phase + (1 | participant), d, family = binomial),
  hits_of_20 = function() glmer(cbind(hits, 20 - hits) ~ group * test + (1 + time | participant), d, family = binomial),
  linear_rows = function() summary(lmerTest::lmer(radial_error ~ group * phase + (1 | participant), d)),
  crossed_binary = function() glmer(hit ~ group + (1 | participant) + (1 | item), d, family = binomial),
  insteval = {
    d$s <- factor(d$s); d$d <- factor(d$d); d$service <- factor(d$service)
    function() lme4::lmer(y ~ service + (1 | s) + (1 | d), d)
  })
for (run in seq_len(runs)) {
  seconds <- system.time(model <- suppressMessages(suppressWarnings(fit())))[["elapsed"]]
  deviance <- if (inherits(model, "summary.merMod")) -2 * model$logLik else -2 * logLik(model)
  cat(sprintf("%s,%.6f,%.6f\n", case, seconds, as.numeric(deviance)))
}
