"""One curve for a population of learners: a non-linear mixed-effects model.

arrays        A common scale, and starting values
ascent        Maximum of a smooth log-likelihood: quasi-Newton, then Newton, then a second look
bands         Bands around a population curve: of the curve itself, of learners, of single scores
claims        What a population curve can claim
curve         The result
grid          Likelihood by adaptive Gauss-Hermite quadrature over all that varies
hits          Likelihood of hits: binomial
laws          Likelihood of scores with lognormal or t errors
layout        How the parameters lie in one vector: group cells, spread, what is in common
learners      Rows as arrays of whole learners: basis, sessions, whitening
likelihoods   The likelihood that the scores ask for
marginal      Likelihood of Gaussian scores: exact where parameters are linear
maximum       Maximum of the likelihood: starts, re-checks, tests of groups, sandwich
population    The public fit: what was asked for
profile       Profile-likelihood intervals
rivals        What a curve is compared with: flat line, straight lines, steps
shared_terms  What all learners have in common: noise, sessions, a second rate
standard      Residuals by the noise that was fitted
table         From a table to arrays: what is used, what is left out, what is refused
terms         Tables: fixed effects with their intervals, variation, what is in common
told          From the fit to the result
"""
