# Pairs of blocks and trends of the multivariate model of type III, complete cases.
suppressMessages({library(afex); library(emmeans); library(jsonlite)})
d <- read.csv("data.csv")
whole <- names(which(table(d$participant) == 5))
d <- d[d$participant %in% whole, ]
d$block <- factor(d$block); d$group <- factor(d$group)
fit <- suppressMessages(aov_ez("participant", "time", d, between = "group", within = "block"))
m <- emmeans(fit, ~block, model = "multivariate")
p <- as.data.frame(pairs(m, adjust = "holm", reverse = TRUE))
t <- as.data.frame(contrast(m, "poly"))
w <- reshape(d, idvar = c("participant", "group"), timevar = "block", direction = "wide")
y <- as.matrix(w[, paste0("time.", 1:5)]) %*% contr.poly(5)
f <- sapply(1:3, function(i) unlist(anova(lm(y[, i] ~ w$group))[1, c("F value", "Pr(>F)")]))
write_json(list(pairs = p, trends = t[1:3, ], groups = list(F = f[1, ], p = f[2, ])),
           "values.json", digits = 12, dataframe = "rows", auto_unbox = TRUE)
cat(as.character(packageVersion("afex")), as.character(packageVersion("emmeans")), "\n")
