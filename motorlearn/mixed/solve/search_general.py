"""Search for the maximum likelihood of a mixed model whose outcome is not normal."""

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

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
from motorlearn.mixed.solve.likelihoods import Binomial, Likelihood
from motorlearn.mixed.solve.many_factors import ManyFactors
from motorlearn.mixed.solve.one_factor import OneFactor, Rows
from motorlearn.mixed.solve.optimise import (
    Minimum,
    escape,
    expected_decrease,
    hessian,
    hessian_at_once,
    minimise,
    polish,
)

Array = NDArray[np.float64]
GeneralModel = OneFactor | ManyFactors
Start = tuple[Array, list[Array], Array]
"""β, Ψ of each factor and κ, on the original scales."""
_ROWS_AT_ONCE = 50_000
_SAME_PLACE = 1e-4
"""Steps on working scales, by the last of which curvature changes by about as much."""


def solve_general(
    x: Array,
    factors: list[Factor],
    cells: Cells,
    offset: Array,
    *,
    likelihood: Likelihood,
    quadrature: int = 1,
    start: Start | None = None,
) -> Solution:
    """Fit a mixed model by the Laplace approximation or adaptive quadrature."""
    work = working(x, factors)
    model = general_model(work, cells, offset, likelihood, quadrature)
    point, guess = _general_start(work, cells, offset, likelihood, start)
    found = minimise(model.objective, point[None], guess)
    curve = _curvature(model, found.x)
    last = escape(model.objective, polish(model.objective, found, curve), curve)
    if np.abs(last.x - found.x).max() > _SAME_PLACE:
        curve = _curvature(model, last.x)
    return _general_solution(work, model, last, curve)


def _curvature(model: GeneralModel, x: Array) -> Array:
    """Hessian; where rows are few all of its gradients at once, which costs about one of them."""
    rows = len(model.rows.x) * 2 * x.shape[1] if isinstance(model, OneFactor) else np.inf
    together = rows <= _ROWS_AT_ONCE
    return (hessian_at_once if together else hessian)(model.objective, x)


def general_model(
    work: Working, cells: Cells, offset: Array, likelihood: Likelihood, quadrature: int
) -> GeneralModel:
    """Criterion of a model, with one factor or several."""
    if len(work.factors) > 1:
        return ManyFactors(work.x, work.factors, cells, offset, likelihood, work.order)
    factor = work.factors[0]
    starts = group_starts(factor.index)
    rows = Rows(work.x, factor.z.T, starts, offset, cells.y[None], cells.weight[None])
    return OneFactor(rows, factor.structure, likelihood, quadrature)


def _general_start(
    work: Working, cells: Cells, offset: Array, likelihood: Likelihood, start: Start | None
) -> tuple[Array, Array]:
    y, weight = cells.y[None], cells.weight[None]
    beta, information = first_coefficients(work.x, y, weight, offset, likelihood)
    extra = likelihood.first(y, weight)[0]
    if start is None:
        theta = 0.7 * np.concatenate([f.structure.start for f in work.factors])
    else:
        beta, theta = (work.turn @ start[0])[None], lifted(work.theta(start[1]))
        extra = start[2]
    guess = inverse_hessian_guess(information, work.factors, weight.sum(axis=1), len(extra))
    return np.concatenate([beta[0], theta, extra]), guess


def logistic_start(
    x: Array, hits: Array, attempts: Array, offset: Array, link: str
) -> tuple[Array, Array]:
    """Coefficients (R, p) and information (R, p, p) of hits without random effects."""
    return first_coefficients(x, hits, attempts, offset, Binomial(link))


def first_coefficients(
    x: Array, y: Array, weight: Array, offset: Array, likelihood: Likelihood
) -> tuple[Array, Array]:
    """Coefficients (R, p) and information (R, p, p) without random effects, a few damped steps."""
    p = x.shape[1]
    ridge = 1e-6 * x.shape[0]
    first = likelihood.guess(y, weight) - offset
    beta: Array = np.zeros((len(y), p))
    if first.any():
        beta = np.asarray(np.linalg.lstsq(x, first.T)[0].T, dtype=float)
    extra = likelihood.first(y, weight)
    for _ in range(25):
        _, slope, bend, _ = likelihood.rows(beta @ x.T + offset, y, weight, extra)
        bend = np.maximum(bend, 1e-6)
        information = np.matmul(x.T * bend[:, None, :], x) + ridge * np.eye(p)
        step = np.linalg.solve(information, (slope @ x - ridge * beta)[..., None])[..., 0]
        longest = np.abs(step).max(axis=1, keepdims=True)
        beta = beta + step * np.minimum(1.0, 2.0 / np.maximum(longest, 1e-300))
        if longest.max() < 1e-4:
            break
    return beta, information


def inverse_hessian_guess(
    information: Array, factors: list[Factor], total: Array | None = None, extra: int = 0
) -> Array:
    """First guess of the inverse Hessian of −2 log likelihood in (β, θ, κ), (R, d, d).

    ``total`` (R,) is the summed weight of the rows, which says how well κ is known.
    """
    levels = np.concatenate([np.full(f.structure.n_free, f.n_levels) for f in factors])
    p = information.shape[-1]
    size = p + len(levels) + extra
    guess = np.zeros((len(information), size, size))
    guess[:, :p, :p] = 0.75 * np.linalg.inv(information)
    at = p + np.arange(len(levels))
    guess[:, at, at] = 1 / (2.0 * levels)
    if total is not None:
        own = p + len(levels) + np.arange(extra)
        guess[:, own, own] = 2 / total[:, None]
    return guess


def _general_solution(work: Working, model: GeneralModel, found: Minimum, curve: Array) -> Solution:
    p, own = work.x.shape[1], model.likelihood.n_extra
    last = found.x.shape[1] - own
    theta, extra = found.x[0, p:last], found.x[0, last:]
    value, gradient = model.objective(found.x, ONE)
    back = work.back
    covariance = 2 * _covariance(curve[0])
    turn = block_diag(back, work.psi_slopes(theta), np.eye(own))
    modes, spread = work.original_effects(*model.effects(found.x))
    return Solution(
        beta=back @ found.x[0, :p],
        vcov=back @ covariance[:p, :p] @ back.T,
        psi=work.psi(theta),
        sigma=float("nan"),
        deviance=float(value[0]),
        theta=theta,
        modes=modes,
        spread=spread,
        gradient=gradient[0],
        hessian=curve[0],
        expected_decrease=float(expected_decrease(curve, gradient)[0]),
        iterations=found.iterations,
        variance_vcov=covariance[p:last, p:last],
        joint_vcov=turn @ covariance @ turn.T,
        scaled_psi=work.scaled_psi(theta),
        extra=extra,
    )


def _covariance(curve: Array) -> Array:
    """Inverse Hessian; directions without curvature get a huge variance instead of none."""
    values, vectors = np.linalg.eigh(curve)
    values = np.maximum(values, 1e-12 * max(values[-1], 1e-300))
    found: Array = (vectors / values) @ vectors.T
    return found
