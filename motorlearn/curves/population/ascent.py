"""Maximum of a smooth log-likelihood: quasi-Newton, then Newton, then a second look."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

Value = Callable[[np.ndarray], tuple[float, np.ndarray]]


class Likelihood(Protocol):
    """What can be climbed: log-likelihood and gradient, and nodes that can be placed."""

    @property
    def bends(self) -> bool:
        """Whether second derivatives cost little more than slopes."""

    def value(self, point: np.ndarray) -> tuple[float, np.ndarray]:
        """Log-likelihood and gradient."""

    def information(self, point: np.ndarray, slope: np.ndarray) -> np.ndarray:
        """Minus the second derivatives at the point of the evaluation before, of this slope."""

    def scores(self, point: np.ndarray) -> tuple[float, np.ndarray]:
        """Log-likelihood and each learner's gradient."""

    def adapt(self, point: np.ndarray) -> None:
        """Place the nodes for a point and hold them."""

    def release(self) -> None:
        """Let the nodes follow, where they can."""


NEWTON_STEPS = 12
MOST_STEPS, LARGEST_STEP = 200, 1.0
STILL = 1e-5
"""Gain of a Newton step in log-likelihood below which second derivatives stay what they are."""
LEAST_GAIN = 1e-12
"""Expected gain in log-likelihood below which nothing is left to climb."""
SLOW = 0.1
"""Share of what was left to gain that a step may leave before second derivatives are renewed."""
NEAR = 1.0
"""Gain that may be left so that they stay."""
LEAST_BEND, SADDLE, ESCAPES = 1e-6, 1e-3, 3
"""Least bend of a direction as a share of its parameters', the bend upwards that makes a top a
saddle, and how often a saddle is left."""
FAR = 0.01
"""Standard errors beyond which nodes placed at the begin of a climb are placed anew."""


@dataclass(frozen=True)
class Summit:
    """The best point, its log-likelihood, and minus the second derivatives there.

    ``slack`` is the expected gain of one more Newton step in log-likelihood units; ``peak`` says
    where the integrands of the learners peak, where that is known.
    """

    point: np.ndarray
    loglik: float
    information: np.ndarray
    slack: float
    peak: np.ndarray | None = None

    @property
    def converged(self) -> bool:
        """Whether nothing is left to gain and the surface bends down in every direction."""
        return self.slack < 1e-6


def approach(
    likelihood: Likelihood, start: np.ndarray, *, rounds: int, careful: bool = False
) -> tuple[np.ndarray, np.ndarray]:
    """Climb from a start to near the top, ``rounds`` times at most: point and inverse there.

    A likelihood whose nodes follow the point needs one round; one whose nodes stand still while
    climbing is given new nodes before each. ``careful`` keeps to small steps, and so to the nearest
    top, where second derivatives are at hand.
    """
    point, last = np.asarray(start, float), -np.inf
    likelihood.adapt(point)
    if likelihood.bends and not careful:
        likelihood.release()
        found = ascend(likelihood, point, 0.1)
        return found.point, inverse_of(found.information)
    scores = likelihood.scores(point)[1]
    inverse = inverse_of(scores.T @ scores)
    for _ in range(rounds):
        likelihood.adapt(point)
        likelihood.release()
        point, height, inverse = climb(likelihood.value, point, inverse, 0.3)
        if abs(height - last) < 1e-4:
            break
        last = height
    return point, inverse


def settle(
    likelihood: Likelihood,
    point: np.ndarray,
    inverse: np.ndarray,
    close: float = 1e-5,
    *,
    careful: bool = False,
) -> Summit:
    """Climb to the top on nodes that stand still, placed anew until that changes nothing.

    The second derivatives are taken at the top itself, to within ``close`` standard errors:
    standard errors come from them. The last steps are Newton's, to within rounding. Where those
    reach no top, small steps go on from there; ``careful`` takes none but small ones.
    """
    if likelihood.bends and not careful:
        summit = _summit(likelihood, point)
        if not summit.converged:
            inverse = inverse_of(summit.information)
            again = _newton(likelihood.value, top(likelihood, summit.point, inverse, close)[0])
            summit = again if again.loglik >= summit.loglik else summit
    else:
        summit = _newton(likelihood.value, top(likelihood, point, inverse, close)[0])
    likelihood.release()
    return summit


def top(
    likelihood: Likelihood, point: np.ndarray, inverse: np.ndarray, close: float = 1e-5
) -> tuple[np.ndarray, float]:
    """The top and its height without second derivatives, to within ``close`` standard errors."""
    last = -np.inf
    for _ in range(8):
        likelihood.adapt(point)
        point, height, inverse = climb(likelihood.value, point, inverse, close)
        if abs(height - last) < 1e-3 * close:
            break
        last = height
    return point, height


def _summit(likelihood: Likelihood, point: np.ndarray) -> Summit:
    """The top by Newton's steps on nodes that are placed anew after every long way."""
    for _ in range(8):
        likelihood.adapt(point)
        begin, summit = point, ascend(likelihood, point, LEAST_GAIN**0.5, exact=True)
        point = summit.point
        way = point - begin
        if way @ summit.information @ way < FAR**2:
            break
    return summit


def ascend(
    likelihood: Likelihood, start: np.ndarray, slope: float = 0.01, *, exact: bool = False
) -> Summit:
    """Newton's climb until one more step would gain less than ``slope`` squared.

    Along every principal direction in which the surface bends upwards the step goes up all the
    same, and none goes farther than ``LARGEST_STEP``. Where a step leaves little to gain, second
    derivatives stay what they are; with ``exact`` those that are told are those of the top.
    """
    point, (height, gradient) = start, _safe(likelihood.value, start)
    bent = Bent(likelihood.information(point, gradient))
    step, escapes = bent.uphill(gradient), 0
    promise = known = float(step @ gradient)
    for _ in range(MOST_STEPS):
        if promise >= slope**2:
            found = _higher(likelihood.value, point, step, height, 1e-4 * promise)
        elif bent.upward is not None and escapes < ESCAPES:
            escapes += 1
            found = _higher(likelihood.value, point, bent.upward, height, slope**2)
        else:
            break
        if found is None:
            break
        point, height, gradient = found
        step, before = bent.uphill(gradient), promise
        promise = float(step @ gradient)
        if promise > max(min(NEAR, SLOW * before), slope**2) or bent.upward is not None:
            bent = Bent(likelihood.information(point, gradient))
            step = bent.uphill(gradient)
            promise = known = float(step @ gradient)
    if exact and known > LEAST_GAIN:
        likelihood.value(point)
        bent = Bent(likelihood.information(point, gradient))
        step = bent.uphill(gradient)
    return Summit(point, height, bent.matrix, float(step @ gradient))


def _higher(
    value: Value, point: np.ndarray, step: np.ndarray, height: float, gain: float
) -> tuple[np.ndarray, float, np.ndarray] | None:
    """Shorten a step until it gains its share of what was expected; None where it never does."""
    share = 1.0
    while share > 1e-6:
        tried = point + share * step
        new, slope = _safe(value, tried)
        if new >= height + share * gain - 1e-13 * abs(height):
            return tried, new, slope
        share *= 0.3
    return None


class Bent:
    """Minus second derivatives with their principal directions."""

    def __init__(self, matrix: np.ndarray) -> None:
        self.matrix = matrix
        self.scale, self.values, self.vectors = _principal(matrix)

    def uphill(self, gradient: np.ndarray) -> np.ndarray:
        """Newton's step, turned uphill and shortened along each principal direction."""
        firm = np.maximum(np.abs(self.values), LEAST_BEND)
        across = self.vectors / self.scale[:, None]
        steps = across * (across.T @ gradient / firm)
        found: np.ndarray = (steps / np.maximum(np.abs(steps).max(axis=0), 1.0)).sum(axis=1)
        return found

    @property
    def upward(self) -> np.ndarray | None:
        """A step along the direction in which the surface bends upwards most, if there is one."""
        if self.values[0] > -SADDLE:
            return None
        step = self.vectors[:, 0] / self.scale
        found: np.ndarray = step / max(np.abs(step).max(), 1.0)
        return found


def inverse_of(information: np.ndarray) -> np.ndarray:
    """Inverse after making the matrix positive definite."""
    return _symmetric(np.linalg.inv(_definite(information)))


def climb(
    value: Value,
    start: np.ndarray,
    inverse: np.ndarray,
    slope: float = 0.01,
    enough: float = np.inf,
) -> tuple[np.ndarray, float, np.ndarray]:
    """Quasi-Newton (BFGS) climb until one more step would gain less than ``slope`` squared.

    It ends as well where it is higher than ``enough``. Gives the point, its height and the inverse
    second derivatives as far as they were learned.
    """
    point, (height, gradient) = start, _safe(value, start)
    for _ in range(MOST_STEPS):
        step = inverse @ gradient
        promise = float(step @ gradient)
        if promise < slope**2 or height > enough:
            break
        size = float(np.max(np.abs(step)))
        step = step * min(1.0, LARGEST_STEP / size)
        share = 1.0
        while share > 1e-6:
            new, new_gradient = _safe(value, point + share * step)
            if new >= height + 1e-4 * share * float(step @ gradient) - 1e-13 * abs(height):
                break
            share *= 0.4
        else:
            break
        moved, turned = share * step, gradient - new_gradient
        point, height, gradient = point + moved, new, new_gradient
        inverse = _updated(inverse, moved, turned)
    return point, height, inverse


def _updated(inverse: np.ndarray, moved: np.ndarray, turned: np.ndarray) -> np.ndarray:
    """BFGS update of an inverse; left alone where the surface did not bend down."""
    bend = float(moved @ turned)
    if bend <= 1e-10 * np.linalg.norm(moved) * np.linalg.norm(turned):
        return inverse
    across = inverse @ turned
    shift = (1 + float(turned @ across) / bend) / bend
    mixed = np.outer(across, moved)
    return inverse + shift * np.outer(moved, moved) - (mixed + mixed.T) / bend


def _symmetric(matrix: np.ndarray) -> np.ndarray:
    found: np.ndarray = (matrix + matrix.T) / 2
    return found


def _safe(value: Value, point: np.ndarray) -> tuple[float, np.ndarray]:
    """Height and slope; where they are not finite, a height that no step accepts."""
    with np.errstate(all="ignore"):
        height, slope = value(point)
    if not np.isfinite(height) or not np.all(np.isfinite(slope)):
        return -np.inf, np.zeros(len(point))
    return height, slope


def _newton(value: Value, point: np.ndarray) -> Summit:
    height, slope = value(point)
    information = observed_information(value, point, slope)
    for _ in range(NEWTON_STEPS):
        step = np.linalg.solve(_definite(information), slope)
        gain = abs(slope @ step)
        if gain < 1e-12:
            break
        found = _line(value, point, step, height)
        if found is None:
            break
        point, height, slope = found
        if gain > STILL:
            information = observed_information(value, point, slope)
    slack = float(abs(slope @ np.linalg.solve(_definite(information), slope)))
    return Summit(point, height, information, slack)


def _line(
    value: Value, point: np.ndarray, step: np.ndarray, height: float
) -> tuple[np.ndarray, float, np.ndarray] | None:
    """Shorten the step until the surface is no lower, to within rounding; None where it stays."""
    share = 1.0
    for _ in range(12):
        tried = point + share * step
        with np.errstate(all="ignore"):
            new, slope = value(tried)
        if np.isfinite(new) and new >= height - 1e-9 * max(abs(height), 1.0):
            return tried, new, slope
        share /= 2
    return None


def observed_information(value: Value, point: np.ndarray, slope: np.ndarray) -> np.ndarray:
    """Minus the second derivatives, by differences of the exact gradient ``slope``."""
    steps = 1e-6 * np.maximum(np.abs(point), 0.1)
    rows = []
    for k, step in enumerate(steps):
        move = np.zeros(len(point))
        move[k] = step
        with np.errstate(all="ignore"):
            rows.append((slope - value(point + move)[1]) / step)
    return _symmetric(np.nan_to_num(np.array(rows)))


def _definite(matrix: np.ndarray) -> np.ndarray:
    """The matrix with its eigenvalues made positive."""
    scale, values, vectors = _principal(matrix)
    values = np.maximum(np.abs(values), LEAST_BEND)
    found: np.ndarray = (vectors * values) @ vectors.T * np.outer(scale, scale)
    return found


def _principal(matrix: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Roots of the diagonal, and eigenvalues and vectors of what is left."""
    scale = np.sqrt(np.maximum(np.abs(np.diag(matrix)), 1e-8))
    values, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    return scale, values, vectors
