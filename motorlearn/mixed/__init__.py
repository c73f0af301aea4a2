"""Linear and binomial mixed models."""

from motorlearn.mixed.fit import fit_mixed
from motorlearn.mixed.means import contrasts, marginal_means
from motorlearn.mixed.result import MixedFit

__all__ = ["MixedFit", "contrasts", "fit_mixed", "marginal_means"]
