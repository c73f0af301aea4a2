"""Ratings whose odds are not proportional in some columns: an effect at each cut of the scale."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.solve.likelihoods import Extras
from motorlearn.mixed.solve.ratings import Ordinal, edges

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PartialOrdinal(Ordinal):
    """Ratings 0 … K − 1: P(rating ≤ k) = F(t_k − η − w'δ_k), with δ_0 = 0.

    ``own`` (N, m) are the columns w of each row, which η holds too, so that their effect at cut k
    is β + δ_k; κ are the logarithms of the steps between thresholds, then δ_1, δ_2, …
    """

    own: Array = field(default_factory=lambda: np.zeros((0, 0)))

    @property
    def n_steps(self) -> int:
        """Steps between thresholds."""
        return self.categories - 2

    @property
    def n_extra(self) -> int:
        """Steps between thresholds, and effects at each cut beyond the first."""
        return int(self.n_steps * (1 + self.own.shape[1]))

    def _bounds(self, eta: Array, y: Array, extra: Array) -> tuple[Array, Array]:
        steps, count = self.n_steps, len(extra)
        t = self.thresholds(extra[:, :steps])
        delta = extra[:, steps:].reshape(count, steps, self.own.shape[1])
        shift = np.zeros((count, self.categories + 1, len(self.own)))
        shift[:, 2:-1] = -np.einsum("nm,rkm->rkn", self.own, delta)
        which = y.astype(np.intp)[:, None, :]
        lines = np.arange(count)[:, None]
        low, high = (np.take_along_axis(shift, which + k, axis=1)[:, 0] for k in (0, 1))
        return t[lines, which[:, 0]] + low - eta, t[lines, which[:, 0] + 1] + high - eta

    def extras(self, eta: Array, y: Array, weight: Array, extra: Array) -> Extras:
        """Derivatives in the logarithms of the steps, then in δ."""
        steps, m = self.n_steps, self.own.shape[1]
        at_low, at_high = edges(self.link, *self._bounds(eta, y, extra))
        width = np.exp(extra[:, :steps])
        out = np.zeros((3, self.n_extra, *eta.shape))
        for i in range(steps):
            pairs = [
                (
                    i,
                    weight * width[:, i, None] * ((y >= i + 2) & (y <= self.categories - 1)),
                    weight * width[:, i, None] * ((y >= i + 1) & (y < self.categories - 1)),
                )
            ]
            for c in range(m):
                column = -weight * self.own[:, c]
                pairs.append((steps + i * m + c, column * (y == i + 2), column * (y == i + 1)))
            for place, low, high in pairs:
                for part in range(3):
                    out[part, place] = at_low[part] * low + at_high[part] * high
        return out[0], out[1], out[2]

    def first(self, y: Array, weight: Array) -> Array:
        """What gives all rows the shares of the ratings; the same effects at every cut."""
        nothing = np.zeros((len(y), self.n_steps * self.own.shape[1]))
        return np.concatenate([super().first(y, weight), nothing], axis=1)
