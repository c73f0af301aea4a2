"""Linear and binomial mixed models."""

from motorlearn.mixed.fit import fit_mixed
from motorlearn.mixed.many import ManyFits, fit_binomial_many, fit_linear_many
from motorlearn.mixed.means import contrasts, marginal_means
from motorlearn.mixed.refitting import leave_one_out, refit
from motorlearn.mixed.result import MixedFit

__all__ = [
    "ManyFits",
    "MixedFit",
    "contrasts",
    "fit_binomial_many",
    "fit_linear_many",
    "fit_mixed",
    "leave_one_out",
    "marginal_means",
    "refit",
]
