"""One curve for a population of learners: a non-linear mixed-effects model.

arrays      Rows of a population: arrays of whole learners, a common scale, and starting values
ascent      Maximum of a smooth log-likelihood: quasi-Newton, then Newton, then a second look
bands       Bands around a population curve: of the curve itself, of learners, of single scores
hits        Likelihood of a population curve of hits: binomial, by adaptive Gauss-Hermite
layout      How the parameters of a population curve lie in one vector: group cells, spread
marginal    Likelihood of a population curve with Gaussian scores: exact where parameters are
maximum     Maximum of the population likelihood: starts, re-checks, and tests of group
population  The learning curve of a population: a non-linear mixed-effects model, and its result
table       From a table to the arrays of a population: what is used, what is left out, what is
terms       Tables of a population curve: fixed effects with their intervals, variation between
"""
