"""From the straight line of scores on the basis to natural parameters and standard errors."""

from dataclasses import dataclass

import numpy as np

from motorlearn.curves.batch.grids import Grid


@dataclass(frozen=True)
class SharedFit:
    """Best curves of many learners on one grid; one entry per learner.

    ``line`` and ``step`` are sums of squares left by the straight line and by the step.
    """

    asymptote: np.ndarray
    gain: np.ndarray
    rate: np.ndarray
    start: np.ndarray
    se_asymptote: np.ndarray
    se_gain: np.ndarray
    se_rate: np.ndarray
    sse: np.ndarray
    total: np.ndarray
    at_bound: np.ndarray
    progress: np.ndarray
    change: np.ndarray
    level: np.ndarray
    level_error: np.ndarray
    line: np.ndarray
    step: np.ndarray


@dataclass(frozen=True)
class Line:
    """Straight-line regression of scores on ``u`` at the best log rate of each learner.

    ``c`` is the slope, ``square`` the sum of squares of u, ``half`` and ``slope`` its inner
    products with the derivative of u by the log rate and of that with itself, ``gap`` the
    determinant of these, ``mean`` and
    ``mean1`` means of u and of the derivative, ``reach`` the range of practice, ``ends`` the
    sums of squares left by the straight line and by the step.
    """

    level: np.ndarray
    weight: np.ndarray
    rows: np.ndarray
    sse: np.ndarray
    total: np.ndarray
    c: np.ndarray
    square: np.ndarray
    half: np.ndarray
    slope: np.ndarray
    gap: np.ndarray
    mean: np.ndarray
    mean1: np.ndarray
    log_rate: np.ndarray
    reach: np.ndarray
    ends: np.ndarray


def natural(grid: Grid, line: Line) -> SharedFit:
    """Asymptote, gain, rate and start with their standard errors."""
    rate, c, mean = np.exp(line.log_rate), line.c, line.mean
    noise = line.sse / np.maximum(line.rows - 3, 1)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        edge = (line.log_rate <= grid.centres[0]) | (line.log_rate >= grid.centres[-1])
        # Too little bend for the digits there are: nothing is known but a straight line.
        gap = np.where(line.gap > 1e-10 * line.square * line.slope, line.gap, 0.0)
        var_c, var_log = noise * line.slope / gap, noise * line.square / (c**2 * gap)
        both = -noise * line.half / (c * gap)
        # A rate at a bound counts as known; the other errors are then conditional on it.
        var_c = np.where(edge, noise / line.square, var_c)
        var_log, both = np.where(edge, 0.0, var_log), np.where(edge, 0.0, both)
        var_a = noise / line.weight + (1 - mean) ** 2 * var_c
        var_a += (c * line.mean1) ** 2 * var_log - 2 * (1 - mean) * c * line.mean1 * both
        far = grid.origin * rate
        lift = np.exp(far)
        var_gain = lift**2 * (var_c + 2 * c * far * both + (c * far) ** 2 * var_log)
        asymptote = line.level + c * (1 - mean)
        progress = rate * line.reach
        return SharedFit(
            asymptote=asymptote,
            gain=-c * lift,
            rate=rate,
            start=asymptote - c * np.exp(-rate * grid.first),
            se_asymptote=_root(var_a),
            se_gain=_root(var_gain),
            se_rate=rate * _root(var_log),
            sse=line.sse,
            total=line.total,
            at_bound=edge,
            progress=progress,
            change=np.abs(c) * -np.expm1(-progress),
            level=line.level,
            level_error=_root(line.total / np.maximum(line.rows - 1, 1) / line.weight),
            line=line.ends[:, 0],
            step=line.ends[:, 1],
        )


def _root(variance: np.ndarray) -> np.ndarray:
    """Standard error; infinite where the variance has no digits left."""
    return np.sqrt(np.where(variance >= 0, variance, np.inf))
