# Times nlme on the rows that curves.py wrote; prints processor seconds per fit and the estimates.
library(nlme)
arguments <- commandArgs(trailingOnly = TRUE)
rows <- read.csv(arguments[1])
rows$participant <- factor(rows$participant)
rows$group <- factor(rows$group)
start <- c(20, 0, 12, 0, -1.4, 0)
once <- function() nlme(
  y ~ A + G * exp(-exp(lr) * (block - 1)), data = rows,
  fixed = A + G + lr ~ group, random = A + G + lr ~ 1 | participant,
  start = start, method = "ML",
  control = nlmeControl(maxIter = 200, msMaxIter = 200, pnlsMaxIter = 50, returnObject = TRUE)
)
times <- replicate(as.integer(arguments[2]), sum(system.time(fit <<- suppressWarnings(once()))[1:2]))
cat(median(times), as.numeric(logLik(fit)), fixef(fit), "\n")
