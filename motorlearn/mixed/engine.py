"""From cells to estimates: working scales, starting values, search, polish and re-check.

The fixed part is made orthonormal and every random term scaled to a root mean square of one before
the search, so that units and collinearity do not steer it; results are turned back afterwards.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from motorlearn.mixed.binomial import BinomialOneFactor, BinomialRows, log_choose
from motorlearn.mixed.binomial_crossed import BinomialManyFactors
from motorlearn.mixed.linear import LinearOneFactor, grouped_sums
from motorlearn.mixed.linear_crossed import Factor, LinearManyFactors
from motorlearn.mixed.links import LINKS
from motorlearn.mixed.optimise import (
    Minimum,
    expected_decrease,
    hessian,
    minimise,
    polish,
    positive_inverse,
)

Array = NDArray[np.float64]

ONE = np.array([0])
_GRID = (0.1, 0.3, 1.0, 3.0, 10.0)
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


def linear_model(work: Working, cells: Cells, reml: bool):
    """Criterion of a linear model, with one factor or several."""
    if len(work.factors) == 1:
        factor = work.factors[0]
        sums = grouped_sums(
            work.x,
            factor.z.T,
            cells.y[None],
            group_starts(factor.index),
            cells.weight,
            n=cells.n,
            within=cells.within,
            log_weights=cells.log_weights,
        )
        return LinearOneFactor(sums, factor.structure, reml)
    return LinearManyFactors(work.x, work.factors, cells, reml, work.order)


def solve_linear(
    x: Array,
    factors: list[Factor],
    cells: Cells,
    *,
    reml: bool,
    start: list[Array] | None = None,
) -> Solution:
    """Fit a linear mixed model by restricted or full maximum likelihood.

    ``start`` holds covariances of the random effects relative to the residual variance.
    """
    work = working(x, factors)
    model = linear_model(work, cells, reml)
    if start is None:
        base = np.concatenate([f.structure.start for f in work.factors])
        values = [model.objective((base * g)[None], ONE)[0][0] for g in _GRID]
        theta = base * _GRID[int(np.argmin(values))]
    else:
        theta = lifted(work.theta(start))
    found = minimise(model.objective, theta[None])
    curve, full = curvatures(model, found.x)
    better = escape(model.objective, polish(model.objective, found, curve), curve)
    if np.abs(better.x - found.x).max() > 1e-3:
        curve, full = curvatures(model, better.x)
    return _linear_solution(work, model, better, curve, full)


def escape(objective, found: Minimum, curve: Array) -> Minimum:
    """Leave a saddle: search again along the direction of most negative curvature."""
    values, vectors = np.linalg.eigh(curve[0])
    if values[0] > -1e-4 * max(1.0, abs(values[-1])):
        return found
    again = minimise(objective, found.x + 0.3 * vectors[:, 0][None])
    again = polish(objective, again, hessian(objective, again.x))
    return again if again.value[0] < found.value[0] - 1e-9 else found


def _linear_solution(work: Working, model, found: Minimum, curve: Array, full: Array) -> Solution:
    theta = found.x[0]
    here = model.evaluate(found.x, ONE)
    df = model.df
    sigma = float(np.sqrt(here.rss[0] / df))
    back = np.linalg.inv(work.turn)
    vcov = sigma**2 * np.linalg.inv(here.cross[0])
    slopes = [-vcov @ slope @ vcov / sigma**2 for slope in here.cross_slope[0]]
    slopes.append(2 * vcov / sigma)
    modes, spread = model.effects(theta, here.beta[0])
    return Solution(
        beta=back @ here.beta[0],
        vcov=back @ vcov @ back.T,
        psi=[sigma**2 * psi for psi in work.psi(theta)],
        sigma=sigma,
        deviance=float(here.value[0]) + (2 * _log_abs_det(work.turn) if model.reml else 0.0),
        theta=theta,
        modes=[m / s for m, s in zip(modes, work.scales, strict=True)],
        spread=[
            sigma**2 * v / np.multiply.outer(s, s) for v, s in zip(spread, work.scales, strict=True)
        ],
        gradient=here.gradient[0],
        hessian=curve[0],
        expected_decrease=float(expected_decrease(curve, here.gradient)[0]),
        iterations=found.iterations,
        vcov_slopes=np.array([back @ slope @ back.T for slope in slopes]),
        variance_vcov=2 * positive_inverse(full[0]),
    )


def _log_abs_det(matrix: Array) -> float:
    return float(np.linalg.slogdet(matrix)[1])


def curvatures(model, theta: Array) -> tuple[Array, Array]:
    """Hessians of −2 log likelihood by central differences, profiled over σ and in full.

    The full ones, (R, t+1, t+1), are in (θ, σ); eliminating σ gives the profiled ones, (R, t, t).
    """
    count, size = theta.shape
    which = np.arange(count)
    here = model.evaluate(theta, which)
    variance = here.rss / model.df
    sigma = np.sqrt(variance)
    full = np.empty((count, size + 1, size + 1))
    for j in range(size):
        width = 1e-4 * np.maximum(1.0, np.abs(theta[:, j]))
        ahead, behind = theta.copy(), theta.copy()
        ahead[:, j] += width
        behind[:, j] -= width
        up, down = model.evaluate(ahead, which), model.evaluate(behind, which)
        rise = up.log_slope - down.log_slope + (up.rss_slope - down.rss_slope) / variance[:, None]
        full[:, j, :size] = rise / (2 * width)[:, None]
    full[:, :size, :size] = (full[:, :size, :size] + full[:, :size, :size].swapaxes(1, 2)) / 2
    column = -2 * here.rss_slope / sigma[:, None] ** 3
    full[:, :size, size] = full[:, size, :size] = column
    full[:, size, size] = corner = 4 * model.df / variance
    outer = column[:, :, None] * column[:, None, :] / corner[:, None, None]
    return full[:, :size, :size] - outer, full


def solve_binomial(
    x: Array,
    factors: list[Factor],
    cells: Cells,
    offset: Array,
    *,
    link: str = "logit",
    quadrature: int = 1,
    start: tuple[Array, list[Array]] | None = None,
) -> Solution:
    """Fit a binomial mixed model by the Laplace approximation or adaptive quadrature."""
    work = working(x, factors)
    model = binomial_model(work, cells, offset, link, quadrature)
    point, guess = _binomial_start(work, cells, offset, link, start)
    found = minimise(model.objective, point[None], guess)
    curve = hessian(model.objective, found.x)
    found = escape(model.objective, polish(model.objective, found, curve), curve)
    return _binomial_solution(work, model, found)


def binomial_model(work: Working, cells: Cells, offset: Array, link: str, quadrature: int):
    """Criterion of a binomial model, with one factor or several."""
    if len(work.factors) > 1:
        return BinomialManyFactors(work.x, work.factors, cells, offset, link, work.order)
    factor = work.factors[0]
    rows = BinomialRows(
        work.x,
        factor.z.T,
        group_starts(factor.index),
        offset,
        cells.y[None],
        cells.weight[None],
    )
    return BinomialOneFactor(rows, factor.structure, link, quadrature)


def _binomial_start(work, cells, offset, link, start):
    beta, information = logistic_start(work.x, cells.y[None], cells.weight[None], offset, link)
    if start is None:
        theta = 0.7 * np.concatenate([f.structure.start for f in work.factors])
    else:
        beta, theta = (work.turn @ start[0])[None], lifted(work.theta(start[1]))
    return np.concatenate([beta[0], theta]), inverse_hessian_guess(information, work.factors)


def logistic_start(
    x: Array, hits: Array, attempts: Array, offset: Array, link: str
) -> tuple[Array, Array]:
    """Coefficients (R, p) and information (R, p, p) without random effects, a few damped steps."""
    p = x.shape[1]
    ridge = 1e-6 * x.shape[0]
    beta = np.zeros((hits.shape[0], p))
    for _ in range(25):
        _, slope, weight, _ = LINKS[link](beta @ x.T + offset, hits, attempts)
        information = np.matmul(x.T * weight[:, None, :], x) + ridge * np.eye(p)
        step = np.linalg.solve(information, (slope @ x - ridge * beta)[..., None])[..., 0]
        longest = np.abs(step).max(axis=1, keepdims=True)
        beta = beta + step * np.minimum(1.0, 2.0 / np.maximum(longest, 1e-300))
        if longest.max() < 1e-4:
            break
    return beta, information


def inverse_hessian_guess(information: Array, factors: list[Factor]) -> Array:
    """First guess of the inverse Hessian of −2 log likelihood in (β, θ), (R, d, d)."""
    levels = np.concatenate([np.full(f.structure.n_free, f.n_levels) for f in factors])
    p = information.shape[-1]
    guess = np.zeros((len(information), p + len(levels), p + len(levels)))
    guess[:, :p, :p] = 0.75 * np.linalg.inv(information)
    at = p + np.arange(len(levels))
    guess[:, at, at] = 1 / (2.0 * levels)
    return guess


def _binomial_solution(work: Working, model, found: Minimum) -> Solution:
    p = work.x.shape[1]
    value, gradient = model.objective(found.x, ONE)
    curve = hessian(model.objective, found.x)
    back = np.linalg.inv(work.turn)
    covariance = 2 * _covariance(curve[0])
    turn = block_diag(back, work.psi_slopes(found.x[0, p:]))
    modes, spread = model.effects(found.x)
    return Solution(
        beta=back @ found.x[0, :p],
        vcov=back @ covariance[:p, :p] @ back.T,
        psi=work.psi(found.x[0, p:]),
        sigma=float("nan"),
        deviance=float(value[0]),
        theta=found.x[0, p:],
        modes=[m / s for m, s in zip(modes, work.scales, strict=True)],
        spread=[v / np.multiply.outer(s, s) for v, s in zip(spread, work.scales, strict=True)],
        gradient=gradient[0],
        hessian=curve[0],
        expected_decrease=float(expected_decrease(curve, gradient)[0]),
        iterations=found.iterations,
        variance_vcov=covariance[p:, p:],
        joint_vcov=turn @ covariance @ turn.T,
    )


def _covariance(curve: Array) -> Array:
    """Inverse Hessian; directions without curvature get a huge variance instead of none."""
    values, vectors = np.linalg.eigh(curve)
    values = np.maximum(values, 1e-12 * max(values[-1], 1e-300))
    return (vectors / values) @ vectors.T


def aggregate(
    observed: Array, weight: Array, cell: NDArray[np.intp], n_cells: int, family: str
) -> Cells:
    """Put the outcomes of rows together by cell."""
    total = np.bincount(cell, weight, n_cells)
    if family == "binomial":
        return Cells(np.bincount(cell, observed, n_cells), total, len(observed))
    mean = np.bincount(cell, observed * weight, n_cells) / total
    within = float(np.sum(weight * (observed - mean[cell]) ** 2))
    return Cells(mean, total, len(observed), within, float(np.sum(np.log(weight))))


def saturation(observed: Array, weight: Array, cells: Cells) -> float:
    """−2 × what putting 0/1 rows together adds to the log likelihood through the coefficients."""
    by_row = log_choose(observed, weight).sum()
    return 2 * float(log_choose(cells.y, cells.weight).sum() - by_row)
