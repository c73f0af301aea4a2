"""Degrees of freedom, tests and intervals of a fitted model.

degrees_of_freedom  Degrees of freedom for single and several contrasts of the fixed effects
hypotheses          Likelihood-ratio tests of nested models, with chi-squared or a parametric
intervals           Intervals of variances and fixed effects: profile likelihood and parametric
kenward_roger       Kenward-Roger covariance of the fixed effects and what its degrees of freedom
profiling           Profile likelihood of one standard deviation of a model with one grouping
simultaneous        Several comparisons at once: tests and intervals that hold for all together
"""
