"""Mixed models of scores, hits, ratings, counts and times."""

from motorlearn.mixed.fit import fit_mixed
from motorlearn.mixed.inference.bootstrapped import BootstrapTests, bootstrap_tests
from motorlearn.mixed.inference.hypotheses import LikelihoodRatio, likelihood_ratio
from motorlearn.mixed.inference.intervals import bootstrap_intervals, profile_intervals
from motorlearn.mixed.inference.profiled_effects import profile_effects
from motorlearn.mixed.means import contrasts, marginal_means, predict_ratings
from motorlearn.mixed.partial_odds import PartialOdds, partial_odds
from motorlearn.mixed.predictive import prediction_intervals
from motorlearn.mixed.refitting import leave_one_out, refit, refit_many
from motorlearn.mixed.replicates import (
    ManyFits,
    fit_binomial_many,
    fit_general_many,
    fit_linear_many,
)
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.structures import RandomStructures, random_structures
from motorlearn.mixed.variability import fit_variability
from motorlearn.mixed.variability_result import VariabilityFit

__all__ = [
    "BootstrapTests",
    "LikelihoodRatio",
    "ManyFits",
    "MixedFit",
    "PartialOdds",
    "RandomStructures",
    "VariabilityFit",
    "bootstrap_intervals",
    "bootstrap_tests",
    "contrasts",
    "fit_binomial_many",
    "fit_general_many",
    "fit_linear_many",
    "fit_mixed",
    "fit_variability",
    "leave_one_out",
    "likelihood_ratio",
    "marginal_means",
    "partial_odds",
    "predict_ratings",
    "prediction_intervals",
    "profile_effects",
    "profile_intervals",
    "random_structures",
    "refit",
    "refit_many",
]
