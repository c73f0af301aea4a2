"""Search for the maximum likelihood of a binomial mixed model."""

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from motorlearn.mixed.solve.binomial import BinomialOneFactor, BinomialRows
from motorlearn.mixed.solve.binomial_crossed import BinomialManyFactors
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
from motorlearn.mixed.solve.links import LINKS
from motorlearn.mixed.solve.optimise import (
    Minimum,
    escape,
    expected_decrease,
    hessian,
    minimise,
    polish,
)

Array = NDArray[np.float64]
BinomialModel = BinomialOneFactor | BinomialManyFactors


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


def binomial_model(
    work: Working, cells: Cells, offset: Array, link: str, quadrature: int
) -> BinomialModel:
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


def _binomial_start(
    work: Working, cells: Cells, offset: Array, link: str, start: tuple[Array, list[Array]] | None
) -> tuple[Array, Array]:
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


def _binomial_solution(work: Working, model: BinomialModel, found: Minimum) -> Solution:
    p = work.x.shape[1]
    value, gradient = model.objective(found.x, ONE)
    curve = hessian(model.objective, found.x)
    back = work.back
    covariance = 2 * _covariance(curve[0])
    turn = block_diag(back, work.psi_slopes(found.x[0, p:]))
    modes, spread = work.original_effects(*model.effects(found.x))
    return Solution(
        beta=back @ found.x[0, :p],
        vcov=back @ covariance[:p, :p] @ back.T,
        psi=work.psi(found.x[0, p:]),
        sigma=float("nan"),
        deviance=float(value[0]),
        theta=found.x[0, p:],
        modes=modes,
        spread=spread,
        gradient=gradient[0],
        hessian=curve[0],
        expected_decrease=float(expected_decrease(curve, gradient)[0]),
        iterations=found.iterations,
        variance_vcov=covariance[p:, p:],
        joint_vcov=turn @ covariance @ turn.T,
        scaled_psi=work.scaled_psi(found.x[0, p:]),
    )


def _covariance(curve: Array) -> Array:
    """Inverse Hessian; directions without curvature get a huge variance instead of none."""
    values, vectors = np.linalg.eigh(curve)
    values = np.maximum(values, 1e-12 * max(values[-1], 1e-300))
    found: Array = (vectors / values) @ vectors.T
    return found
