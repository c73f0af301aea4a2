"""Fast curves of learners who share their practice counts: one matrix product, then polynomials.

With the rate given, asymptote and gain are a straight-line regression on ``u = 1 - exp(-rate x)``
(x is practice, or its logarithm), so only the log rate is searched. Over a short stretch of the
log rate, ``u`` is a polynomial to ten digits. Inner products of every learner's scores with the
polynomial's coefficients therefore give the sum of squares, its derivatives and the standard
errors anywhere on the stretch without looking at the scores again. Wide nodes say where the best
rates lie, narrow cells between them hold polynomials of low degree in which Newton's method needs
two or three steps.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from motorlearn.curves.batch.grids import CELLS, DEGREE, OVERLAP, Grid
from motorlearn.curves.batch.straight import Line, SharedFit, natural

STEPS, MOVES = 8, 12
"""Newton steps in one cell, and from cell to cell."""
NEAR_ENOUGH = 1e-4
"""Newton step, as a share of a cell, after which the next would be of the size of its square."""
ROWS_OF_PRODUCT = 96
SIDE, BLOCKS_AT_ONCE = 16, 64
"""Learners in a block of one node, and blocks whose scores stay in the cache."""


@dataclass(frozen=True)
class Scores:
    """Scores of learners without their level, which is kept, and their sum of squares."""

    level: np.ndarray
    centred: np.ndarray
    total: np.ndarray

    @classmethod
    def of(cls, y: np.ndarray) -> "Scores":
        """Centre every row of ``y``, shape (learners, practice counts), all finite."""
        level = y.mean(axis=1)
        centred = y - level[:, None]
        return cls(level, centred, np.einsum("ij,ij->i", centred, centred))


def fit_shared(grid: Grid, scores: Scores) -> SharedFit:
    """Fit every learner."""
    count, total = len(scores.level), scores.total
    explained = product_in_blocks(scores.centred, grid.search)
    explained *= explained
    learner, node = peaks(explained)
    shift = _vertices(explained, learner, node)
    cell, place, product = _climb(grid, scores.centred, learner, node, shift)
    if len(learner) > count:
        best = best_of_each(learner, product**2, count)
        cell, place, product = cell[best], place[best], product[best]
    ends = np.maximum(total[:, None] - explained[:, [0, -1]], 0.0)
    return _describe(grid, scores, cell, place, product, ends)


def peaks(explained: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Learner and node of every local maximum over the nodes; each learner has one at least."""
    count, nodes = explained.shape
    rising = np.empty((count, nodes + 1), bool)
    rising[:, 0], rising[:, -1] = True, False
    np.greater(explained[:, 1:], explained[:, :-1], out=rising[:, 1:-1])
    learner, node = np.divmod(np.flatnonzero(rising[:, :-1] > rising[:, 1:]), nodes)
    return learner, node


def _vertices(explained: np.ndarray, learner: np.ndarray, node: np.ndarray) -> np.ndarray:
    """About how many nodes away each peak is: a parabola, bent by the neighbours beyond."""
    nodes, flat = explained.shape[1], explained.ravel()
    first = learner * nodes + np.clip(node, 2, nodes - 3)
    far, before, here, after, beyond = (flat[first + k] for k in (-2, -1, 0, 1, 2))
    bend = np.minimum(before - 2 * here + after, -1e-300)
    third = 0.5 * (beyond - far) + before - after
    shift = np.clip(0.5 * (before - after) / bend, -1.0, 1.0)
    shift -= third * (3 * shift**2 - 1) / 6 / np.minimum(bend + third * shift, 0.5 * bend)
    shift[(node < 2) | (node > nodes - 3)] = 0.0
    found: np.ndarray = np.clip(shift, -1.0, 1.0)
    return found


def on_stretches(
    rows: np.ndarray, basis: np.ndarray, learner: np.ndarray, node: np.ndarray
) -> np.ndarray:
    """Polynomials of inner products of learners' rows with the basis around their nodes."""
    order = in_order(node)
    cover = np.empty((basis.shape[1], len(node)))
    cover[:, order] = _on_sorted(rows, basis, learner[order], node[order])
    return cover


def in_order(node: np.ndarray) -> np.ndarray:
    """Order that puts the same nodes beside each other."""
    return np.argsort(node.astype(np.int16), kind="stable")


def _on_sorted(
    rows: np.ndarray, basis: np.ndarray, learner: np.ndarray, node: np.ndarray
) -> np.ndarray:
    """The same for nodes in order; every node has places for whole blocks of learners."""
    count = np.bincount(node, minlength=len(basis))
    blocks = -(-count // SIDE)
    begin = np.cumsum(blocks) * SIDE - blocks * SIDE - np.cumsum(count) + count
    place = np.arange(len(node)) + begin[node]
    which = np.repeat(np.arange(len(basis)), blocks)
    own = np.zeros(len(which) * SIDE, np.intp)
    own[place] = learner
    cover = np.empty((basis.shape[1], len(own)))
    parts = cover.reshape(-1, len(which), SIDE).swapaxes(0, 1)
    for low in range(0, len(which), BLOCKS_AT_ONCE):
        part = slice(low, low + BLOCKS_AT_ONCE)
        scores = rows[own[low * SIDE : (low + BLOCKS_AT_ONCE) * SIDE]]
        scores = scores.reshape(-1, SIDE, rows.shape[1]).swapaxes(1, 2)
        np.matmul(basis[which[part]], scores, out=parts[part])
    found: np.ndarray = np.take(cover, place, axis=1)
    return found


def product_in_blocks(rows: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """Matrix product in small blocks: too small for BLAS to call up threads of its own.

    Blocks of one size, the last one filled up, give a row the same bits wherever it stands.
    """
    count = len(rows)
    whole = count // ROWS_OF_PRODUCT * ROWS_OF_PRODUCT
    result = np.empty((count, columns.shape[1]), np.result_type(rows, columns))
    blocks = (-1, ROWS_OF_PRODUCT)
    if whole:
        np.matmul(
            rows[:whole].reshape(*blocks, rows.shape[1]),
            columns,
            out=result[:whole].reshape(*blocks, columns.shape[1]),
        )
    if whole < count:
        last = np.zeros((ROWS_OF_PRODUCT, rows.shape[1]), rows.dtype)
        last[: count - whole] = rows[whole:]
        result[whole:] = (last @ columns)[: count - whole]
    return result


def _climb(
    grid: Grid, centred: np.ndarray, learner: np.ndarray, node: np.ndarray, shift: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Cell of the maximum that each peak leads to, place in it, and product with the basis."""
    last, ahead = len(grid.edges) - 2, CELLS * shift
    cell = np.clip(node * CELLS + np.floor(ahead).astype(np.intp), 0, last)
    place = (2 * (node * CELLS + ahead - cell) - 1) / OVERLAP
    least, most = np.maximum(node - 1, 0) * CELLS, np.minimum((node + 1) * CELLS - 1, last)
    rows, product = in_order(cell), np.empty(len(cell))
    for _ in range(MOVES):
        there = cell[rows]
        cover = _on_sorted(centred, grid.cells.basis, learner[rows], there)
        place[rows], product[rows] = _in_cells(grid, cover, there, place[rows])
        beyond = np.where(place >= 1.0, 1, np.where(place <= -1.0, -1, 0))
        beyond = np.clip(cell + beyond, least, most) - cell
        rows = np.flatnonzero(beyond)
        if not rows.size:
            break
        cell[rows] += beyond[rows]
        place[rows] = -0.5 * beyond[rows]
        rows = rows[in_order(cell[rows])]
    return cell, place, product


def _in_cells(
    grid: Grid, cover: np.ndarray, cell: np.ndarray, start: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Maximise the size of polynomials in their cells by Newton's method: place and value."""
    edge = 1 / OVERLAP
    low = np.where(cell == 0, -edge, -1.0)
    high = np.where(cell == len(grid.edges) - 2, edge, 1.0)
    t = np.clip(start, low, high)
    active, here, part = np.arange(len(t)), t, cover
    for _ in range(STEPS):
        moved = _summit(here, *derivatives(part, here), low, high)
        going = np.abs(moved - here) > NEAR_ENOUGH
        t[active], count = moved, int(going.sum())
        if not count:
            break
        here = moved
        if count < len(going):
            active, here, part = active[going], here[going], part[:, going]
            low, high = low[going], high[going]
    return t, horner(cover, t)


def _summit(
    t: np.ndarray,
    value: np.ndarray,
    slope: np.ndarray,
    bend: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
) -> np.ndarray:
    """Newton step towards the largest size of a polynomial, inside its bounds."""
    downhill = bend * value < 0
    step = np.where(downhill, -slope / np.where(downhill, bend, 1.0), np.sign(slope * value))
    found: np.ndarray = np.clip(t + np.clip(step, -1.0, 1.0), low, high)
    return found


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
    begin = np.flatnonzero(np.r_[True, learner[1:] != learner[:-1]])
    top = np.maximum.reduceat(value, begin)
    winners = np.flatnonzero(value >= top[learner])
    first = np.r_[True, np.diff(learner[winners]) > 0]
    found: np.ndarray = winners[first]
    return found


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
    scores: Scores,
    cell: np.ndarray,
    t: np.ndarray,
    product: np.ndarray,
    ends: np.ndarray,
) -> SharedFit:
    """Parameters and standard errors at the optimum."""
    cells, count = grid.cells, np.full(len(t), float(scores.centred.shape[1]))
    width, edge = cells.widths[cell], 1 / OVERLAP
    log_rate = cells.centres[cell] + width * t
    log_rate[(cell == 0) & (t <= -edge)] = grid.edges[0]
    log_rate[(cell == len(grid.edges) - 2) & (t >= edge)] = grid.edges[-1]
    square, square1 = _with_slope(cells.square[:, cell], t)
    half = square1 / (2 * width)
    gap = square**2 * horner(cells.turn[:, cell], t)
    mean, mean1 = _with_slope(cells.mean[:, cell], t)
    c = product / np.sqrt(square)
    line = Line(
        level=scores.level,
        weight=count,
        rows=count,
        sse=_residual_squares(grid, scores, cell, t, product),
        total=scores.total,
        c=c,
        square=square,
        half=half,
        slope=(gap + half**2) / square,
        gap=gap,
        mean=mean,
        mean1=mean1 / width,
        log_rate=log_rate,
        reach=np.full(len(t), grid.progress),
        ends=ends,
    )
    return natural(grid, line)


def _with_slope(coefficients: np.ndarray, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Polynomial and its first derivative."""
    value, slope = coefficients[-1].copy(), np.zeros(len(t))
    for row in coefficients[-2::-1]:
        slope *= t
        slope += value
        value *= t
        value += row
    return value, slope


def _residual_squares(
    grid: Grid, scores: Scores, cell: np.ndarray, t: np.ndarray, product: np.ndarray
) -> np.ndarray:
    """Residual sum of squares; where nearly nothing is left it is added up from the residuals."""
    sse: np.ndarray = scores.total - product**2
    near = np.flatnonzero(sse < 1e-6 * scores.total)
    if near.size:
        powers = t[near] ** np.arange(DEGREE + 1)[:, None]
        basis = np.einsum("rjn,jr->rn", grid.cells.basis[cell[near]], powers)
        sse[near] = np.sum((scores.centred[near] - product[near, None] * basis) ** 2, axis=1)
    return sse
