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
from motorlearn.mixed.solve.likelihoods import Likelihood
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
from motorlearn.mixed.solve.starts import first_point, guess_at

Array = NDArray[np.float64]
GeneralModel = OneFactor | ManyFactors
Start = tuple[Array, list[Array], Array]
"""β, Ψ of each factor and κ, on the original scales."""
_ROWS_AT_ONCE = 50_000
SAME_PLACE = 1e-4
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
    if np.abs(last.x - found.x).max() > SAME_PLACE:
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
    given = (work.x, work.factors, cells.y[None], cells.weight[None], offset, likelihood)
    if start is None:
        point, guess = first_point(*given)
        return point[0], guess
    point = np.concatenate([work.turn @ start[0], lifted(work.theta(start[1])), start[2]])
    return point, guess_at(*given, point[None])


def _general_solution(work: Working, model: GeneralModel, found: Minimum, curve: Array) -> Solution:
    p, own = work.x.shape[1], model.likelihood.n_extra
    last = found.x.shape[1] - own
    theta, extra = found.x[0, p:last], found.x[0, last:]
    value, gradient = model.objective(found.x, ONE)
    back = work.back
    covariance = 2 * covariance_of(curve[0])
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


def covariance_of(curve: Array) -> Array:
    """Inverse Hessian; directions without curvature get a huge variance instead of none."""
    values, vectors = np.linalg.eigh(curve)
    values = np.maximum(values, 1e-12 * max(values[-1], 1e-300))
    found: Array = (vectors / values) @ vectors.T
    return found
