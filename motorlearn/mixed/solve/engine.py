"""What linear and binomial searches share: cells, working scales and the shape of a solution.

The fixed part is made orthonormal and every random term scaled to a root mean square of one before
the search, so that units and collinearity do not steer it; results are turned back afterwards.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from motorlearn.measures.hits import log_choose
from motorlearn.mixed.solve.factors import Factor

Array = NDArray[np.float64]

ONE = np.array([0])
CONVERGED = 1e-6
"""Largest decrease of −2 log likelihood that may still be expected at a converged point."""


@dataclass
class Cells:
    """Outcome by cell: mean (or hits), weight (or attempts), and what the means leave out."""

    y: Array
    weight: Array
    n: int
    within: float = 0.0
    log_weights: float = 0.0


@dataclass
class Solution:
    """What a search found, on the original scales.

    ``psi`` are the covariances of the random effects, ``modes`` the effects (G, q) and ``spread``
    their conditional covariances (G, q, q), one per factor; ``vcov_slopes`` (t+1, p, p) are the
    derivatives of ``vcov`` in (θ, σ), and ``variance_vcov`` the covariance of (θ, σ);
    ``joint_vcov`` that of β and the free entries of Ψ together, for a binomial model.
    """

    beta: Array
    vcov: Array
    psi: list[Array]
    sigma: float
    deviance: float
    theta: Array
    modes: list[Array]
    spread: list[Array]
    gradient: Array
    hessian: Array
    expected_decrease: float
    iterations: int
    vcov_slopes: Array = field(default_factory=lambda: np.zeros((0, 0, 0)))
    variance_vcov: Array = field(default_factory=lambda: np.zeros((0, 0)))
    joint_vcov: Array = field(default_factory=lambda: np.zeros((0, 0)))


@dataclass
class Working:
    """A design on working scales: x = work · turn, z = scaled · scales."""

    x: Array
    turn: Array
    factors: list[Factor]
    scales: list[Array]
    order: NDArray[np.intp]

    def psi(self, theta: Array) -> list[Array]:
        """Covariances on the original scales, relative to σ² where there is one."""
        out, done = [], 0
        for factor, scale in zip(self.factors, self.scales, strict=True):
            part = theta[done : done + factor.structure.n_free]
            lam = factor.structure.factor(part[None])[:, :, 0] / scale[:, None]
            out.append(lam @ lam.T)
            done += factor.structure.n_free
        return out

    def psi_entries(self, theta: Array) -> Array:
        """Free entries of the covariances on the original scales, factor by factor."""
        pairs = zip(self.psi(theta), self.factors, strict=True)
        return np.concatenate([psi[factor.structure.entries] for psi, factor in pairs])

    def psi_slopes(self, theta: Array) -> Array:
        """Jacobian of :meth:`psi_entries`; central differences are exact for a quadratic."""
        steps = 0.5 * np.eye(len(theta))
        return np.array(
            [self.psi_entries(theta + step) - self.psi_entries(theta - step) for step in steps]
        ).T

    def theta(self, psi: list[Array]) -> Array:
        """θ on working scales from covariances on the original scales."""
        return np.concatenate(
            [
                f.structure.theta_of(p * np.outer(s, s))
                for f, p, s in zip(self.factors, psi, self.scales, strict=True)
            ]
        )


def lifted(theta: Array) -> Array:
    """Move a starting value off zero, where the gradient cannot tell which way is down."""
    return np.where(np.abs(theta) < 0.05, np.where(theta < 0, -0.05, 0.05), theta)


def working(x: Array, factors: list[Factor]) -> Working:
    """Put a design on working scales, the factor with most random effects first."""
    root_n = np.sqrt(x.shape[0])
    q, r = np.linalg.qr(x)
    scales, scaled = [], []
    for factor in factors:
        scale = np.sqrt(np.mean(factor.z**2, axis=0))
        scale = np.where(scale > 0, scale, 1.0)
        scales.append(scale)
        scaled.append(Factor(factor.index, factor.z / scale, factor.structure, factor.n_levels))
    sizes = [f.n_levels * f.structure.size for f in factors]
    return Working(q * root_n, r / root_n, scaled, scales, np.argsort(sizes)[::-1])


def group_starts(index: NDArray[np.intp]) -> NDArray[np.intp]:
    """First row of each run of equal values."""
    return np.flatnonzero(np.concatenate([[True], index[1:] != index[:-1]]))


def in_level_order(work: Working, values: list[Array]) -> list[Array]:
    """Effects of a single factor, which come in the order of its runs of rows, by level."""
    if len(work.factors) > 1:
        return values
    index = work.factors[0].index
    out = np.zeros((work.factors[0].n_levels, *values[0].shape[1:]))
    out[index[group_starts(index)]] = values[0]
    return [out]


def aggregate(
    observed: Array, weight: Array, cell: NDArray[np.intp], n_cells: int, family: str
) -> Cells:
    """Put the outcomes of rows together by cell."""
    total = np.bincount(cell, weight, n_cells).astype(float)
    if family == "binomial":
        return Cells(np.bincount(cell, observed, n_cells).astype(float), total, len(observed))
    mean = np.bincount(cell, observed * weight, n_cells).astype(float) / total
    within = float(np.sum(weight * (observed - mean[cell]) ** 2))
    return Cells(mean, total, len(observed), within, float(np.sum(np.log(weight))))


def saturation(observed: Array, weight: Array, cells: Cells) -> float:
    """−2 × what putting 0/1 rows together adds to the log likelihood through the coefficients."""
    by_row = log_choose(observed, weight).sum()
    return 2 * float(log_choose(cells.y, cells.weight).sum() - by_row)
