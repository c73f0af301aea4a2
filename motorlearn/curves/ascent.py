"""Maximum of a smooth log-likelihood: quasi-Newton, then Newton, then a second look."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

Value = Callable[[np.ndarray], tuple[float, np.ndarray]]
NEWTON_STEPS = 12


@dataclass(frozen=True)
class Summit:
    """The best point, its log-likelihood, and minus the second derivatives there.

    ``slack`` is the expected gain of one more Newton step in log-likelihood units.
    """

    point: np.ndarray
    loglik: float
    information: np.ndarray
    slack: float

    @property
    def converged(self) -> bool:
        """Whether nothing is left to gain and the surface bends down in every direction."""
        return self.slack < 1e-6


def ascend(value: Value, start: np.ndarray) -> Summit:
    """Climb from a start; the second derivatives are differences of the exact gradient."""
    start = np.asarray(start, float)
    return _newton(value, _climb(value, start, _first_inverse(value, start))[0])


def ascend_adapting(
    value: Value, adapt: Callable[[np.ndarray], None], start: np.ndarray, rounds: int = 12
) -> Summit:
    """Climb on quadrature nodes that are placed anew after every climb, until nothing moves."""
    point, last = np.asarray(start, float), -np.inf
    adapt(point)
    inverse = _first_inverse(value, point)
    for _ in range(rounds):
        point, height, inverse = _climb(value, point, inverse)
        adapt(point)
        if abs(height - last) < 1e-6:
            break
        last = height
    return _newton(value, point)


def _first_inverse(value: Value, start: np.ndarray) -> np.ndarray:
    return _symmetric(np.linalg.inv(_definite(observed_information(value, start))))


def _climb(value: Value, start, inverse) -> tuple[np.ndarray, float, np.ndarray]:
    found = minimize(
        lambda point: _negative(value, point),
        start,
        jac=True,
        method="BFGS",
        options={"hess_inv0": inverse, "gtol": 1e-4, "maxiter": 200},
    )
    return found.x, -float(found.fun), _symmetric(found.hess_inv)


def _symmetric(matrix: np.ndarray) -> np.ndarray:
    return (matrix + matrix.T) / 2


def _negative(value: Value, point) -> tuple[float, np.ndarray]:
    with np.errstate(all="ignore"):
        height, slope = value(point)
    if not np.isfinite(height) or not np.all(np.isfinite(slope)):
        return 1e10, np.zeros(len(point))
    return -height, -slope


def _newton(value: Value, point: np.ndarray) -> Summit:
    height, slope = value(point)
    information = observed_information(value, point)
    for _ in range(NEWTON_STEPS):
        step = np.linalg.solve(_definite(information), slope)
        if abs(slope @ step) < 1e-12:
            break
        tried, new, new_slope = _line(value, point, step, height)
        if tried is None:
            break
        point, height, slope = tried, new, new_slope
        information = observed_information(value, point)
    slack = float(abs(slope @ np.linalg.solve(_definite(information), slope)))
    return Summit(point, height, information, slack)


def _line(value: Value, point, step, height):
    """Shorten the step until the surface is no lower, to within rounding."""
    share = 1.0
    for _ in range(12):
        tried = point + share * step
        with np.errstate(all="ignore"):
            new, slope = value(tried)
        if np.isfinite(new) and new >= height - 1e-9 * max(abs(height), 1.0):
            return tried, new, slope
        share /= 2
    return None, height, None


def observed_information(value: Value, point: np.ndarray) -> np.ndarray:
    """Minus the second derivatives, by central differences of the gradient."""
    steps = 1e-4 * np.maximum(np.abs(point), 0.1)
    rows = []
    for k, step in enumerate(steps):
        move = np.zeros(len(point))
        move[k] = step
        with np.errstate(all="ignore"):
            rows.append((value(point - move)[1] - value(point + move)[1]) / (2 * step))
    matrix = np.nan_to_num(np.array(rows))
    return _symmetric(matrix)


def _definite(matrix: np.ndarray) -> np.ndarray:
    """The matrix with its eigenvalues made positive."""
    scale = np.sqrt(np.maximum(np.abs(np.diag(matrix)), 1e-8))
    values, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    values = np.maximum(np.abs(values), 1e-6)
    return (vectors * values) @ vectors.T * np.outer(scale, scale)
