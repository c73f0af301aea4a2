"""Where the search for the curve of hits of many learners starts: the lows along the log rate."""

import numpy as np

from motorlearn.curves.batch.hit_rows import (
    HitRows,
    ahead,
    inner,
    level_line,
    log_product,
    newton_step,
)
from motorlearn.curves.batch.padded import shares
from motorlearn.curves.forms.shape import LARGEST_DROP
from motorlearn.curves.single.problem import LARGEST_LOGIT

NODES, STARTS = 24, 3
DIGITS = 3
"""Digits to which losses are told apart, which single precision holds."""


def starts(rows: HitRows, bounds: np.ndarray) -> tuple[np.ndarray, ...]:
    """Places of the rate that are better than their neighbours: learner, log rate, coefficients.

    Learners are in order. The last array holds the coefficients at the lowest rate.
    """
    places = bounds[:, [0]] + shares(NODES) * (bounds[:, [1]] - bounds[:, [0]])
    alike = rows.since.shape[1] == 1 and np.all(bounds == bounds[0])
    kept, losses = (_walk_alike if alike else _walk)(rows, places)
    ranked = np.where(_lows(losses), losses, np.inf)
    chosen = np.argsort(ranked, axis=0, kind="stable")[:STARTS]
    rank, who = np.nonzero(np.isfinite(np.take_along_axis(ranked, chosen, axis=0)))
    node = chosen[rank, who]
    tau, beta = _between(places, losses, kept, who, node)
    lone, *limit = _from_the_limit(rows, bounds)
    who, tau = np.concatenate([who, lone]), np.concatenate([tau, limit[0]])
    order = np.argsort(who, kind="stable")
    return who[order], tau[order], np.concatenate([beta, limit[1]], axis=1)[:, order], kept[0]


def _lows(losses: np.ndarray) -> np.ndarray:
    """Nodes lower than their neighbours; of a level stretch that ends on higher ground, both ends.

    The lowest node is always one, and so is a bound as low as it.
    """
    told = np.pad(np.round(losses, DIGITS), ((1, 1), (0, 0)), mode="edge")
    left, right = told[1:-1] - told[:-2], told[1:-1] - told[2:]
    found: np.ndarray = (left <= 0) & (right <= 0) & ((left < 0) | (right < 0))
    found[[0, -1]] |= told[[0, -1]] <= told.min(axis=0)
    found[np.argmin(losses, axis=0), np.arange(losses.shape[1])] = True
    return found


def _between(
    places: np.ndarray, losses: np.ndarray, kept: np.ndarray, who: np.ndarray, node: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Log rate and coefficients at the vertex of the parabola through each low and its neighbours.

    Nodes far apart, and both ends, are left as they are.
    """
    inner = np.clip(node, 1, NODES - 2)
    before, here, after = (losses[inner + k, who] for k in (-1, 0, 1))
    bend = np.maximum(before - 2 * here + after, 1e-300)
    shift = np.where(node == inner, np.clip(0.5 * (before - after) / bend, -0.5, 0.5), 0.0)
    gap = places[who, NODES - 1] - places[who, NODES - 2]
    shift[places[who, inner] - places[who, inner - 1] > 1.5 * gap] = 0.0
    share, aside = np.abs(shift), inner + np.where(shift < 0, -1, 1)
    beta = (1 - share) * kept[node, :, who].T + share * kept[aside, :, who].T
    return places[who, node] + shift * gap, beta


def _walk(rows: HitRows, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients and losses at every node, nodes first.

    From node to node the coefficients are carried over and take one step of Newton's; what is left
    to gain is told by that step.
    """
    beta, count = level_line(rows), len(rows.whole)
    kept, losses = np.empty((NODES, 2, count)), np.empty((NODES, count))
    for k in range(NODES):
        v = rows.basis(places[:, k])
        for _ in range(1 if k else 3):
            step, loss, gain = ahead(rows, v, beta)
            beta, losses[k] = beta + step, loss - 0.5 * gain
        kept[k] = beta
    return kept, losses


def _walk_alike(rows: HitRows, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The same for learners with the same practice, by matrix products and with fewer digits."""
    beta, count = level_line(rows), len(rows.whole)
    kept, losses = np.empty((NODES, 2, count)), np.empty((NODES, count))
    basis = rows.pick(slice(0, 1)).basis(places[0]).T
    hits, attempts = rows.hits.astype(np.float32), rows.attempts.astype(np.float32)
    room = np.empty((2, *hits.shape), np.float32)
    for k, v in enumerate(basis):
        columns = np.stack([np.ones(len(v)), v, v * v]).astype(np.float32)
        reached = (columns[:2] @ hits).astype(float)
        for _ in range(1 if k else 3):
            step, loss, gain = _ahead_alike(hits, attempts, columns, reached, beta, room)
            beta, losses[k] = beta + step, loss - 0.5 * gain
        kept[k] = beta
    return kept, losses


def _ahead_alike(
    hits: np.ndarray,
    attempts: np.ndarray,
    columns: np.ndarray,
    reached: np.ndarray,
    beta: np.ndarray,
    room: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What :func:`ahead` gives; ``columns`` are 1, basis and its square, ``reached`` hits by them.

    Everything is written into ``room``.
    """
    eta, whole = room
    np.matmul(columns[:2].T, beta.astype(np.float32), out=eta)
    np.clip(eta, -LARGEST_LOGIT, LARGEST_LOGIT, out=eta)
    loss = -inner(hits, eta).astype(float)
    odds = np.exp(eta, out=eta)
    np.add(odds, 1.0, out=whole)
    if len(attempts) == 1:
        loss += attempts[0] * log_product(whole)
    else:
        loss += inner(attempts, np.log(whole))
    np.divide(1.0, whole, out=whole)
    odds *= whole
    odds *= attempts
    weight = np.multiply(whole, odds, out=whole)
    a, b, c = (columns @ weight).astype(float)
    g, h = reached - columns[:2] @ odds
    step, gain = newton_step(a, b, c, g, h)
    return step, loss, gain


def _from_the_limit(rows: HitRows, bounds: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """One start more for learners who began with nothing but misses, or nothing but hits.

    Their best curve may begin at the farthest logit and fall within a trial or two.
    """
    first = np.broadcast_to(rows.since == 0, rows.hits.shape)
    hits = np.sum(rows.hits, axis=0, where=first)
    attempts = np.sum(rows.attempts + 0 * rows.hits, axis=0, where=first)
    lone = np.flatnonzero((hits == 0) | (hits == attempts))
    top = np.where(hits[lone] == 0, -LARGEST_LOGIT, LARGEST_LOGIT)
    fast = bounds[lone, 1] - np.log(LARGEST_DROP)
    return lone, fast, np.stack([top, top - level_line(rows.pick(lone))[0]])
