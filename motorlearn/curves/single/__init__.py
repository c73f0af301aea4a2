"""The curve of one learner.

intervals  Uncertainty of one curve: covariance, Wald, profile-likelihood and bootstrap intervals
learner    The learning curve of one learner: the public fit and its result
problem    One learner's curve as a regression: what is free, what enters linearly, the residuals
rows       The rows of one learner: what is missing, what cannot be used, which likelihood they
solving    The optimiser of one curve: a grid over the rates, damped scoring, a re-check
standard   Residuals by the noise that was fitted
"""
