# Partial proportional odds of wine: clmm2 and clm with nominal= (ordinal); writes partial.json.
suppressMessages({library(ordinal); library(jsonlite)})
w <- wine; w$group3 <- cut(as.integer(w$rating), c(0, 2, 3, 5), labels = FALSE); w$three <- factor(w$group3, ordered = TRUE)
random <- clmm2(three ~ temp, nominal = ~ contact, random = judge, data = w, Hess = TRUE, nAGQ = 15, control = clmm2.control(gradTol = 1e-9))
laplace <- clmm2(three ~ temp, nominal = ~ contact, random = judge, data = w, Hess = TRUE, control = clmm2.control(gradTol = 1e-9))
of <- function(m) list(coef = as.numeric(coef(m)), names = names(coef(m)), se = as.numeric(sqrt(diag(solve(m$Hessian)))), loglik = as.numeric(logLik(m)))
fixed <- clm(three ~ temp, nominal = ~ contact, data = w, control = clm.control(gradTol = 1e-10))
out <- list(agq = of(random), laplace = of(laplace),
  clm = list(coef = as.numeric(coef(fixed)), names = names(coef(fixed)), se = as.numeric(sqrt(diag(vcov(fixed)))), loglik = as.numeric(logLik(fixed))))
writeLines(toJSON(out, digits = 12, auto_unbox = TRUE, pretty = TRUE), "partial.json")
