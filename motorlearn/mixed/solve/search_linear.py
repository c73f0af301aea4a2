"""Search for the (restricted) maximum likelihood of a linear mixed model."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.solve.crossed_curvature import (
    average_information,
    exact_curvatures,
    has_curvature,
    joint_moments,
)
from motorlearn.mixed.solve.engine import (
    ONE,
    Cells,
    Solution,
    Working,
    group_starts,
    lifted,
    working,
)
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.linear import LinearOneFactor, grouped_sums
from motorlearn.mixed.solve.linear_crossed import LinearManyFactors
from motorlearn.mixed.solve.linear_together import LinearTogether
from motorlearn.mixed.solve.optimise import (
    Minimum,
    escape,
    expected_decrease,
    minimise,
    polish,
    positive_inverse,
)

Array = NDArray[np.float64]
LinearModel = LinearOneFactor | LinearManyFactors

_NEAR = 0.05
"""Decrease of −2 log likelihood below which Newton steps take over."""
_SAME_PLACE, _SAME_PLACE_EXACTLY = 1e-3, 3e-5
"""Last steps of θ after which curvature is looked at again."""
_GRID = (0.2, 1.0, 5.0, 25.0, 1e3, 1e5)


def linear_model(work: Working, cells: Cells, reml: bool) -> LinearModel:
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
    cells, base = without_fixed_part(work, cells)
    model = linear_model(work, cells, reml)
    if start is None:
        theta = moment_start(work, cells)
        if len(factors) == 1:
            values = [model.objective((theta * g)[None], ONE)[0][0] for g in _GRID]
            theta = theta * _GRID[int(np.argmin(values))]
    else:
        theta = lifted(work.theta(start))
    found, curve, full = _search(work, cells, model, theta, given=start is not None)
    better = escape(model.objective, polish(model.objective, found, curve), curve)
    exact = isinstance(model, LinearManyFactors) and has_curvature(model, better.x)
    if np.abs(better.x - found.x).max() > (_SAME_PLACE_EXACTLY if exact else _SAME_PLACE):
        curve, full = _curvatures(model, better.x)
    return _linear_solution(work, model, better, curve, full, base)


def _search(
    work: Working, cells: Cells, model: LinearModel, theta: Array, *, given: bool
) -> tuple[Minimum, Array, Array]:
    """Minimum and curvatures there; of many crossed effects from few evaluations.

    With the second derivatives at hand the last digits are left to Newton steps.
    """
    point = theta[None]
    if not isinstance(model, LinearManyFactors) or not has_curvature(model, point):
        found = minimise(model.objective, point, first_curvature(work, point))
        return found, *curvatures(model, found.x)
    joint = None if given else joint_moments(work, cells)
    point = point if joint is None else joint[None]
    guess = average_information(model, point)
    found = minimise(model.objective, point, guess, tolerance=_NEAR)
    if not has_curvature(model, found.x):
        # A variance near zero: the search goes on by itself.
        found = minimise(model.objective, found.x, first_curvature(work, found.x))
    return found, *_curvatures(model, found.x)


def _curvatures(model: LinearModel, theta: Array) -> tuple[Array, Array]:
    """Exact second derivatives where they are cheaper than differences."""
    if isinstance(model, LinearManyFactors) and has_curvature(model, theta):
        return exact_curvatures(model, theta)
    return curvatures(model, theta)


def without_fixed_part(work: Working, cells: Cells) -> tuple[Cells, Array]:
    """Outcome less its least-squares fit, so that a large mean costs no digits; and that fit."""
    base = np.zeros(work.x.shape[1])
    rest = cells.y
    for _ in range(2):
        step = work.x.T @ rest / len(rest)
        base, rest = base + step, rest - work.x @ step
    return replace(cells, y=rest), base


def moment_start(work: Working, cells: Cells) -> Array:
    """Starting θ by the method of moments, each random term on its own.

    The residuals r about the fixed part alone have E(Σ (z'r)²) = τ² Σ (z'z)² + noise · Σ z'z over
    the levels of a factor.
    """
    found, _ = moment_starts(work, cells.y[None], cells.weight, np.array([cells.within]))
    return np.asarray(found[0])


def moment_starts(work: Working, y: Array, weight: Array, within: Array) -> tuple[Array, Array]:
    """The same of many outcomes (R, N), θ (R, t); and their variances about the fixed part (R,)."""
    root = np.sqrt(weight)
    beta = np.linalg.lstsq(work.x * root[:, None], (y * root).T, rcond=None)[0]
    rest = y - (work.x @ beta).T
    total = np.asarray((rest**2 @ weight + within) / weight.sum())
    found = []
    for factor in work.factors:
        for z in factor.z.T:
            rows = weight * z * rest
            pull = np.array([np.bincount(factor.index, row, factor.n_levels) for row in rows])
            size = np.bincount(factor.index, weight * z * z, factor.n_levels)
            excess = np.sum(pull**2, axis=1) - total * np.sum(size)
            found.append(excess / np.maximum(np.sum(size**2) - np.sum(size), 1e-300))
    variances = np.clip(np.array(found).T, 0.01 * total[:, None], 0.6 * total[:, None])
    residual = np.maximum(total - variances.sum(axis=1), 0.2 * total)
    roots, theta = iter(np.sqrt(variances / residual[:, None]).T), []
    for factor in work.factors:
        scale = np.array([next(roots) for _ in range(factor.structure.size)])
        theta.append(factor.structure.start * scale[factor.structure.entries[0]].T)
    return np.concatenate(theta, axis=1), total


def first_curvature(work: Working, theta: Array) -> Array:
    """Guess of the inverse Hessian in θ (R, t), (R, t, t): by the number of levels alone."""
    levels = np.concatenate([np.full(f.structure.n_free, f.n_levels) for f in work.factors])
    return np.asarray(np.eye(len(levels)) * (np.maximum(theta**2, 0.01) / (2.0 * levels))[:, None])


def _linear_solution(
    work: Working, model: LinearModel, found: Minimum, curve: Array, full: Array, base: Array
) -> Solution:
    theta = found.x[0]
    here = model.evaluate(found.x, ONE)
    df = model.df
    sigma = float(np.sqrt(here.rss[0] / df))
    back = work.back
    vcov = sigma**2 * np.linalg.inv(here.cross[0])
    slopes = [-vcov @ slope @ vcov / sigma**2 for slope in here.cross_slope[0]]
    slopes.append(2 * vcov / sigma)
    modes, spread = work.original_effects(*model.effects(theta, here.beta[0]))
    return Solution(
        beta=back @ (here.beta[0] + base),
        vcov=back @ vcov @ back.T,
        psi=[sigma**2 * psi for psi in work.psi(theta)],
        sigma=sigma,
        deviance=float(here.value[0]) + (2 * _log_abs_det(work.turn) if model.reml else 0.0),
        theta=theta,
        modes=modes,
        spread=[sigma**2 * v for v in spread],
        gradient=here.gradient[0],
        hessian=curve[0],
        expected_decrease=float(expected_decrease(curve, here.gradient)[0]),
        iterations=found.iterations,
        vcov_slopes=np.array([back @ slope @ back.T for slope in slopes]),
        variance_vcov=2 * positive_inverse(full[0]),
        scaled_psi=work.scaled_psi(theta),
    )


def _log_abs_det(matrix: Array) -> float:
    return float(np.linalg.slogdet(matrix)[1])


def curvatures(model: LinearModel | LinearTogether, theta: Array) -> tuple[Array, Array]:
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
