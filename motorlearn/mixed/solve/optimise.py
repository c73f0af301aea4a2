"""Quasi-Newton minimisation of many small smooth problems side by side, and its re-check.

An objective takes points of shape (K, d) and the numbers of the K problems they belong to, and
gives values (K,) and gradients (K, d).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Objective = Callable[[Array, NDArray[np.intp]], tuple[Array, Array]]

_ARMIJO = 1e-4
_SHORTEST = 2.0**-30
_FLAT = 1e-10


@dataclass
class Minimum:
    """Where a batch of searches ended."""

    x: Array
    value: Array
    gradient: Array
    iterations: int


def minimise(
    objective: Objective,
    start: Array,
    inverse_hessian: Array | None = None,
    *,
    tolerance: float = 1e-8,
    longest: float = 5.0,
    max_iterations: int = 200,
) -> Minimum:
    """Minimise a batch of smooth functions by BFGS with a backtracking line search.

    Parameters
    ----------
    objective : callable
        Values and gradients of the problems asked for.
    start : array (R, d)
        Starting points.
    inverse_hessian : array (R, d, d), optional
        First guess of the inverse Hessian.
    tolerance : float
        A search ends when the decrease it expects from its next step is below this.
    longest : float
        Longest step in any coordinate, as a multiple of the largest coordinate or of one.
    max_iterations : int
        Iterations before the search is given up.
    """
    count, size = start.shape
    x = start.astype(float).copy()
    inverse = np.tile(np.eye(size), (count, 1, 1)) if inverse_hessian is None else inverse_hessian
    inverse = inverse.copy()
    live = np.arange(count)
    value, gradient = objective(x, live)
    value, gradient = value.copy(), gradient.copy()
    iteration = 0
    for iteration in range(1, max_iterations + 1):  # noqa: B007
        step = -np.einsum("rij,rj->ri", inverse[live], gradient[live])
        slope = np.einsum("ri,ri->r", step, gradient[live])
        uphill = ~(slope < 0)
        if uphill.any():
            step[uphill] = -gradient[live[uphill]]
            inverse[live[uphill]] = np.eye(size)
            slope[uphill] = -np.sum(gradient[live[uphill]] ** 2, axis=1)
        most = longest * np.maximum(1.0, np.abs(x[live]).max(axis=1))
        step *= np.minimum(1, most / np.maximum(np.abs(step).max(axis=1), 1e-300))[:, None]
        moved, new_value, new_gradient = _search(objective, x, value, slope, step, live)
        _update(inverse, live[moved], step[moved], (new_gradient - gradient[live])[moved])
        x[live[moved]] += step[moved]
        value[live[moved]], gradient[live[moved]] = new_value[moved], new_gradient[moved]
        live = live[moved & ~(-slope < tolerance)]
        if live.size == 0:
            break
    return Minimum(x, value, gradient, iteration)


def _search(
    objective: Objective, x: Array, value: Array, slope: Array, step: Array, live: Index
) -> tuple[NDArray[np.bool_], Array, Array]:
    """Halve each step, in place, until it decreases its function enough."""
    new_value, new_gradient = objective(x[live] + step, live)
    new_value, new_gradient = new_value.copy(), new_gradient.copy()
    factor = np.ones(live.size)
    slack = 1e-13 * (1 + np.abs(value[live]))
    while True:
        enough = new_value <= value[live] + _ARMIJO * factor * slope + slack
        again = np.flatnonzero(~enough & (factor > _SHORTEST))
        if again.size == 0:
            return enough, new_value, new_gradient
        factor[again] /= 2
        step[again] /= 2
        new_value[again], new_gradient[again] = objective(x[live[again]] + step[again], live[again])


def _update(inverse: Array, which: Index, step: Array, change: Array) -> None:
    """BFGS update of the inverse Hessians where the curvature is positive."""
    curvature = np.einsum("ri,ri->r", step, change)
    scale = np.linalg.norm(step, axis=1) * np.linalg.norm(change, axis=1)
    good = curvature > 1e-10 * scale
    which, step, change, curvature = which[good], step[good], change[good], curvature[good]
    if which.size == 0:
        return
    current = inverse[which]
    turned = np.einsum("rij,rj->ri", current, change)
    outer = step[:, :, None] * turned[:, None, :]
    factor = (1 + np.einsum("ri,ri->r", change, turned) / curvature) / curvature
    inverse[which] = (
        current
        - (outer + outer.transpose(0, 2, 1)) / curvature[:, None, None]
        + factor[:, None, None] * step[:, :, None] * step[:, None, :]
    )


def hessian(objective: Objective, x: Array, *, step: float = 1e-4) -> Array:
    """Hessians (R, d, d) by central differences of the gradient."""
    count, size = x.shape
    out = np.empty((count, size, size))
    numbers = np.arange(count)
    for j in range(size):
        width = step * np.maximum(1.0, np.abs(x[:, j]))
        ahead, behind = x.copy(), x.copy()
        ahead[:, j] += width
        behind[:, j] -= width
        rise = objective(ahead, numbers)[1].copy() - objective(behind, numbers)[1]
        out[:, j] = rise / (ahead[:, j] - behind[:, j])[:, None]
    return (out + out.transpose(0, 2, 1)) / 2


def hessian_at_once(objective: Objective, x: Array, *, step: float = 1e-4) -> Array:
    """The same of a single problem, x (1, d), its 2d gradients side by side."""
    size = x.shape[1]
    width = step * np.maximum(1.0, np.abs(x[0]))
    points = np.concatenate([x + np.diag(width), x - np.diag(width)])
    slopes = objective(points, np.zeros(2 * size, dtype=np.intp))[1]
    apart = np.diagonal(points[:size] - points[size:])
    out = (slopes[:size] - slopes[size:]) / apart[:, None]
    return np.asarray(((out + out.T) / 2)[None])


def polish(objective: Objective, found: Minimum, curvature: Array, steps: int = 3) -> Minimum:
    """Newton steps with a fixed Hessian, kept where they make the gradient smaller."""
    x, value, gradient = found.x.copy(), found.value.copy(), found.gradient.copy()
    numbers = np.arange(x.shape[0])
    inverse = positive_inverse(curvature)
    for _ in range(steps):
        if not (_decrement(inverse, gradient) > 1e-18 * (1 + np.abs(value))).any():
            break
        trial = x - np.einsum("rij,rj->ri", inverse, gradient)
        new_value, new_gradient = objective(trial, numbers)
        size, new_size = _decrement(inverse, gradient), _decrement(inverse, new_gradient)
        better = (new_size < size) & (new_value <= value + 1e-9 * (1 + np.abs(value)))
        x[better], value[better], gradient[better] = (
            trial[better],
            new_value[better],
            new_gradient[better],
        )
        if not better.any():
            break
    return Minimum(x, value, gradient, found.iterations)


def positive_inverse(curvature: Array) -> Array:
    """Inverse of symmetric matrices with directions that are not positive taken out.

    The matrices are brought to a diagonal of ones first, so that parameters of very different size
    are judged alike.
    """
    diagonal = np.abs(np.diagonal(curvature, axis1=-2, axis2=-1))
    scale = 1 / np.sqrt(np.maximum(diagonal, 1e-300))
    outer = scale[..., :, None] * scale[..., None, :]
    values, vectors = np.linalg.eigh(np.where(diagonal[..., None] > 0, curvature * outer, 0.0))
    inverse = np.where(values > _FLAT, 1 / np.where(values > _FLAT, values, 1.0), 0.0)
    found: Array = outer * ((vectors * inverse[..., None, :]) @ np.swapaxes(vectors, -1, -2))
    return found


def expected_decrease(curvature: Array, gradient: Array) -> Array:
    """Half the Newton decrement g' H⁻¹ g: how much lower the true minimum may lie."""
    return _decrement(positive_inverse(curvature), gradient) / 2


def _decrement(inverse: Array, gradient: Array) -> Array:
    found: Array = np.einsum("ri,rij,rj->r", gradient, inverse, gradient)
    return found


def escape(objective: Objective, found: Minimum, curve: Array) -> Minimum:
    """Leave a saddle: search again along the direction of most negative curvature."""
    values, vectors = np.linalg.eigh(curve[0])
    if values[0] > -1e-4 * max(1.0, abs(values[-1])):
        return found
    again = minimise(objective, found.x + 0.3 * vectors[:, 0][None])
    again = polish(objective, again, hessian(objective, again.x))
    return again if again.value[0] < found.value[0] - 1e-9 else found
