# Rscript make.R: loadings of one factor by maximum likelihood (stats::factanal), omega total from
# them in the units of the answers, and alpha (psych::alpha) of answers.csv.
x <- read.csv("answers.csv", header = FALSE)
fit <- factanal(x, 1, control = list(opt = list(factr = 1e3)))
s <- apply(x, 2, sd)
l <- fit$loadings * s
u <- fit$uniquenesses * s^2
cat(sprintf("%.8f ", as.numeric(fit$loadings)), "\n")
cat(sprintf("omega %.8f\n", sum(l)^2 / (sum(l)^2 + sum(u))))
cat(sprintf("alpha %.9f\n", psych::alpha(x)$total$raw_alpha))
