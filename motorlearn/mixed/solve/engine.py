"""What linear and binomial searches share: cells, working scales and the shape of a solution.

The fixed part and every block of correlated random terms are centred and made orthonormal before
the search, so that units, origins and collinearity do not steer it; results are turned back
afterwards. Independent random terms are only scaled, because turning them would correlate them.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from motorlearn.measures.hits import log_choose
from motorlearn.mixed.solve.factors import Factor

Array = NDArray[np.float64]

ONE = np.array([0])
_COLLINEAR = 1e14
CONVERGED = 1e-6
"""Largest decrease of −2 log likelihood that may still be expected at a converged point."""


@dataclass
class Cells:
    """Outcome by cell: mean (or hits), weight (or attempts), and what the means leave out.

    ``rows`` and ``within_cell`` (N,) are the rows of each cell and their weighted squares about it.
    """

    y: Array
    weight: Array
    n: int
    within: float = 0.0
    log_weights: float = 0.0
    rows: Array = field(default_factory=lambda: np.zeros(0))
    within_cell: Array = field(default_factory=lambda: np.zeros(0))


@dataclass
class Solution:
    """What a search found, on the original scales.

    ``psi`` are the covariances of the random effects, ``modes`` the effects (G, q) and ``spread``
    their conditional covariances (G, q, q), one per factor; ``vcov_slopes`` (t+1, p, p) are the
    derivatives of ``vcov`` in (θ, σ), and ``variance_vcov`` the covariance of (θ, σ);
    ``joint_vcov`` that of β and the free entries of Ψ together, for a binomial model;
    ``scaled_psi`` the covariances on working scales, where units and origins play no part;
    ``residual`` (T, T) the covariance of residuals that differ in spread, and ``products`` Φ, P_r,
    Q_rs and tr(V⁻¹G_rV⁻¹G_s) of that model on working scales; ``extra`` the parameters κ of the
    kind of outcome (steps between thresholds, dispersion), whose covariance ends ``joint_vcov``.
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
    scaled_psi: list[Array] = field(default_factory=list)
    residual: Array = field(default_factory=lambda: np.zeros((0, 0)))
    products: tuple[Array, ...] = ()
    extra: Array = field(default_factory=lambda: np.zeros(0))


@dataclass
class Working:
    """A design on working scales: x = work · turn, and z = scaled · turns for every factor."""

    x: Array
    turn: Array
    back: Array
    factors: list[Factor]
    turns: list[Array]
    backs: list[Array]
    order: NDArray[np.intp]

    def scaled_psi(self, theta: Array) -> list[Array]:
        """Covariances on working scales, relative to σ² where there is one."""
        out, done = [], 0
        for factor in self.factors:
            part = theta[done : done + factor.structure.n_free]
            lam = factor.structure.factor(part[None])[:, :, 0]
            out.append(lam @ lam.T)
            done += factor.structure.n_free
        return out

    def psi(self, theta: Array) -> list[Array]:
        """Covariances on the original scales, relative to σ² where there is one."""
        out, done = [], 0
        for factor, back in zip(self.factors, self.backs, strict=True):
            part = theta[done : done + factor.structure.n_free]
            lam = back @ factor.structure.factor(part[None])[:, :, 0]
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
                f.structure.theta_of(turn @ p @ turn.T)
                for f, p, turn in zip(self.factors, psi, self.turns, strict=True)
            ]
        )

    def original_effects(
        self, modes: list[Array], spread: list[Array]
    ) -> tuple[list[Array], list[Array]]:
        """Modes (G, q) and their covariances (G, q, q) on the original scales."""
        pairs = list(zip(in_level_order(self, modes), self.backs, strict=True))
        spreads = zip(in_level_order(self, spread), self.backs, strict=True)
        return [m @ back.T for m, back in pairs], [back @ v @ back.T for v, back in spreads]


def lifted(theta: Array) -> Array:
    """Move a starting value off zero, where the gradient cannot tell which way is down."""
    return np.where(np.abs(theta) < 0.05, np.where(theta < 0, -0.05, 0.05), theta)


def orthonormal(columns: Array) -> tuple[Array, Array, Array]:
    """Columns with orthogonal ones of mean square one: columns = result · turn, back = turn⁻¹.

    Where a column is constant the others are centred first, which loses nothing.
    """
    spread = np.ptp(columns, axis=0)
    constant = np.flatnonzero((spread == 0) & (columns[0] != 0))
    shift = np.eye(columns.shape[1])
    if constant.size:
        at = constant[0]
        means = columns.mean(axis=0) / columns[0, at]
        means[at] = 0.0
        shift[at] += means
        columns = columns - np.outer(columns[:, at], means)
    q, r = np.linalg.qr(columns)
    root = np.sqrt(columns.shape[0])
    inside = 2 * np.eye(len(shift)) - shift
    return q * root, (r / root) @ shift, inside @ _inverse_upper(r / root)


def _inverse_upper(r: Array) -> Array:
    """The general inverse: elimination leaves a triangle as it is, and LAPACK's triangular solver
    starts threads even for three columns, which costs a hundred times the work."""
    return np.triu(np.linalg.inv(r)) if len(r) else r


def working(x: Array, factors: list[Factor], *, first_alone: bool = False) -> Working:
    """Put a design on working scales, the factor with most random effects first.

    With ``first_alone`` the first term of every block is on a scale of its own, so that its
    standard deviation is a single entry of Λ.
    """
    q, turn, back = orthonormal(x)
    scaled, turns, backs = [], [], []
    for factor in factors:
        z, own, undo = _scaled_terms(factor, first_alone)
        turns.append(own)
        backs.append(undo)
        scaled.append(Factor(factor.index, z, factor.structure, factor.n_levels))
    sizes = [f.n_levels * f.structure.size for f in factors]
    return Working(q, turn, back, scaled, turns, backs, np.argsort(sizes)[::-1])


def _scaled_terms(factor: Factor, first_alone: bool) -> tuple[Array, Array, Array]:
    z, turn = factor.z.copy(), np.zeros((factor.structure.size,) * 2)
    back = turn.copy()
    for block in factor.structure.blocks:
        at = np.ix_(block, block)
        z[:, block], turn[at], back[at] = _scaled_block(factor.z[:, block], first_alone)
    return z, turn, back


def _scaled_block(z: Array, first_alone: bool) -> tuple[Array, Array, Array]:
    if z.shape[1] > 1 and z.shape[1] <= len(z):
        columns, turn, back = orthonormal(z)
        diagonal = np.linalg.svd(columns / np.sqrt(len(z)), compute_uv=False)
        size = np.sqrt(np.mean(z**2, axis=0))
        if (size > 0).all() and diagonal[-1] > 0.5 and np.linalg.cond(turn / size) < _COLLINEAR:
            if not first_alone:
                return columns, turn, back
            # Reversed twice, QR gives turn = u · lower, so that the first term stands alone.
            u, lower = np.linalg.qr(turn[:, ::-1])
            u, lower = u[:, ::-1], lower[::-1, ::-1]
            sign = np.sign(np.diag(lower))
            return columns @ (u * sign), lower * sign[:, None], back @ (u * sign)
    scale = np.sqrt(np.mean(z**2, axis=0))
    scale = np.where(scale > 0, scale, 1.0)
    return z / scale, np.diag(scale), np.diag(1 / scale)


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
    square = np.bincount(cell, weight * (observed - mean[cell]) ** 2, n_cells).astype(float)
    rows = np.bincount(cell, minlength=n_cells).astype(float)
    logs = float(np.sum(np.log(weight)))
    return Cells(mean, total, len(observed), float(square.sum()), logs, rows, square)


def saturation(observed: Array, weight: Array, cells: Cells) -> float:
    """−2 × what putting 0/1 rows together adds to the log likelihood through the coefficients."""
    by_row = log_choose(observed, weight).sum()
    return 2 * float(log_choose(cells.y, cells.weight).sum() - by_row)
