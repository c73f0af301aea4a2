"""Residuals of a run of trials that resemble their neighbours: first-order autoregression.

Residuals of one person and run (a session, say) at places s and t have the covariance
σ_a σ_b ρ^|s − t|, those of different runs none. φ holds log σ² for each level of spread, then
atanh ρ; both are their own natural parameters, so that R is not linear in them.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.solve.dense import DenseModel, DensePoint, Padded
from motorlearn.mixed.solve.residual import ResidualShape

Array = NDArray[np.float64]
Index = NDArray[np.intp]

STARTS = (0.2, 0.8)
"""Correlations of neighbours from which the search begins."""


@dataclass(frozen=True)
class SerialShape(ResidualShape):
    """A variance for each of ``size`` levels, and the correlation of neighbours."""

    kind: str = "serial"
    size: int = 1
    rho: float = STARTS[0]

    @property
    def n_free(self) -> int:
        """Number of parameters."""
        return self.size + 1

    def matrix(self, phi: Array) -> Array:
        """Variances of the levels, (K, T, T)."""
        found: Array = np.exp(phi[:, : self.size, None]) * np.eye(self.size)
        return found

    def slopes(self, phi: Array) -> Array:
        """The search runs over the natural parameters themselves."""
        return np.tile(np.eye(self.n_free), (len(phi), 1, 1))

    def start(self, covariance: Array) -> Array:
        """φ of variances, with the correlation at which this search begins."""
        return np.append(np.log(np.diag(covariance)), np.arctanh(self.rho))


@dataclass
class Places:
    """Run (G, m) and place (G, m) of each padded row."""

    run: Index
    place: Array
    lag: Array = field(init=False)

    def __post_init__(self) -> None:
        same = self.run[:, :, None] == self.run[:, None, :]
        lag = np.abs(self.place[:, :, None] - self.place[:, None, :])
        self.lag = np.where(same, lag, np.inf)


class SerialModel(DenseModel):
    """The criterion of a model whose residuals are autoregressive within runs."""

    def __init__(self, data: Padded, shape: ResidualShape, reml: bool, places: Places) -> None:
        super().__init__(data, shape, reml)
        self.places = places
        known = data.level >= 0
        both = known[:, :, None] & known[:, None, :]
        # Powers are taken once for each lag there is, not once for each pair of rows.
        self.lags, where = np.unique(np.where(both, places.lag, np.inf), return_inverse=True)
        self.where = where.reshape(both.shape)

    def rows_of(self, point: Array, residual: Array) -> Array:
        """R of the rows of each person, (K, G, m, m)."""
        spread = self._spread(residual)
        power = self._power(np.tanh(point[:, -1]))
        found: Array = spread[..., :, None] * spread[..., None, :] * power
        return found

    def _spread(self, residual: Array) -> Array:
        sd = np.sqrt(np.diagonal(residual, axis1=1, axis2=2))
        found: Array = np.einsum("gma,ka->kgm", self.data.picks, sd)
        return found

    def _power(self, rho: Array) -> Array:
        """ρ to the lag; no correlation between runs."""
        near = np.isfinite(self.lags)
        lag = np.where(near, self.lags, 0.0)
        found = np.where(near, np.sign(rho[:, None]) ** (lag % 2), 0.0)
        return np.asarray((found * np.abs(rho[:, None]) ** lag)[:, self.where])

    def row_slopes(self, point: Array, residual: Array) -> list[Array]:
        """∂R/∂φ of the rows, a list of (K, G, m, m)."""
        rows, picks = self.rows_of(point, residual), self.data.picks
        half = (picks[:, :, None, :] + picks[:, None, :, :]) / 2
        out = [rows * half[..., a] for a in range(self.shape.size)]
        rho, spread = np.tanh(point[:, -1]), self._spread(residual)
        near = np.isfinite(self.lags) & (self.lags > 0)
        lag = np.where(near, self.lags, 1.0)
        sign = np.sign(rho[:, None]) ** ((lag - 1) % 2)
        power = np.where(near, lag * sign * np.abs(rho[:, None]) ** (lag - 1), 0.0)
        by_rho = (power * (1 - rho**2)[:, None])[:, self.where]
        out.append(spread[..., :, None] * spread[..., None, :] * by_rho)
        return out

    def residual_gradient(
        self, point: Array, which: NDArray[np.intp], found: DensePoint, m: Array
    ) -> Array:
        """Gradient of the criterion in φ, (K, n_free)."""
        slopes = self.row_slopes(point, found.residual)
        return np.stack([np.einsum("kgmn,kgmn->k", m, slope) for slope in slopes], axis=1)

    def residual_slopes(self, point: Array, found: DensePoint) -> list[Array]:
        """∂V/∂φ at one point, a list of (G, m, m)."""
        return [slope[0] for slope in self.row_slopes(point, found.residual)]
