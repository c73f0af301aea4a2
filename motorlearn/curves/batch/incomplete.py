"""Fast curves of learners who share a range of practice but miss some of it, or repeat some.

As in :mod:`motorlearn.curves.batch.shared`, inner products with polynomials in the log rate
stand for the scores; here the sums over the basis itself differ between learners and are taken
with each learner's weights.
"""

from dataclasses import dataclass

import numpy as np

from motorlearn.curves.batch.grids import WIDE_DEGREE, Grid, interpolation
from motorlearn.curves.batch.shared import (
    STEPS,
    best_of_each,
    derivatives,
    horner,
    on_stretches,
    peaks,
    product_in_blocks,
    uphill,
)
from motorlearn.curves.batch.straight import Line, SharedFit, natural

LEAST_SQUARE = 1e-6
"""Weighted variance of the scaled basis below which its digits do not suffice."""


@dataclass(frozen=True)
class GappyGrid:
    """Polynomials of the basis, its square and the square of its slope, scaled per node."""

    grid: Grid
    widths: np.ndarray
    scale: np.ndarray
    search: np.ndarray
    raw: np.ndarray
    squares: np.ndarray
    slopes: np.ndarray
    beyond: np.ndarray


@dataclass(frozen=True)
class Cells:
    """Scores of learners on common practice counts.

    ``weight`` is the weight of each count (0 where missing), ``y`` the weighted mean there,
    ``rows`` how many outcomes there are, ``within`` the squares left inside counts, ``logs`` the
    sum of the log weights.
    """

    weight: np.ndarray
    y: np.ndarray
    rows: np.ndarray
    within: np.ndarray
    logs: np.ndarray


def make_gappy_grid(grid: Grid, beyond: np.ndarray) -> GappyGrid:
    """Lay out the polynomials on practice ``beyond`` the smallest count."""
    points, turn = interpolation(WIDE_DEGREE)
    gaps = np.diff(grid.centres)
    widths = np.maximum(np.r_[gaps[0], gaps], np.r_[gaps, gaps[-1]])
    rates = np.exp(grid.centres[:, None] + widths[:, None] * points)
    fallen = rates[:, None, :] * beyond[:, None]
    at_centre = -np.expm1(-np.exp(grid.centres) * beyond[:, None])
    scale = at_centre.max(axis=0)
    height = -np.expm1(-fallen) / scale[:, None, None]
    tilt = fallen * np.exp(-fallen) / scale[:, None, None]

    def polynomials(values: np.ndarray) -> np.ndarray:
        found: np.ndarray = np.swapaxes(values @ turn.T, 1, 2).copy()
        return found

    return GappyGrid(
        grid,
        widths,
        scale,
        at_centre / scale,
        polynomials(height),
        polynomials(height**2),
        polynomials(tilt**2),
        beyond,
    )


def fit_gappy(gappy: GappyGrid, cells: Cells) -> tuple[SharedFit, np.ndarray]:
    """Fit every learner; the second array says whose digits suffice."""
    weight, whole = cells.weight, cells.weight.sum(axis=1)
    level = np.einsum("ij,ij->i", weight, cells.y) / whole
    centred = weight * (cells.y - level[:, None])
    total = np.einsum("ij,ij->i", centred, cells.y - level[:, None]) + cells.within
    explained = _explained(gappy, centred, weight, whole)
    learner, node = peaks(explained)
    cover = on_stretches(centred, gappy.raw, learner, node)
    mean = on_stretches(weight, gappy.raw, learner, node)
    square = on_stretches(weight, gappy.squares, learner, node)
    last = len(gappy.grid.centres) - 1
    t = _climb(cover, square, mean, whole[learner], node, last)
    value = horner(cover, t) ** 2 / _square(square, mean, whole[learner], t)[0]
    best = best_of_each(learner, np.where(np.isfinite(value), value, -1.0), len(level))
    chosen = (cover[:, best], square[:, best], mean[:, best], node[best], t[best])
    ends = np.maximum(total[:, None] - explained[:, [0, -1]], 0.0)
    line, sure = _line(gappy, cells, level, total, chosen, ends)
    return natural(gappy.grid, line), sure & (line.sse > 1e-6 * total)


def _explained(
    gappy: GappyGrid, centred: np.ndarray, weight: np.ndarray, whole: np.ndarray
) -> np.ndarray:
    """Explained sum of squares at every node; 0 where the digits do not suffice."""
    product = product_in_blocks(centred, gappy.search)
    first = product_in_blocks(weight, gappy.search)
    square = product_in_blocks(weight, gappy.search**2) - first**2 / whole[:, None]
    firm = square > LEAST_SQUARE * whole[:, None]
    return np.where(firm, product**2 / np.where(firm, square, 1.0), 0.0)


def _square(
    square: np.ndarray, mean: np.ndarray, whole: np.ndarray, t: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sum of squares of the basis about its mean, with two derivatives."""
    (q, q1, q2), (m, m1, m2) = derivatives(square, t), derivatives(mean, t)
    return q - m**2 / whole, q1 - 2 * m * m1 / whole, q2 - 2 * (m1**2 + m * m2) / whole


def _climb(
    cover: np.ndarray,
    square: np.ndarray,
    mean: np.ndarray,
    whole: np.ndarray,
    node: np.ndarray,
    last: int,
) -> np.ndarray:
    low, high = np.where(node == 0, 0.0, -1.0), np.where(node == last, 0.0, 1.0)
    t = np.zeros(len(node))
    active = np.arange(len(node))
    for _ in range(STEPS + 3):
        before = t[active]
        c = derivatives(cover[:, active], before)
        s = _square(square[:, active], mean[:, active], whole[active], before)
        t[active] = uphill(before, c, s, low[active], high[active])
        active = active[np.abs(t[active] - before) > 1e-8]
        if not active.size:
            break
    return t


def _line(
    gappy: GappyGrid,
    cells: Cells,
    level: np.ndarray,
    total: np.ndarray,
    chosen: tuple[np.ndarray, ...],
    ends: np.ndarray,
) -> tuple[Line, np.ndarray]:
    cover, square, mean, node, t = chosen
    whole, learner = cells.weight.sum(axis=1), np.arange(len(level))
    scale, width = gappy.scale[node], gappy.widths[node]
    s, s1, _ = _square(square, mean, whole, t)
    m, m1, _ = derivatives(mean, t)
    m1 = m1 / width
    product = horner(cover, t)
    tilt = horner(on_stretches(cells.weight, gappy.slopes, learner, node), t)
    half, slope = s1 / (2 * width) * scale**2, (tilt - m1**2 / whole) * scale**2
    seen = np.where(cells.weight > 0, gappy.beyond, np.nan)
    line = Line(
        level=level,
        weight=whole,
        rows=cells.rows,
        sse=total - product**2 / s,
        total=total,
        c=product / s / scale,
        square=s * scale**2,
        half=half,
        slope=slope,
        gap=s * scale**2 * slope - half**2,
        mean=m / whole * scale,
        mean1=m1 / whole * scale,
        log_rate=gappy.grid.centres[node] + width * t,
        reach=np.nanmax(seen, axis=1) - np.nanmin(seen, axis=1),
        ends=ends,
    )
    return line, s > LEAST_SQUARE * whole
