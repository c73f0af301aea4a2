r"""Two-process curves of many learners who share their practice counts.

With both rates given, asymptote and the parts of the fast and of the slow process are a
regression on two exponentials, so that only the fast log rate and the logarithm of the slowness
are searched. Where the best share of the fast process lies beyond its bounds, it is held there
and one coefficient is left.
"""

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from motorlearn.curves.batch.climbing import Surface, best_of, climb, local_lows
from motorlearn.curves.batch.padded import Optimum
from motorlearn.curves.batch.shared import product_in_blocks
from motorlearn.curves.forms import FORMS

RATES, SLOWNESSES, STARTS, MORE_STARTS, BLOCK = 26, 12, 3, 8, 256
SCORES, ONES, FAST, SLOW = 0, 1, 2, 5
"""Places of scores, ones and both exponentials (with two derivatives) among the columns."""
Moves = tuple[np.ndarray, np.ndarray, np.ndarray]


def fit_two_processes(n: np.ndarray, y: np.ndarray) -> Optimum:
    """Best curve of every row of ``y``, shape (learners, practice counts), all finite.

    The first practice count is that of the first trial.
    """
    parts = [_fit(n, y[low : low + BLOCK]) for low in range(0, len(y), BLOCK)]
    return Optimum(*(np.concatenate(column) for column in zip(*parts)))


def _fit(n: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, ...]:
    centred = y - y.mean(axis=1, keepdims=True)
    total = np.einsum("ij,ij->i", centred, centred)
    bounds = np.log(np.array(FORMS["two_processes"].bounds(n)))
    ends = np.exp(bounds[2])
    tau, share, loss, settled = _searched(n, centred, total, bounds, None)
    rows = np.flatnonzero(~((share > ends[0]) & (share < ends[1])))
    if rows.size:
        loss[rows] = np.inf
        for held in (*map(float, ends), None):
            beat = loss[rows] if held is None else None
            part = _searched(n, centred[rows], total[rows], bounds, held, beat, inside=True)
            better = part[2] < loss[rows]
            for old, new in zip((tau, share, loss, settled), part):
                old[rows[better]] = new[better]
    return _told(n, y, np.column_stack([tau, np.log(share)]), settled, bounds)


def _told(
    n: np.ndarray, y: np.ndarray, tau: np.ndarray, settled: np.ndarray, bounds: np.ndarray
) -> tuple[np.ndarray, ...]:
    """Coefficients and loss at the best rates, from the residuals."""
    rates = [np.exp(tau[:, [k]]) for k in range(3)]
    fallen = np.expm1(FORMS["two_processes"].log_basis(n, rates, float(n[0])))
    level, mean = y.mean(axis=1), fallen.mean(axis=1)
    basis, centred = fallen - mean[:, None], y - level[:, None]
    square = np.einsum("ij,ij->i", basis, basis)
    height = np.einsum("ij,ij->i", basis, centred) / np.where(square > 0, square, 1.0)
    left = centred - height[:, None] * basis
    beta = np.stack([level - height * mean, height], axis=1)
    edges = np.array(FORMS["two_processes"].edges)
    stuck = (tau <= bounds[:, 0] + 1e-6) | (tau >= bounds[:, 1] - edges)
    return tau, beta, 0.5 * np.einsum("ij,ij->i", left, left), stuck, settled


def _searched(
    n: np.ndarray,
    centred: np.ndarray,
    total: np.ndarray,
    bounds: np.ndarray,
    held: float | None,
    beat: np.ndarray | None = None,
    *,
    inside: bool = False,
) -> tuple[np.ndarray, ...]:
    """Log rate and slowness, share of the fast process, loss and whether settled.

    ``inside`` looks for the lowest place whose share lies inside its bounds, if there is one that
    is lower than ``beat``.
    """
    few, many = np.exp(bounds[2])
    within = (few, many) if inside and held is None else None
    learner, start = _starts(n, centred, total, held, within)
    low, high = (np.broadcast_to(end[:2], (len(learner), 2)) for end in bounds.T)
    room, rest = np.empty((len(learner), 8, len(n))), np.empty((2, len(learner), len(n)))
    room[:, ONES] = 1.0

    def look(chosen: np.ndarray, at: np.ndarray) -> Surface:
        part, own = room[: len(chosen)], learner[chosen]
        part[:, SCORES] = centred[own]
        with np.errstate(all="ignore"):
            products = _products(part, rest[:, : len(chosen)], n - n[0], at)
            return _surface(products, total[own], held)

    floor, known = 1e-30 * total[learner], None if beat is None else beat[learner]
    point, here, settled = climb(look, learner, start, (low, high), floor, beat=known)
    share, loss = here.height[:, 0], here.loss
    if held is None and inside:
        loss = np.where((share > few) & (share < many), loss, np.inf)
    best = best_of(learner, loss, len(centred))
    return point[best], share[best], loss[best], settled[best]


@lru_cache(maxsize=16)
def _grid(counts: bytes) -> tuple[np.ndarray, ...]:
    """Nodes of both log rates, and what is needed of the exponentials there."""
    n = np.frombuffer(counts)
    bounds = np.log(np.array(FORMS["two_processes"].bounds(n)))[:2]
    # Below a hundredth of a log drop over the practice an exponential is a straight line.
    bend = max(bounds[0, 0], np.log(0.01 / np.ptp(n)))
    axes = (
        np.linspace(bend, bounds[0, 1], RATES),
        np.linspace(bounds[1, 0], bounds[1, 1], SLOWNESSES),
    )
    tau = np.stack([axis.ravel() for axis in np.meshgrid(*axes, indexing="ij")], axis=1)
    basis = [
        np.exp(-np.exp(log_rate)[:, None] * (n - n[0])) for log_rate in (tau[:, 0], tau.sum(1))
    ]
    return tau, *(column - column.mean(axis=1, keepdims=True) for column in basis)


def _starts(
    n: np.ndarray,
    centred: np.ndarray,
    total: np.ndarray,
    held: float | None,
    within: tuple[float, float] | None,
) -> tuple[np.ndarray, np.ndarray]:
    """Lows of the grid, of nodes whose best share lies within some bounds."""
    tau, fast, slow = _grid(n.tobytes())
    if held is None:
        # What a pair of orthogonal columns explains adds up.
        own = np.linalg.norm(fast, axis=1)
        unit = fast / own[:, None]
        shared = np.einsum("ij,ij->i", slow, unit)
        apart = slow - shared[:, None] * unit
        width = np.linalg.norm(apart, axis=1)
        first = product_in_blocks(centred, unit[::SLOWNESSES].T.copy())
        first = np.repeat(first, SLOWNESSES, axis=1)
        second = product_in_blocks(centred, _unit(apart).T.copy())
        explained = first**2 + second**2
        if within is not None:
            k = second / width
            h = (first - shared * k) / own
            with np.errstate(all="ignore"):
                share = h / (h + k)
            explained[~((share > within[0]) & (share < within[1]))] = -np.inf
    else:
        explained = product_in_blocks(centred, _unit(held * fast + (1 - held) * slow).T.copy()) ** 2
    losses = 0.5 * (total[:, None] - explained).reshape(len(centred), RATES, SLOWNESSES)
    if within is None and held is None:
        learner, place = local_lows(losses, STARTS)
        return learner, tau[place]
    learner, place = local_lows(losses, MORE_STARTS)
    # Both ends of the slowness may have a low of their own that the grid does not tell apart.
    ends = [losses[:, :, end].argmin(axis=1) * SLOWNESSES + end for end in (0, SLOWNESSES - 1)]
    whose = np.concatenate([learner, *[np.arange(len(losses))] * 2])
    order = np.argsort(whose, kind="stable")
    return whose[order], tau[np.concatenate([place, *ends])[order]]


def _unit(rows: np.ndarray) -> np.ndarray:
    length = np.linalg.norm(rows, axis=1, keepdims=True)
    found: np.ndarray = rows / np.where(length > 0, length, 1.0)
    return found


def _products(part: np.ndarray, rest: np.ndarray, x: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Inner products of all columns, centred: exponentials, their derivatives by the log rate."""
    drop, bent = rest
    for first, log_rate in ((FAST, at[:, 0]), (SLOW, at.sum(axis=1))):
        height, slope, bend = (part[:, first + k] for k in range(3))
        np.multiply(np.exp(log_rate)[:, None], x, out=drop)
        np.exp(np.negative(drop, out=height), out=height)
        np.negative(np.multiply(drop, height, out=slope), out=slope)
        np.multiply(slope, np.subtract(1.0, drop, out=bent), out=bend)
    told = part @ np.swapaxes(part, 1, 2)
    found: np.ndarray = told - told[:, :, [ONES]] * told[:, [ONES], :] / len(x)
    return found


def _surface(g: np.ndarray, total: np.ndarray, held: float | None) -> Surface:
    parts = _free(g) if held is None else _held(g, held)
    explained, share, slope, bend, safe = parts
    # From both log rates to the log rate and the slowness, which only moves the slow one.
    return Surface(
        0.5 * (total - explained),
        np.stack([slope[0] + slope[1], slope[1]], axis=1),
        np.stack([bend[0] + 2 * bend[1] + bend[2], bend[1] + bend[2], bend[2]], axis=1),
        np.stack([safe[0] + 2 * safe[1] + safe[2], safe[1] + safe[2], safe[2]], axis=1),
        share[:, None],
    )


Parts = tuple[np.ndarray, np.ndarray, list[np.ndarray], list[np.ndarray], list[np.ndarray]]


def _solver(g: np.ndarray) -> Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
    """Solve with the inner products of both exponentials, which are never quite alike."""
    a, b, c = g[:, FAST, FAST], g[:, FAST, SLOW], g[:, SLOW, SLOW]
    volume = np.maximum(a * c - b * b, 1e-15 * a * c + 1e-300)
    return lambda p, q: ((c * p - b * q) / volume, (a * q - b * p) / volume)


def _free(g: np.ndarray) -> Parts:
    """Explained squares and derivatives with two coefficients ``h`` and ``k``."""
    solved = _solver(g)
    y_fast, y_slow = g[:, SCORES, FAST : FAST + 3].T, g[:, SCORES, SLOW : SLOW + 3].T
    h, k = solved(y_fast[0], y_slow[0])

    def left(j: int) -> np.ndarray:
        """Product of the residuals with a column."""
        found: np.ndarray = g[:, SCORES, j] - h * g[:, FAST, j] - k * g[:, SLOW, j]
        return found

    f1, s1 = FAST + 1, SLOW + 1
    slope = [-h * left(f1), -k * left(s1)]
    # Derivatives of the normal equations' right side less their left side, by either log rate.
    by_fast = (left(f1) - h * g[:, FAST, f1], -h * g[:, SLOW, f1])
    by_slow = (-k * g[:, FAST, s1], left(s1) - k * g[:, SLOW, s1])
    a, b = solved(*by_fast), solved(*by_slow)
    squares = [h * h * g[:, f1, f1], h * k * g[:, f1, s1], k * k * g[:, s1, s1]]
    turned = [
        by_fast[0] * a[0] + by_fast[1] * a[1],
        by_fast[0] * b[0] + by_fast[1] * b[1],
        by_slow[0] * b[0] + by_slow[1] * b[1],
    ]
    bend = [
        squares[0] - h * left(FAST + 2) - turned[0],
        squares[1] - turned[1],
        squares[2] - k * left(SLOW + 2) - turned[2],
    ]
    u, v = solved(g[:, FAST, f1], g[:, SLOW, f1]), solved(g[:, FAST, s1], g[:, SLOW, s1])
    safe = [
        squares[0] - h * h * (g[:, FAST, f1] * u[0] + g[:, SLOW, f1] * u[1]),
        squares[1] - h * k * (g[:, FAST, f1] * v[0] + g[:, SLOW, f1] * v[1]),
        squares[2] - k * k * (g[:, FAST, s1] * v[0] + g[:, SLOW, s1] * v[1]),
    ]
    return h * y_fast[0] + k * y_slow[0], h / (h + k), slope, bend, safe


def _held(g: np.ndarray, share: float) -> Parts:
    """The same with one coefficient ``c`` of a basis whose parts have fixed shares."""
    f, s = share, 1 - share

    def basis(row: int) -> np.ndarray:
        found: np.ndarray = f * g[:, row, FAST] + s * g[:, row, SLOW]
        return found

    square = np.maximum(f * basis(FAST) + s * basis(SLOW), 1e-300)
    c = basis(SCORES) / square
    f1, s1 = FAST + 1, SLOW + 1
    moves = [f * (g[:, SCORES, f1] - c * basis(f1)), s * (g[:, SCORES, s1] - c * basis(s1))]
    inner = [f * basis(f1), s * basis(s1)]
    turns = [move - c * own for move, own in zip(moves, inner)]
    squares = [f * f * g[:, f1, f1], f * s * g[:, f1, s1], s * s * g[:, s1, s1]]
    curls = [
        f * (g[:, SCORES, FAST + 2] - c * basis(FAST + 2)),
        s * (g[:, SCORES, SLOW + 2] - c * basis(SLOW + 2)),
    ]
    pairs = ((0, 0), (0, 1), (1, 1))
    safe = [c**2 * (own - inner[i] * inner[j] / square) for own, (i, j) in zip(squares, pairs)]
    bend = [
        c**2 * own - (c * curls[i] if i == j else 0.0) - turns[i] * turns[j] / square
        for own, (i, j) in zip(squares, pairs)
    ]
    return c * basis(SCORES), np.full(len(c), share), [-c * move for move in moves], bend, safe
