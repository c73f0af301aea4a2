"""Fast curves of learners who share their practice counts: one matrix product, then polynomials.

With the rate given, asymptote and gain are a straight-line regression on ``u = 1 - exp(-rate x)``
(x is practice, or its logarithm), so only the log rate is searched. Over a short stretch of the
log rate, ``u`` is a polynomial to ten digits. Inner products of every learner's scores with the
polynomial's coefficients therefore give the sum of squares, its derivatives and the standard
errors anywhere on the stretch without looking at the scores again.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from motorlearn.curves.forms import Form

DEGREE = 11
DENSE, SPARSE = 0.55, 0.8
BENDS_FROM = 0.02
"""Rate times range from which the basis bends enough to need dense nodes."""
STEPS = 8
ROWS_OF_PRODUCT = 96


@dataclass(frozen=True)
class Grid:
    """Nodes of the log rate for one set of practice counts, with the basis around each.

    Polynomials are in ``t = (log rate - centre) / width``, lowest power first: ``basis`` holds
    the centred basis at every practice count, ``square`` its sum of squares, ``mean`` the mean of
    the basis, ``slope`` the sum of squares of its derivative by the log rate.
    """

    centres: np.ndarray
    widths: np.ndarray
    search: np.ndarray
    basis: np.ndarray
    square: np.ndarray
    mean: np.ndarray
    slope: np.ndarray
    origin: float
    first: float
    progress: float


def shares_one_scale(form: Form) -> bool:
    """Whether the log basis is the rate times a function of practice alone."""
    if len(form.rates) != 1:
        return False
    n = np.array([1.0, 2.0, 5.0])
    return np.allclose(form.log_basis(n, [2.0], 1.0), 2 * form.log_basis(n, [1.0], 1.0))


def make_grid(form: Form, n: np.ndarray, first: float) -> Grid:
    """Lay out the nodes for some practice counts."""
    x = -form.log_basis(n, [1.0], first)
    origin = float(x.min())
    beyond = x - origin
    low, high = np.log(form.bounds(n)[0])
    whole = float(beyond.max())
    bend = min(max(np.log(BENDS_FROM / whole), low), high)
    few = max(int(np.ceil((bend - low) / SPARSE)), 1)
    many = max(int(np.ceil((high - bend) / DENSE)), 1)
    centres = np.concatenate(
        [np.linspace(low, bend, few, endpoint=False), np.linspace(bend, high, many + 1)]
    )
    gaps = np.diff(centres)
    widths = np.maximum(np.r_[gaps[0], gaps], np.r_[gaps, gaps[-1]])
    points = np.cos(np.pi * (np.arange(DEGREE + 1) + 0.5) / (DEGREE + 1))
    turn = np.linalg.inv(np.vander(points, increasing=True))
    rates = np.exp(centres[:, None] + widths[:, None] * points)
    fallen = rates[:, None, :] * beyond[:, None]
    height = -np.expm1(-fallen)
    tilt = fallen * np.exp(-fallen)
    mean = height.mean(axis=1, keepdims=True)
    centred = height - mean
    tilt = tilt - tilt.mean(axis=1, keepdims=True)
    at_centre = -np.expm1(-np.exp(centres) * beyond[:, None])
    at_centre -= at_centre.mean(axis=0)
    top = float(-form.log_basis(np.array(first), [1.0], first)) - origin
    return Grid(
        centres,
        widths,
        at_centre / np.linalg.norm(at_centre, axis=0),
        np.swapaxes(centred @ turn.T, 1, 2).copy(),
        turn @ np.sum(centred**2, axis=1).T,
        turn @ mean[:, 0].T,
        turn @ np.sum(tilt**2, axis=1).T,
        origin,
        top,
        whole,
    )


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


def fit_shared(grid: Grid, y: np.ndarray) -> SharedFit:
    """Fit every row of ``y``, shape (learners, practice counts), all finite."""
    level = y.mean(axis=1)
    centred = y - level[:, None]
    total = np.einsum("ij,ij->i", centred, centred)
    explained = product_in_blocks(centred, grid.search) ** 2
    learner, node = peaks(explained)
    cover = on_stretches(centred, grid.basis, learner, node)
    place, value = _climb(cover, grid.square[:, node], node, len(grid.centres) - 1)
    best = best_of_each(learner, value, len(y))
    learner, node, place = learner[best], node[best], place[best]
    ends = np.maximum(total[:, None] - explained[:, [0, -1]], 0.0)
    return _describe(grid, centred, level, total, node, place, cover[:, best], ends)


def peaks(explained: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Learner and node of every local maximum over the nodes; each learner has one at least."""
    rising = explained[:, 1:] > explained[:, :-1]
    peak = np.ones(explained.shape, bool)
    peak[:, 1:] &= rising
    peak[:, :-1] &= ~rising
    learner, node = np.nonzero(peak)
    return learner, node


def on_stretches(
    rows: np.ndarray, basis: np.ndarray, learner: np.ndarray, node: np.ndarray
) -> np.ndarray:
    """Polynomials of inner products of learners' rows with the basis around their nodes."""
    order = np.argsort(node, kind="stable")
    ends = np.searchsorted(node[order], np.arange(len(basis) + 1))
    cover = np.empty((DEGREE + 1, len(node)))
    for k in np.flatnonzero(np.diff(ends)):
        for low in range(ends[k], ends[k + 1], ROWS_OF_PRODUCT):
            chosen = order[low : min(low + ROWS_OF_PRODUCT, ends[k + 1])]
            cover[:, chosen] = basis[k] @ rows[learner[chosen]].T
    return cover


def product_in_blocks(rows: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """Matrix product in small blocks: too small for BLAS to call up threads of its own.

    Batches already run beside each other, and blocks of fixed size give the same bits anywhere.
    """
    whole = len(rows) // ROWS_OF_PRODUCT * ROWS_OF_PRODUCT
    result = np.empty((len(rows), columns.shape[1]))
    blocks = rows[:whole].reshape(-1, ROWS_OF_PRODUCT, rows.shape[1])
    result[:whole] = np.matmul(blocks, columns).reshape(whole, columns.shape[1])
    result[whole:] = rows[whole:] @ columns
    return result


def _climb(
    cover: np.ndarray, square: np.ndarray, node: np.ndarray, last: int
) -> tuple[np.ndarray, np.ndarray]:
    """Maximise ``cover² / square`` on each stretch by Newton; both are polynomials in t."""
    low, high = np.where(node == 0, 0.0, -1.0), np.where(node == last, 0.0, 1.0)
    t, both = np.zeros(len(node)), np.stack([cover, square], axis=1)
    for _ in range(3):
        t = _newton(both, t, low, high)
    active = np.arange(len(node))
    for _ in range(STEPS):
        before = t[active]
        moved = _newton(both[:, :, active], before, low[active], high[active])
        t[active] = moved
        active = active[np.abs(moved - before) > 1e-7]
        if not active.size:
            break
    c, s = horner(both, t)
    return t, c**2 / s


def _newton(both: np.ndarray, t: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """One safeguarded step uphill."""
    (c, s), (c1, s1), (c2, s2) = derivatives(both, t)
    return uphill(t, (c, c1, c2), (s, s1, s2), low, high)


def uphill(
    t: np.ndarray,
    cover: Sequence[np.ndarray],
    square: Sequence[np.ndarray],
    low: np.ndarray,
    high: np.ndarray,
) -> np.ndarray:
    """Newton step towards the maximum of cover²/square, given both with two derivatives."""
    (c, c1, c2), (s, s1, s2) = cover, square
    slope = 2 * c1 * s - c * s1
    bend = 2 * c2 * s + c1 * s1 - c * s2
    downhill = bend * c < 0
    step = np.where(downhill, -slope / np.where(downhill, bend, 1.0), 0.5 * np.sign(slope * c))
    found: np.ndarray = np.clip(t + np.clip(step, -0.7, 0.7), low, high)
    return found


def best_of_each(learner: np.ndarray, value: np.ndarray, count: int) -> np.ndarray:
    """Row with the largest value for each learner; learners are in order and none is absent."""
    begin = np.searchsorted(learner, np.arange(count))
    top = np.maximum.reduceat(value, begin)
    winners = np.flatnonzero(value >= top[learner])
    first = np.searchsorted(learner[winners], np.arange(count))
    return winners[first]


def horner(coefficients: np.ndarray, t: np.ndarray) -> np.ndarray:
    """Polynomial with one coefficient column per entry of t."""
    value: np.ndarray = coefficients[-1].copy()
    for row in coefficients[-2::-1]:
        value *= t
        value += row
    return value


def derivatives(
    coefficients: np.ndarray, t: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Polynomial, its first and its second derivative."""
    value = coefficients[-1].copy()
    slope, bend = np.zeros_like(value), np.zeros_like(value)
    for row in coefficients[-2::-1]:
        bend *= t
        bend += slope
        slope *= t
        slope += value
        value *= t
        value += row
    return value, slope, 2 * bend


def _describe(
    grid: Grid,
    centred: np.ndarray,
    level: np.ndarray,
    total: np.ndarray,
    node: np.ndarray,
    t: np.ndarray,
    cover: np.ndarray,
    ends: np.ndarray,
) -> SharedFit:
    """Parameters and standard errors at the optimum."""
    width, count = grid.widths[node], centred.shape[1]
    log_rate = grid.centres[node] + width * t
    square, square1, _ = derivatives(grid.square[:, node], t)
    mean, mean1, _ = derivatives(grid.mean[:, node], t)
    product = horner(cover, t)
    c = product / square
    sse = _residual_squares(grid, centred, total, node, t, product, square, c)
    line = Line(
        level=level,
        weight=np.full(len(level), float(count)),
        rows=np.full(len(level), float(count)),
        sse=sse,
        total=total,
        c=c,
        square=square,
        half=square1 / (2 * width),
        slope=horner(grid.slope[:, node], t),
        mean=mean,
        mean1=mean1 / width,
        log_rate=log_rate,
        reach=np.full(len(level), grid.progress),
        ends=ends,
    )
    return natural(grid, line)


@dataclass(frozen=True)
class Line:
    """Straight-line regression of scores on ``u`` at the best log rate of each learner.

    ``c`` is the slope, ``square`` the sum of squares of u, ``half`` and ``slope`` its inner
    products with the derivative of u by the log rate and of that with itself, ``mean`` and
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
        gap = line.square * line.slope - line.half**2
        # Too little bend for the digits there are: nothing is known but a straight line.
        gap = np.where(gap > 1e-10 * line.square * line.slope, gap, 0.0)
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


def _residual_squares(
    grid: Grid,
    centred: np.ndarray,
    total: np.ndarray,
    node: np.ndarray,
    t: np.ndarray,
    product: np.ndarray,
    square: np.ndarray,
    c: np.ndarray,
) -> np.ndarray:
    """Residual sum of squares; where nearly nothing is left it is added up from the residuals."""
    sse: np.ndarray = total - product * c
    near = np.flatnonzero(sse < 1e-6 * total)
    if near.size:
        powers = t[near] ** np.arange(DEGREE + 1)[:, None]
        basis = np.einsum("rjn,jr->rn", grid.basis[node[near]], powers)
        sse[near] = np.sum((centred[near] - c[near, None] * basis) ** 2, axis=1)
    return sse
