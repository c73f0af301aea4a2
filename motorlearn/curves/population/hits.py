"""Likelihood of a population curve of hits: binomial, on the logit scale."""

from dataclasses import dataclass

import numpy as np
from scipy.special import expit, log_expit

from motorlearn.curves.population.grid import Density, GridMarginal, curve_parts
from motorlearn.curves.population.learners import STEP, imaginary
from motorlearn.measures.hits import log_choose


@dataclass
class HitMarginal(GridMarginal):
    """Log-likelihood and gradient of hits; the curve is on the logit scale."""

    def __post_init__(self) -> None:
        super().__post_init__()
        k, m = self.data.heavy, self.data.trials * self.data.used
        self.trials = m
        self.ways = (self.data.used * log_choose(k, m)).sum(axis=1)

    def density(self, point: np.ndarray, own: np.ndarray) -> Density:
        """Log density of the hits, residuals, weights and tangent of the logit."""
        eta, tangent = curve_parts(self.now, own)
        hits, trials = self.data.heavy[:, None, :], self.trials[:, None, :]
        log_density = np.sum(hits * log_expit(eta) + (trials - hits) * log_expit(-eta), axis=2)
        p = expit(eta)
        return log_density, hits - trials * p, trials * p * (1 - p), tangent

    def by_common(
        self, point: np.ndarray, own: np.ndarray, weights: np.ndarray, pull: np.ndarray
    ) -> np.ndarray:
        """Gradient of each learner by the common terms: they move the basis."""
        height, amount = own[:, :, [0]], own[:, :, [1]]
        lever = amount - height if self.data.start else amount
        columns = [
            np.sum(pull * lever * data.fall(own[:, :, 2])[0].imag, axis=(1, 2)) / STEP
            for data in imaginary(self.data, self.layout.common(point))
        ]
        return np.stack(columns, axis=1)
