r"""Likelihood of a population curve whose scores have lognormal errors or errors of Student's t.

Lognormal: :math:`\log y = \log f(n) + e`, so the curve itself, and not its logarithm, has the form;
it is the median of the scores. With t errors, :math:`y = f(n) + \sigma e`, the degrees of freedom
are estimated between 2.5 and 200, as for one learner. Spread that changes with practice and
correlated neighbours belong to :math:`e`.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import loggamma

from motorlearn.curves.population.grid import Density, GridMarginal, curve_parts
from motorlearn.curves.population.learners import STEP, Learners, imaginary

LEAST_HEIGHT = 1e-3
"""Share of the median score below which the logarithm of a curve goes on as its tangent."""


@dataclass
class LawMarginal(GridMarginal):
    """Log-likelihood and gradient of scores with errors of another law than the normal one."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self.inside = self.data.used > 0
        self.logarithmic = self.data.law == "lognormal"
        if self.logarithmic:
            self.floor = LEAST_HEIGHT * float(np.median(np.abs(self.data.y[self.inside])))
            self.target = np.log(np.where(self.inside, self.data.y, 1.0))
            self.ways = -np.sum(self.target, axis=1)
        else:
            self.target = np.where(self.inside, self.data.y, 0.0)

    def _height(self, eta: np.ndarray) -> tuple[np.ndarray, Any]:
        """The curve on the scale of the errors, and how steep that scale is there."""
        if not self.logarithmic:
            return eta, 1.0
        eta = np.where(self.inside[:, None, :], eta, 1.0)
        low = np.real(eta) < self.floor
        steep = 1 / np.where(low, self.floor, eta)
        found = np.where(low, np.log(self.floor) + eta / self.floor - 1, -np.log(steep))
        return found, steep

    def _whitened(self, data: Learners, rows: np.ndarray) -> np.ndarray:
        used = data.used[:, None, :]
        found: np.ndarray = rows * used
        return found if data.white is None else data.white.apply(found) * used

    def _log_density(self, data: Learners, white: np.ndarray, log_sigma: float) -> np.ndarray:
        """Log density of whitened residuals of size 1, shape (learners, nodes)."""
        used, volume = data.used[:, None, :], data.volume + data.rows * log_sigma
        if self.logarithmic:
            squares = np.sum(white**2, axis=2) + data.rows * np.log(2 * np.pi)
            return np.asarray(-0.5 * squares - volume)
        tail = data.tail
        constant = loggamma((tail + 1) / 2) - loggamma(tail / 2) - 0.5 * np.log(tail * np.pi)
        far = np.sum(used * np.log1p(white**2 / tail), axis=2)
        return np.asarray(data.rows * constant - (tail + 1) / 2 * far - volume)

    def density(self, point: np.ndarray, own: np.ndarray) -> Density:
        """Log density of the scores, residuals, weights and tangent of the whitened curve."""
        log_sigma = self.layout.log_sigma(point)
        shrink = np.exp(-log_sigma)
        eta, parts = curve_parts(self.now, own)
        height, steep = self._height(eta)
        white = shrink * self._whitened(self.now, self.target[:, None, :] - height)
        tangent = tuple(shrink * self._whitened(self.now, steep * part) for part in parts)
        heights = self._log_density(self.now, white, log_sigma).real
        if self.logarithmic:
            return heights, white, np.ones_like(white), tangent
        weight = (self.now.tail + 1) / (self.now.tail + white**2)
        return heights, weight * white, weight, tangent

    def bend(self, point: np.ndarray, weight: np.ndarray) -> np.ndarray:
        """Weights of the rows that give the expected curvature at the mode."""
        if self.logarithmic:
            return weight
        found: np.ndarray = weight * (self.now.tail + 1) / (self.now.tail + 3)
        return found

    def by_sigma(self, weights: np.ndarray, residual: np.ndarray, weight: np.ndarray) -> np.ndarray:
        """Gradient of each learner by the log residual SD (or scale)."""
        squares = np.sum(residual**2 / weight, axis=2)
        found: np.ndarray = np.sum(weights * squares, axis=1) - self.data.rows[:, 0]
        return found

    def by_common(
        self, point: np.ndarray, own: np.ndarray, weights: np.ndarray, pull: np.ndarray
    ) -> np.ndarray:
        """Gradient of each learner by the common terms, by imaginary steps."""
        log_sigma = self.layout.log_sigma(point)
        columns = []
        for data in imaginary(self.data, self.layout.common(point)):
            height = self._height(curve_parts(data, own)[0])[0]
            white = np.exp(-log_sigma) * self._whitened(data, self.target[:, None, :] - height)
            density = self._log_density(data, white, log_sigma)
            columns.append(np.sum(weights * density.imag, axis=1) / STEP)
        return np.stack(columns, axis=1)
