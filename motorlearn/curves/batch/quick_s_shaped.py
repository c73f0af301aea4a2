r"""S-shaped curves of many learners at once, where the best curve lies inside its bounds.

The square left by the best straight line on the basis :math:`f` is searched over the logarithms of
rate and midpoint, with residuals in place of differences of large sums. With
:math:`x = r (n - m)`, :math:`q = f (1 - f)` and :math:`k = r m` the basis has the derivatives
:math:`-x q` and :math:`k q`, and all inner products the standard errors need fall off on the way.
"""

from functools import lru_cache

import numpy as np

from motorlearn.curves.batch.climbing import Surface
from motorlearn.curves.batch.padded import shares
from motorlearn.curves.batch.quick_starts import Nodes
from motorlearn.curves.batch.quick_sums import Plain, inner, inverse_of_three, quadratic
from motorlearn.curves.batch.shared import Scores
from motorlearn.curves.forms import FORMS

NODES, BLOCK = (16, 28), 256
FORM = FORMS["s_shaped"]


@lru_cache(maxsize=16)
def nodes_of(counts: bytes) -> Nodes:
    """Nodes, and the basis there, centred and of length 1."""
    n = np.frombuffer(counts)
    bounds = np.log(np.array(FORM.bounds(n)))
    axes = [low + shares(size) * (high - low) for (low, high), size in zip(bounds, NODES)]
    tau = [np.exp(axis.reshape(-1, 1)) for axis in np.meshgrid(*axes, indexing="ij")]
    basis = FORM.basis(n, tau)
    basis = basis - basis.mean(axis=1, keepdims=True)
    length = np.linalg.norm(basis, axis=1, keepdims=True)
    unit = basis / np.where(length > 0, length, 1.0)
    return Nodes((axes[0], axes[1]), unit.astype(np.float32))


def explained(nodes: Nodes, centred: np.ndarray) -> np.ndarray:
    """Squares that every node explains, one column per learner."""
    found: np.ndarray = nodes.unit @ centred.astype(np.float32).T
    found *= found
    return found


def look(n: np.ndarray, y: np.ndarray, at: np.ndarray) -> Surface:
    """Loss of centred scores with derivatives; remembered are gain, mean and inner products."""
    rate, middle = np.exp(at.T)
    k = rate * middle
    x = rate[:, None] * n
    x -= k[:, None]
    f = np.exp(x)
    f += 1.0
    np.divide(1.0, f, out=f)
    q = 1.0 - f
    q *= f
    xq = x * q
    count = len(n)
    mean, mean_q, mean_xq = (column.mean(axis=1) for column in (f, q, xq))
    square = inner(f, f) - count * mean**2
    gain = inner(f, y) / np.maximum(square, 1e-300)
    left = f - mean[:, None]
    left *= -gain[:, None]
    left += y
    eq, exq = inner(left, q), inner(left, xq)
    fq, fxq = inner(f, q) - count * mean * mean_q, inner(f, xq) - count * mean * mean_xq
    qq, qxq = inner(q, q) - count * mean_q**2, inner(q, xq) - count * mean_q * mean_xq
    xqxq = inner(xq, xq) - count * mean_xq**2
    loss = 0.5 * inner(left, left)
    ew, exw, exxw = _turns(f, q, left, x)
    curls = np.stack([exxw - exq, k * (eq - exw), k * (eq + k * ew)])
    slopes = -exq, k * eq
    h1, h2 = -fxq, k * fq
    squares = gain**2 * np.stack([xqxq, -k * qxq, k**2 * qq])
    t1, t2 = gain * h1 - slopes[0], gain * h2 - slopes[1]
    bend = squares - gain * curls - np.stack([t1 * t1, t1 * t2, t2 * t2]) / square
    safe = squares - gain**2 * np.stack([h1 * h1, h1 * h2, h2 * h2]) / square
    told = (gain, mean, square, h1, h2, squares[0], squares[1], squares[2], -mean_xq, k * mean_q)
    return Surface(
        loss,
        np.stack([-gain * slopes[0], -gain * slopes[1]], axis=1),
        bend.T,
        safe.T,
        np.stack(told, axis=1),
    )


def _turns(
    f: np.ndarray, q: np.ndarray, left: np.ndarray, x: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Products of residuals with the slope of ``q`` times powers of ``x``; ``f`` is used up."""
    f *= -2.0
    f += 1.0
    f *= q
    f *= left
    plain = f.sum(axis=1)
    f *= x
    return plain, f.sum(axis=1), inner(f, x)


def described(n: np.ndarray, point: np.ndarray, best: Surface, level: np.ndarray) -> Plain:
    """Parameters and their variances as multiples of the residual variance."""
    gain, mean, square, h1, h2, s11, s12, s22, mean1, mean2 = best.height.T
    rate, middle = np.exp(point.T)
    # Products of the basis with derivatives of the curve, which are ``gain`` times those of it.
    gram = (square, gain * h1, gain * h2, s11, s12, s22)
    inverse, clear = inverse_of_three(gram)
    v = mean, gain * mean1, gain * mean2
    spread = quadratic(inverse, v)
    asymptote = level - gain * mean
    ends = [FORM.log_basis(np.array(n[k]), [rate, middle], 1.0) for k in (0, -1)]
    progress = ends[0] - ends[1]
    return Plain(
        asymptote=asymptote,
        gain=gain,
        rates=(rate, middle),
        var_asymptote=1 / len(n) + spread,
        var_gain=inverse[0][0],
        var_rates=(rate**2 * inverse[1][1], middle**2 * inverse[2][2]),
        progress=progress,
        change=np.abs(gain) * np.exp(ends[0]) * -np.expm1(-progress),
        sure=clear,
    )


STEEP = 1.2
"""Rate times gap beyond which a curve is nearly a step, of which there are many about as good."""


def doubtful(n: np.ndarray, point: np.ndarray, loss: np.ndarray, scores: Scores) -> np.ndarray:
    """Whose curve is steep, or might be beaten by a step with one score anywhere between."""
    steep: np.ndarray = np.exp(point[:, 0]) * np.diff(n).min() > STEEP
    found = [
        least_of_steps(scores.centred[low : low + BLOCK], scores.total[low : low + BLOCK])
        for low in range(0, len(loss), BLOCK)
    ]
    return steep | (loss > np.concatenate(found))


def least_of_plain_steps(scores: Scores) -> np.ndarray:
    """Least loss of two levels, with no score in between."""
    found = [
        _by_steps(scores.centred[low : low + BLOCK])[0].max(axis=1)
        for low in range(0, len(scores.total), BLOCK)
    ]
    least: np.ndarray = np.maximum(0.5 * (scores.total - np.concatenate(found)), 0.0)
    return least


def _by_steps(centred: np.ndarray) -> tuple[np.ndarray, ...]:
    """Squares that a step after each trial but the last explains, both levels, and sums so far."""
    before = np.arange(1.0, centred.shape[1])
    sums = np.cumsum(centred[:, :-1], axis=1)
    early = sums / before
    late = sums / -(centred.shape[1] - before)
    return (early - late) * sums, early, late, sums


def least_of_steps(centred: np.ndarray, total: np.ndarray) -> np.ndarray:
    """Least loss of two levels, with or without one score in between."""
    explained, early, late, sums = _by_steps(centred)
    early, late, inside = early[:, :-1], late[:, 1:], centred[:, 1:-1]
    between = (inside - early) * (inside - late) <= 0
    lone = early * sums[:, :-1]
    lone -= late * sums[:, 1:]
    lone += inside * inside
    lone *= between
    most = np.maximum(explained.max(axis=1), lone.max(axis=1))
    found: np.ndarray = 0.5 * (total - most)
    return found
