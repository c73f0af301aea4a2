"""Mixed models of scores, hits, ratings, counts and times."""

from motorlearn.mixed.fit import fit_mixed
from motorlearn.mixed.inference.hypotheses import LikelihoodRatio, likelihood_ratio
from motorlearn.mixed.inference.intervals import bootstrap_intervals, profile_intervals
from motorlearn.mixed.means import contrasts, marginal_means
from motorlearn.mixed.refitting import leave_one_out, refit, refit_many
from motorlearn.mixed.replicates import (
    ManyFits,
    fit_binomial_many,
    fit_general_many,
    fit_linear_many,
)
from motorlearn.mixed.result import MixedFit

__all__ = [
    "LikelihoodRatio",
    "ManyFits",
    "MixedFit",
    "bootstrap_intervals",
    "contrasts",
    "fit_binomial_many",
    "fit_general_many",
    "fit_linear_many",
    "fit_mixed",
    "leave_one_out",
    "likelihood_ratio",
    "marginal_means",
    "profile_intervals",
    "refit",
    "refit_many",
]
