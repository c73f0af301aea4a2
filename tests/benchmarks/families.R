# Time of ordinal or glmmTMB on the data that families.py wrote: seconds and −2 log likelihood.
arguments <- commandArgs(trailingOnly = TRUE)
folder <- arguments[1]; case <- arguments[2]
suppressMessages(library(if (case == "ratings") "ordinal" else "glmmTMB", character.only = TRUE))
d <- read.csv(file.path(folder, paste0(case, ".csv")), stringsAsFactors = TRUE)
d$rating <- if (case == "ratings") factor(d$rating, ordered = TRUE)
fit <- switch(case,
  ratings = function() clmm(rating ~ group * test + (1 | participant), d),
  scattered_hits = function() glmmTMB(cbind(hits, 20 - hits) ~ group * test + (1 | participant), d, family = betabinomial),
  counts = function() glmmTMB(catches ~ group * test + (1 | participant), d, family = nbinom2))
model <- fit()
seconds <- system.time(model <- fit())[["elapsed"]]
cat(sprintf("%.6f,%.6f", seconds, as.numeric(-2 * logLik(model))))
