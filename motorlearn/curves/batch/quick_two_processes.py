r"""Two-process curves of many learners at once, where the best curve lies inside its bounds.

Asymptote and the heights :math:`h` and :math:`k` of both exponentials are a regression given the
rates, so that only the logarithms of the fast rate and of the slowness are searched, with
residuals in place of differences of large sums.
"""

from collections.abc import Callable, Iterator
from functools import lru_cache

import numpy as np

from motorlearn.curves.batch.climbing import Surface
from motorlearn.curves.batch.quick_starts import Nodes
from motorlearn.curves.batch.quick_sums import CLEAR, Plain, inner
from motorlearn.curves.batch.shared import Scores
from motorlearn.curves.batch.two_processes import RATES, SLOWNESSES, _grid, _unit
from motorlearn.curves.forms import FORMS
from motorlearn.curves.forms.two_processes import SHARES

FORM = FORMS["two_processes"]
PAIRS = ((0, 1), (0, 2), (0, 3), (1, 1), (1, 2), (1, 3), (2, 2), (2, 3), (3, 3))


@lru_cache(maxsize=16)
def nodes_of(counts: bytes) -> Nodes:
    """Nodes, with the fast exponentials first and what the slow ones add after them."""
    tau, fast, slow = _grid(counts)
    axes = (tau[::SLOWNESSES, 0].copy(), tau[:SLOWNESSES, 1].copy())
    unit = _unit(fast)
    apart = slow - np.einsum("ij,ij->i", slow, unit)[:, None] * unit
    both = np.concatenate([unit[::SLOWNESSES], _unit(apart)])
    return Nodes(axes, both.astype(np.float32))


def explained(nodes: Nodes, centred: np.ndarray) -> np.ndarray:
    """Squares that every pair of exponentials explains, one column per learner."""
    found: np.ndarray = nodes.unit @ centred.astype(np.float32).T
    found *= found
    both = found[RATES:].reshape(RATES, SLOWNESSES, -1)
    both += found[:RATES, None]
    return found[RATES:]


def _parts(x: np.ndarray, at: np.ndarray) -> Iterator[tuple[np.ndarray, ...]]:
    """Both exponentials with their slopes by the log rate, and how far they have dropped."""
    for log_rate in (at[:, 0], at.sum(axis=1)):
        drop = np.exp(log_rate)[:, None] * x
        height = np.exp(-drop)
        slope = drop * height
        yield height, np.negative(slope, out=slope), drop


Solver = Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]


def _bends(
    g: dict[tuple[int, int], np.ndarray],
    heights: tuple[np.ndarray, np.ndarray],
    residuals: tuple[np.ndarray, ...],
    solved: Solver,
) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """Bend and safe bend by both log rates."""
    (h, k), (e1, e2, e11, e22) = heights, residuals
    by_fast = (e1 - h * g[0, 2], -h * g[1, 2])
    by_slow = (-k * g[0, 3], e2 - k * g[1, 3])
    p, q = solved(*by_fast), solved(*by_slow)
    squares = [h * h * g[2, 2], h * k * g[2, 3], k * k * g[3, 3]]
    bend = [
        squares[0] - h * e11 - (by_fast[0] * p[0] + by_fast[1] * p[1]),
        squares[1] - (by_fast[0] * q[0] + by_fast[1] * q[1]),
        squares[2] - k * e22 - (by_slow[0] * q[0] + by_slow[1] * q[1]),
    ]
    u, v = solved(g[0, 2], g[1, 2]), solved(g[0, 3], g[1, 3])
    safe = [
        squares[0] - h * h * (g[0, 2] * u[0] + g[1, 2] * u[1]),
        squares[1] - h * k * (g[0, 2] * v[0] + g[1, 2] * v[1]),
        squares[2] - k * k * (g[0, 3] * v[0] + g[1, 3] * v[1]),
    ]
    return bend, safe


def look(n: np.ndarray, y: np.ndarray, at: np.ndarray) -> Surface:
    """Loss of centred scores with derivatives; remembered are heights, means and products."""
    count = len(n)
    (fast, fast1, drop1), (slow, slow1, drop2) = _parts(n - n[0], at)
    order = (fast, slow, fast1, slow1)
    means = [column.mean(axis=1) for column in order]
    a = inner(fast, fast) - count * means[0] ** 2
    g = {(i, j): inner(order[i], order[j]) - count * means[i] * means[j] for i, j in PAIRS}
    b, c = g[0, 1], g[1, 1]
    volume = np.maximum(a * c - b * b, 1e-15 * a * c + 1e-300)

    def solved(p: np.ndarray, q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return (c * p - b * q) / volume, (a * q - b * p) / volume

    h, k = solved(inner(fast, y), inner(slow, y))
    left = fast * -h[:, None]
    left -= k[:, None] * slow
    left += (h * means[0] + k * means[1])[:, None]
    left += y
    e1, e2 = inner(left, fast1), inner(left, slow1)
    loss = 0.5 * inner(left, left)
    # The second derivative by a log rate is the first less ``drop`` times it.
    left2 = left * fast1
    e11 = e1 - inner(left2, drop1)
    np.multiply(left, slow1, out=left2)
    e22 = e2 - inner(left2, drop2)
    bend, safe = _bends(g, (h, k), (e1, e2, e11, e22), solved)
    slope0, slope1 = -h * e1, -k * e2
    told = (h, k, *means, a, *(g[pair] for pair in PAIRS))
    return Surface(
        loss,
        np.stack([slope0 + slope1, slope1], axis=1),
        np.stack([bend[0] + 2 * bend[1] + bend[2], bend[1] + bend[2], bend[2]], axis=1),
        np.stack([safe[0] + 2 * safe[1] + safe[2], safe[1] + safe[2], safe[2]], axis=1),
        np.stack(told, axis=1),
    )


def described(n: np.ndarray, point: np.ndarray, best: Surface, level: np.ndarray) -> Plain:
    """Parameters and their variances as multiples of the residual variance."""
    h, k = best.height[:, :2].T
    gain, fast = h + k, point[:, 0]
    with np.errstate(all="ignore"):
        share = h / gain
    factors = np.stack([np.ones(len(h)), np.ones(len(h)), h, k], axis=1)
    means = best.height[:, 2:6] * factors
    gram = np.empty((len(h), 4, 4))
    for place, (i, j) in enumerate(((0, 0), *PAIRS)):
        gram[:, i, j] = best.height[:, 6 + place] * factors[:, i] * factors[:, j]
        gram[:, j, i] = gram[:, i, j]
    scale = np.sqrt(np.maximum(np.einsum("ikk->ik", gram), 1e-300))
    gram /= scale[:, :, None] * scale[:, None, :]
    clear = np.linalg.det(gram) > CLEAR
    gram[~clear] = np.eye(4)
    inverse = np.linalg.inv(gram) / (scale[:, :, None] * scale[:, None, :])

    def variance(*parts: np.ndarray | float) -> np.ndarray:
        v = np.stack([np.broadcast_to(part, h.shape) for part in parts], axis=1)
        found: np.ndarray = np.einsum("ik,ikl,il->i", v, inverse, v)
        return found

    rates = np.exp(fast), np.exp(point[:, 1]), share
    with np.errstate(all="ignore"):
        of_share = variance(1 / h - 1 / gain, -1 / gain, 0.0, 0.0)
        last = FORM.log_basis(np.array(n[-1]), list(rates), float(n[0]))
    return Plain(
        asymptote=level - h * best.height[:, 2] - k * best.height[:, 3],
        gain=gain,
        rates=rates,
        var_asymptote=1 / len(n) + variance(*means.T),
        var_gain=variance(1.0, 1.0, 0.0, 0.0),
        var_rates=(
            rates[0] ** 2 * variance(0.0, 0.0, 1.0, 0.0),
            rates[1] ** 2 * variance(0.0, 0.0, -1.0, 1.0),
            share**2 * of_share,
        ),
        progress=-last,
        change=np.abs(gain * np.expm1(last)),
        sure=clear & (share > SHARES[0] * (1 + EDGE)) & (share < SHARES[1] * (1 - EDGE)),
    )


EDGE = 1e-4
"""How far from its bounds a share must lie, relatively, to be told without another search."""


QUICK = 3.0
"""Fast rate times gap beyond which hardly more than the first score tells of it."""


def doubtful(n: np.ndarray, point: np.ndarray, loss: np.ndarray, scores: Scores) -> np.ndarray:
    """Whose fast process is over after a score or two, so that its rate is hardly known."""
    found: np.ndarray = np.exp(point[:, 0]) * np.diff(n).min() > QUICK
    return found
