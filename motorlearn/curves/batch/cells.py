"""Learners with gaps or repeats in their practice, laid out on whole counts from first to last.

A learner is laid out on the counts between the own first and last one, beside learners who have
these ends in common. Whoever else is in the batch therefore changes nothing.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np

from motorlearn.curves.batch.incomplete import Cells

MOST_COUNTS, MOST_EMPTY = 400, 5.0
"""Practice counts in all, and cells per outcome, up to which a common range is laid out."""

Laid = tuple[np.ndarray, np.ndarray, Cells]


def laid_out(batch: Any, rows: np.ndarray) -> Iterator[Laid]:
    """Learners, practice counts and scores there, for learners with the same ends of practice."""
    owner = np.repeat(np.arange(len(batch.ends)), np.diff(batch.ends, prepend=0))
    weight = np.ones(len(batch.y)) if batch.weights is None else batch.weights
    used = np.isin(owner, rows) & np.isfinite(batch.y) & np.isfinite(weight)
    if not used.any():
        return
    n, y, weight, owner = batch.n[used], batch.y[used], weight[used], owner[used]
    learners, begin = np.unique(owner, return_index=True)
    order = np.lexsort((n, owner))
    n, y, weight, owner = n[order], y[order], weight[order], owner[order]
    ends = np.r_[begin[1:], len(n)]
    whole = np.logical_and.reduceat(n == np.rint(n), begin)
    first, last = n[begin], n[ends - 1]
    gap = np.array([_first_gap(n[a:b]) for a, b in zip(begin, ends)])
    length = last - first + 1
    rows_each = ends - begin
    fits = whole & (gap == 1) & (length <= MOST_COUNTS) & (length <= MOST_EMPTY * rows_each)
    for low, high in np.unique(np.stack([first, last], axis=1)[fits], axis=0):
        chosen = np.flatnonzero(fits & (first == low) & (last == high))
        inside = np.isin(owner, learners[chosen])
        counts = np.arange(low, high + 1)
        place = (n[inside] - low).astype(int)
        mine = np.searchsorted(learners[chosen], owner[inside])
        found = _cells(mine, place, y[inside], weight[inside], (len(chosen), len(counts)))
        enough, cells = found
        if enough.size:
            yield learners[chosen][enough], counts, cells


def _first_gap(n: np.ndarray) -> float:
    step = np.argmax(n > n[0])
    return float(n[step] - n[0])


def _cells(
    owner: np.ndarray, place: np.ndarray, y: np.ndarray, weight: np.ndarray, shape: tuple[int, int]
) -> tuple[np.ndarray, Cells]:
    """Weighted means of the scores on common counts, for learners with enough of them."""
    index, size = owner * shape[1] + place, shape[0] * shape[1]
    heavy = np.bincount(index, weight, size)
    mean = np.bincount(index, weight * y, size) / np.where(heavy > 0, heavy, 1.0)
    within = np.bincount(owner, weight * (y - mean[index]) ** 2, shape[0])
    number = np.bincount(owner, minlength=shape[0]).astype(float)
    heavy, mean = heavy.reshape(shape), mean.reshape(shape)
    low = np.where(heavy > 0, mean, np.inf).min(axis=1)
    high = np.where(heavy > 0, mean, -np.inf).max(axis=1)
    enough = np.flatnonzero((number > 3) & ((heavy > 0).sum(axis=1) >= 3) & (high > low))
    logs = np.bincount(owner, np.log(weight), shape[0])[enough]
    return enough, Cells(heavy[enough], mean[enough], number[enough], within[enough], logs)
