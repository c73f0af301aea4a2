"""S-shaped curves of many learners who share their practice counts.

With rate and midpoint given, asymptote and gain are a straight line on the basis ``f``. What is
left of the squares is ``total - p²/s`` with ``p`` the product of scores and centred basis and
``s`` the square of the latter, and both have two derivatives in closed form.
"""

from functools import lru_cache

import numpy as np

from motorlearn.curves.batch.climbing import Surface, best_of, climb, local_lows
from motorlearn.curves.batch.padded import Optimum, shares
from motorlearn.curves.batch.shared import product_in_blocks
from motorlearn.curves.forms import FORMS

NODES, STARTS, BLOCK = (16, 28), 3, 256
SCORES, ONES = 0, 1
"""Places of the scores and of ones among the columns of the products."""
LARGEST, STEEP = 700.0, 6.0
"""Exponent that a float still holds; how far below its bound the rate of a step starts."""


def fit_s_shaped(n: np.ndarray, y: np.ndarray) -> Optimum:
    """Best curve of every row of ``y``, shape (learners, practice counts), all finite."""
    parts = [_fit(n, y[low : low + BLOCK]) for low in range(0, len(y), BLOCK)]
    return Optimum(*(np.concatenate(column) for column in zip(*parts)))


def _fit(n: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, ...]:
    level = y.mean(axis=1)
    centred = y - level[:, None]
    total = np.einsum("ij,ij->i", centred, centred)
    bounds = np.log(np.array(FORMS["s_shaped"].bounds(n)))
    tau, search = _grid(n.tobytes())
    explained = product_in_blocks(centred, search) ** 2
    losses = 0.5 * (total[:, None] - explained).reshape(len(y), *NODES)
    learner, place = local_lows(losses, STARTS)
    point, here, settled = _walked(n, centred, total, learner, tau[place], bounds)
    best = best_of(learner, here.loss, len(y))
    point, here, settled = point[best], here.pick(best), settled[best]
    steep, fallen = _steps(n, centred, bounds)
    rows = np.flatnonzero(total - fallen < 2 * here.loss)
    if rows.size:
        again = _walked(n, centred[rows], total[rows], np.arange(len(rows)), steep[rows], bounds)
        better = again[1].loss < here.loss[rows]
        point[rows[better]], settled[rows[better]] = again[0][better], again[2][better]
        here.put(rows, again[1], better)
    _to_the_bound(n, centred, total, bounds, (point, here, settled))
    gain, mean = here.height.T
    rate, middle = np.exp(point.T)
    share, _, basis = _shares(n, rate[:, None] * (n - middle[:, None]), middle)
    left = centred - gain[:, None] * (basis - mean[:, None])
    loss = 0.5 * np.einsum("ij,ij->i", left, left)
    beta = np.stack([level + gain * (basis[:, 0] - mean), gain * share[:, 0]], axis=1)
    edges = np.array(FORMS["s_shaped"].edges)
    stuck = (point <= bounds[:, 0] + 1e-6) | (point >= bounds[:, 1] - edges)
    return point, beta, loss, stuck, settled


def _to_the_bound(
    n: np.ndarray,
    centred: np.ndarray,
    total: np.ndarray,
    bounds: np.ndarray,
    found: tuple[np.ndarray, Surface, np.ndarray],
) -> None:
    """Take learners who creep along the valley of a step to its end, the highest rate.

    There only one practice count may lie between the levels, and how far is the rate times its
    distance from the midpoint.
    """
    point, here, settled = found
    rows = np.flatnonzero(~settled)
    if not rows.size:
        return
    rate, middle = np.exp(point[rows].T)
    count = n[np.argmin(np.abs(n - middle[:, None]), axis=1)]
    top = np.exp(bounds[0, 1])
    middle = np.log(np.maximum(count - (count - middle) * rate / top, 1e-300))
    start = np.stack([np.full(len(rows), bounds[0, 1]), middle], axis=1)
    held = np.stack([bounds[:, 0], bounds[:, 1]], axis=1)
    held[0, 0] = bounds[0, 1]
    again = _walked(n, centred[rows], total[rows], np.arange(len(rows)), start, held)
    better = again[1].loss <= here.loss[rows] * (1 + 1e-9)
    point[rows[better]], settled[rows[better]] = again[0][better], again[2][better]
    here.put(rows, again[1], better)


def _walked(
    n: np.ndarray,
    centred: np.ndarray,
    total: np.ndarray,
    learner: np.ndarray,
    start: np.ndarray,
    bounds: np.ndarray,
) -> tuple[np.ndarray, Surface, np.ndarray]:
    """Climb from some starts."""
    low, high = (np.broadcast_to(end, (len(learner), 2)) for end in bounds.T)
    room = np.empty((len(learner), 8, len(n)))
    room[:, ONES] = 1.0
    rest = np.empty((2, len(learner), len(n)))

    def look(chosen: np.ndarray, at: np.ndarray) -> Surface:
        part, own = room[: len(chosen)], learner[chosen]
        part[:, SCORES] = centred[own]
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            products, mean, reach = _products(part, rest[:, : len(chosen)], n, at)
            return _surface(products, reach, total[own], mean)

    return climb(look, learner, start, (low, high), 1e-30 * total[learner])


def _steps(n: np.ndarray, centred: np.ndarray, bounds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Best step between two practice counts of each learner, and the squares it explains."""
    before = np.arange(1, len(n))
    fall = np.cumsum(centred, axis=1)[:, :-1] ** 2 * (len(n) / (before * (len(n) - before)))
    step = np.argmax(fall, axis=1)
    middle = np.log((n[step] + n[step + 1]) / 2)
    steep = np.full(len(middle), bounds[0, 1] - np.log(STEEP))
    return np.clip(np.stack([steep, middle], axis=1), *bounds.T), fall.max(axis=1)


@lru_cache(maxsize=16)
def _grid(counts: bytes) -> tuple[np.ndarray, np.ndarray]:
    """Nodes of both log rates, and the basis there, centred and of length 1, one per column."""
    n = np.frombuffer(counts)
    bounds = np.log(np.array(FORMS["s_shaped"].bounds(n)))
    axes = [low + shares(size) * (high - low) for (low, high), size in zip(bounds, NODES)]
    tau = np.stack([axis.ravel() for axis in np.meshgrid(*axes, indexing="ij")], axis=1)
    basis = FORMS["s_shaped"].basis(n, [np.exp(tau[:, [0]]), np.exp(tau[:, [1]])])
    basis = basis - basis.mean(axis=1, keepdims=True)
    length = np.linalg.norm(basis, axis=1, keepdims=True)
    return tau, (basis / np.where(length > 0, length, 1.0)).T.copy()


def _shares(n: np.ndarray, x: np.ndarray, middle: np.ndarray) -> tuple[np.ndarray, ...]:
    """What is left of the way, what is gone, and of both the one that has more digits."""
    grown = np.exp(np.clip(x, -LARGEST, LARGEST))
    left = 1 / (1 + grown)
    gone = grown * left
    return left, gone, np.where((middle > n.mean())[:, None], -gone, left)


def _products(
    part: np.ndarray, rest: np.ndarray, n: np.ndarray, at: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Inner products of centred columns with scores, basis and ``q``, and what goes with them.

    Six columns, basis, ``q``, ``x q``, ``w``, ``x w`` and ``x² w``, by four: scores, basis, ``q``
    and ``x q`` (of which only the square is filled in).
    """
    rate, middle = np.exp(at.T)
    x, grown = rest
    np.multiply(rate[:, None], n - middle[:, None], out=x)
    np.exp(np.clip(x, -LARGEST, LARGEST, out=grown), out=grown)
    left, gone = part[:, 2], grown
    np.divide(1.0, np.add(grown, 1.0, out=left), out=left)
    gone *= left
    q, xq, w, xw, xxw = (part[:, k] for k in range(3, 8))
    np.multiply(left, gone, out=q)
    np.multiply(np.subtract(gone, left, out=w), q, out=w)
    np.multiply(x, q, out=xq)
    np.multiply(x, w, out=xw)
    np.multiply(x, xw, out=xxw)
    # Where most practice comes before the midpoint the digits are in what is gone.
    late = middle > n.mean()
    left[late] = -gone[late]
    told = part[:, 2:] @ np.swapaxes(part[:, :4], 1, 2)
    mean = told[:, :, ONES] / len(n)
    square = np.einsum("ij,ij->i", xq, xq) - mean[:, 2] ** 2 * len(n)
    told[:, :, 2:] -= told[:, :, [ONES]] * mean[:, None, :2]
    told[:, 2, ONES] = square
    return told, mean[:, 0], rate * middle


def _surface(g: np.ndarray, k: np.ndarray, total: np.ndarray, mean: np.ndarray) -> Surface:
    """Loss and derivatives from inner products of centred columns.

    By the logarithms of rate and midpoint the basis has the derivatives ``-x q`` and ``k q``,
    then ``x² w - x q``, ``k (q - x w)`` and ``k q + k² w`` with ``k`` rate times midpoint.
    """

    def second(column: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        q, xq, w, xw, xxw = column[:, 1:].T
        return xxw - xq, k * (q - xw), k * (q + k * w)

    scores, basis, heavy = g[:, :, SCORES], g[:, :, 2], g[:, :, 3]
    p, s = scores[:, 0], np.maximum(basis[:, 0], 1e-300)
    c = p / s
    p1, p2, h1, h2 = -scores[:, 2], k * scores[:, 1], -basis[:, 2], k * basis[:, 1]
    squares = np.stack([g[:, 2, ONES], -k * heavy[:, 2], k**2 * heavy[:, 1]])
    both = np.stack([h1 * h1, h1 * h2, h2 * h2]) / s
    d1, d2 = p1 - 2 * c * h1, p2 - 2 * c * h2
    turned = np.stack([d1 * d1, d1 * d2, d2 * d2]) / s
    left = [c * (c * b - a) for a, b in zip(second(scores), second(basis))]
    return Surface(
        0.5 * (total - c * p),
        np.stack([c * (c * h1 - p1), c * (c * h2 - p2)], axis=1),
        (np.stack(left) + c**2 * squares - turned).T,
        (c**2 * (squares - both)).T,
        np.stack([c, mean], axis=1),
    )
