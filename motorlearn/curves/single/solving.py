"""The optimiser of one curve: a grid over the rates, damped scoring, a re-check."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.ndimage import minimum_filter

from motorlearn.curves.single.problem import LARGEST_LOGIT, Problem

NODES = {1: (64,), 2: (28, 24), 3: (14, 12, 6), 4: (8, 8, 6, 5), 5: (6, 5, 5, 5, 4)}
STARTS = 6
MOST_STEPS = 250
LARGEST_GROWTH = 50.0
"""Rate times range up to which a curve that leaves a fixed asymptote is searched."""


@dataclass(frozen=True)
class Solution:
    """Best point, how good it is, and whether the re-check agrees.

    ``slack`` is the largest cosine between the residuals and a direction the curve can still
    move in; it is 0 at an optimum. ``agreeing`` of ``starts`` searches ended at this optimum.
    """

    theta: np.ndarray
    coefficients: np.ndarray
    loss: float
    at_bound: tuple[bool, ...]
    slack: float
    starts: int
    agreeing: int

    @property
    def converged(self) -> bool:
        """Whether no direction is left in which the fit would improve."""
        return self.slack < 1e-4


def solve(
    problem: Problem, start: np.ndarray | None = None, most_steps: int | None = None
) -> Solution:
    """Find the best curve; without a start the whole range of the rates is searched."""
    low, high = _log_bounds(problem)
    starts = [np.asarray(start)] if start is not None else _grid_starts(problem, low, high)
    steps = MOST_STEPS if most_steps is None else most_steps
    found = [_refine(problem, theta, low, high, steps) for theta in starts]
    best = min(found, key=lambda solution: solution.loss)
    near = best.loss + 1e-7 * abs(best.loss) + 1e-12 * float(problem.weights @ problem.y**2)
    agreeing = sum(solution.loss <= near for solution in found)
    return Solution(
        best.theta,
        best.coefficients,
        best.loss,
        best.at_bound,
        best.slack,
        len(found),
        agreeing,
    )


def _log_bounds(problem: Problem) -> tuple[np.ndarray, np.ndarray]:
    pairs = dict(zip(problem.form.rates, problem.form.bounds(problem.n)))
    if problem.sessions and problem.sessions.fades:
        whole = max(float(np.max(problem.sessions.elapsed)), 1.0)
        pairs["restart_rate"] = (0.5 / whole, 5.0)
    chosen = np.array([pairs[name] for name in problem.free_rates]).reshape(-1, 2)
    return np.log(chosen[:, 0]), np.log(chosen[:, 1])


def _grid_starts(problem: Problem, low: np.ndarray, high: np.ndarray) -> list[np.ndarray]:
    """Grid nodes that are better than all their neighbours, best first."""
    if not len(low):
        return [np.zeros(0)]
    axes = [_axis(a, b, k) for a, b, k in zip(low, high, NODES[len(low)], strict=True)]
    ends = _local_minima(problem, axes)
    if "asymptote" in problem.fixed and problem.free_rates[0] == "rate":
        limit = LARGEST_GROWTH / _reach(problem)
        leaving = -axes[0][axes[0] <= limit]
        ends += _local_minima(problem, [leaving, *axes[1:]])
    chosen = [theta for _, theta in sorted(ends, key=lambda end: end[0])[:STARTS]]
    return [*chosen, 1.5 * chosen[0]]


def _axis(low: float, high: float, count: int) -> np.ndarray:
    """Nodes of one rate, few where the curve is all but straight."""
    bend = min(low + np.log(3e4), (low + high) / 2)
    sparse = max(count // 5, 2)
    nodes = [
        np.linspace(low, bend, sparse, endpoint=False),
        np.linspace(bend, high, count - sparse),
    ]
    found: np.ndarray = np.exp(np.concatenate(nodes))
    return found


def _local_minima(problem: Problem, axes: Sequence[np.ndarray]) -> list[tuple[float, np.ndarray]]:
    nodes = [np.array(node) for node in product(*axes)]
    losses = np.array([problem.loss(problem.predictor(t, _linear(problem, t))) for t in nodes])
    around = minimum_filter(losses.reshape([len(axis) for axis in axes]), size=3, mode="nearest")
    return [(losses[k], nodes[k]) for k in np.flatnonzero(losses <= around.ravel())]


def _reach(problem: Problem) -> float:
    rates = [1.0] + [float(problem.fixed.get(name, 0.0)) for name in problem.form.rates[1:]]
    heights = problem.form.log_basis(problem.n, rates, problem.first)
    return max(float(np.ptp(heights)), 1e-12)


def _linear(problem: Problem, theta: np.ndarray) -> np.ndarray:
    """Best linear coefficients given the rates."""
    offset, design = problem.parts(theta)
    if not design.shape[1]:
        return np.zeros(0)
    if not problem.binomial:
        root = np.sqrt(problem.weights)
        found: np.ndarray = np.linalg.lstsq(
            root[:, None] * design, root * (problem.y - offset), rcond=1e-14
        )[0]
        return found
    return _logistic(problem, offset, design)


def _logistic(problem: Problem, offset: np.ndarray, design: np.ndarray) -> np.ndarray:
    """Binomial regression on the columns, by scoring with step halving.

    Columns of unit length: near a straight line the fall is a thousandth of a millionth.
    """
    length = np.linalg.norm(design, axis=0)
    length[length == 0] = 1.0
    design, coefficients = design / length, np.zeros(design.shape[1])
    loss = problem.loss(offset)
    for _ in range(50):
        residual, weight = problem.working(offset + design @ coefficients)
        information = design.T @ (weight[:, None] * design)
        information += 1e-10 * np.eye(len(information)) * max(np.trace(information), 1e-10)
        step = np.linalg.solve(information, design.T @ residual)
        for _ in range(30):
            tried = coefficients + step
            eta = offset + design @ tried
            if (new := problem.loss(eta)) <= loss and np.abs(eta).max() <= LARGEST_LOGIT:
                break
            step = step / 2
        else:
            break
        done = loss - new <= 1e-13 * abs(loss)
        coefficients, loss = tried, new
        if done:
            break
    found: np.ndarray = coefficients / length
    return found


def _refine(
    problem: Problem, theta: np.ndarray, low: np.ndarray, high: np.ndarray, most_steps: int
) -> Solution:
    """Damped scoring on the log rates; linear parameters are solved anew each step."""
    sign = np.sign(theta)
    tau = np.clip(np.log(np.abs(theta)), low, high)
    coefficients = _linear(problem, sign * np.exp(tau))
    loss = problem.loss(problem.predictor(sign * np.exp(tau), coefficients))
    damping = 1e-4
    for _ in range(most_steps if len(tau) else 0):
        step = _step(problem, sign * np.exp(tau), coefficients, tau, low, high, damping)
        tried = np.clip(tau + np.clip(step, -2.0, 2.0), low, high)
        new_coefficients = _linear(problem, sign * np.exp(tried))
        new = problem.loss(problem.predictor(sign * np.exp(tried), new_coefficients))
        size = float(np.max(np.abs(tried - tau)))
        if new <= loss:
            tau, coefficients, loss = tried, new_coefficients, new
            damping = max(damping / 10, 1e-14)
        else:
            damping *= 10
        if size < 1e-13 or damping > 1e10:
            break
    tau = _polish(problem, sign, tau, low, high)
    theta = sign * np.exp(tau)
    coefficients = _linear(problem, theta)
    loss = problem.loss(problem.predictor(theta, coefficients))
    at_bound = tuple(bool(b) for b in (tau <= low + 1e-6) | (tau >= high - _edges(problem)))
    slack = _slack(problem, theta, coefficients, at_bound)
    return Solution(theta, coefficients, loss, at_bound, slack, 1, 1)


def _edges(problem: Problem) -> np.ndarray:
    known = dict(zip(problem.form.rates, problem.form.edges))
    return np.array([known.get(name, 1e-6) for name in problem.free_rates])


def _polish(
    problem: Problem, sign: np.ndarray, tau: np.ndarray, low: np.ndarray, high: np.ndarray
) -> np.ndarray:
    """Newton's method on the profiled slope, whose own derivative is taken by differences.

    Scoring alone creeps where the residuals are large and the curve is nearly flat.
    """

    def slope(at: np.ndarray) -> np.ndarray:
        theta = sign * np.exp(at)
        coefficients = _linear(problem, theta)
        residual, _ = problem.working(problem.predictor(theta, coefficients))
        tangent = problem.jacobian(theta, coefficients)[:, : len(theta)] * theta
        found: np.ndarray = -(tangent.T @ residual)
        return found

    def height(at: np.ndarray) -> float:
        theta = sign * np.exp(at)
        return problem.loss(problem.predictor(theta, _linear(problem, theta)))

    inside = np.flatnonzero((tau > low) & (tau < high))
    for _ in range(4 if inside.size else 0):
        steps = 1e-4 * np.eye(len(tau))[inside]
        bend = np.array([(slope(tau + h) - slope(tau - h))[inside] / 2e-4 for h in steps])
        bend = (bend + bend.T) / 2
        if np.min(np.linalg.eigvalsh(bend)) <= 0:
            break
        move = np.zeros(len(tau))
        move[inside] = -np.linalg.solve(bend, slope(tau)[inside])
        tried = np.clip(tau + np.clip(move, -0.5, 0.5), low, high)
        if height(tried) > height(tau) * (1 + 1e-12):
            break
        tau = tried
        if np.max(np.abs(move)) < 1e-9:
            break
    return tau


def _step(
    problem: Problem,
    theta: np.ndarray,
    coefficients: np.ndarray,
    tau: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
    damping: float,
) -> np.ndarray:
    jacobian = problem.jacobian(theta, coefficients)
    count = len(theta)
    jacobian[:, :count] *= theta
    residual, weight = problem.working(problem.predictor(theta, coefficients))
    root = np.sqrt(np.maximum(weight, 1e-300))
    weighted = root[:, None] * jacobian
    downhill = jacobian[:, :count].T @ residual
    stuck = ((tau <= low) & (downhill < 0)) | ((tau >= high) & (downhill > 0))
    weighted[:, :count][:, stuck] = 0.0
    length = np.linalg.norm(weighted, axis=0)
    length[length == 0] = 1.0
    ridge = np.sqrt(damping) * np.eye(weighted.shape[1])
    ridge[count:] = 0.0
    system = np.vstack([weighted / length, ridge])
    target = np.concatenate([residual / root, np.zeros(len(ridge))])
    move = np.linalg.lstsq(system, target, rcond=1e-15)[0] / length
    return np.where(stuck, 0.0, move[:count])


def _slack(
    problem: Problem, theta: np.ndarray, coefficients: np.ndarray, at_bound: tuple[bool, ...]
) -> float:
    """Largest cosine between residuals and free directions, the part within rounding taken off."""
    if not len(problem.free):
        return 0.0
    eta = problem.predictor(theta, coefficients)
    residual, weight = problem.working(eta)
    root = np.sqrt(np.maximum(weight, 1e-300))
    free = np.r_[~np.array(at_bound, bool), np.ones(len(coefficients), bool)]
    weighted = root[:, None] * problem.jacobian(theta, coefficients)[:, free]
    length = np.linalg.norm(weighted, axis=0)
    if problem.binomial and np.abs(eta).max() > LARGEST_LOGIT - 0.5:
        return 0.0
    size = float(np.linalg.norm(residual / root))
    rounding = 1e-7 * float(np.linalg.norm(root * problem.y))
    basis, _ = np.linalg.qr(weighted / np.where(length > 0, length, 1.0))
    return float(np.linalg.norm(basis.T @ (residual / root))) / (size + rounding + 1e-300)
