"""Variance between items, between raters and of error, also where not every rater saw every item.

``y = mean + item + rater + error`` by restricted maximum likelihood. The random effects are
eliminated item by item, so that only a matrix of raters by raters is factored.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize

from motorlearn.exceptions import InputError

LARGEST: Final = 1e4
"""Largest standard deviation of items or raters, in those of the error: perfect agreement."""


@dataclass(frozen=True)
class Components:
    """Variances of items, raters and error, with the size of the table behind them."""

    item: float
    rater: float
    error: float
    n_items: int
    n_raters: int
    n_scores: int
    raters_per_item: float
    items_per_rater: float

    @property
    def df_error(self) -> int:
        """Degrees of freedom of the error."""
        return self.n_scores - self.n_items - self.n_raters + 1


def crossed_components(table: ArrayLike, *, raters_differ: bool = True) -> Components:
    """Estimate the variances of items, raters and error of an incomplete table (REML).

    Parameters
    ----------
    table : array_like, shape (n_items, n_raters)
        Scores; NaN where a rater did not score an item.
    raters_differ : bool
        False leaves the variance of raters out, so that it is part of the error (one-way).

    Raises
    ------
    InputError
        If too few cells are filled to tell the variances apart.

    Examples
    --------
    >>> found = crossed_components([[7, 6], [4, 4], [9, 8], [2, 3], [5, 6]])
    >>> round(found.item, 3), round(found.error, 3)
    (5.1, 0.4)
    """
    scores = np.asarray(table, dtype=float)
    present = np.isfinite(scores)
    scores, present = scores[present.any(axis=1)], present[present.any(axis=1)]
    scores, present = scores[:, present.any(axis=0)], present[:, present.any(axis=0)]
    rows, columns = np.nonzero(present)
    y = scores[present] - scores[present].mean()
    n, k = scores.shape
    if len(y) - n - k + 1 < 1 or n < 2 or k < 2 or np.ptp(y) == 0:
        raise InputError(
            "too few scores to tell items, raters and error apart",
            [f"{len(y)} scores of {n} items by {k} raters"],
            "let raters share more items",
        )
    shape = _Shape(rows, columns, n, k, y / y.std())
    best = _least(shape, raters_differ=raters_differ)
    error = _criterion(best, shape)[1] * y.std() ** 2
    per_item, per_rater = present.sum(axis=1), present.sum(axis=0)
    return Components(
        item=float(best[0] ** 2 * error),
        rater=float(best[1] ** 2 * error),
        error=float(error),
        n_items=n,
        n_raters=k,
        n_scores=len(y),
        raters_per_item=_even_number(per_item),
        items_per_rater=_even_number(per_rater),
    )


@dataclass(frozen=True)
class _Shape:
    rows: np.ndarray
    columns: np.ndarray
    n: int
    k: int
    y: np.ndarray


def _least(shape: _Shape, *, raters_differ: bool) -> np.ndarray:
    """Relative standard deviations of items and raters at the least criterion."""
    bounds = [(0.0, LARGEST), (0.0, LARGEST if raters_differ else 0.0)]
    start = np.array([1.0, 0.3 if raters_differ else 0.0])
    near = optimize.minimize(
        lambda ratio: _criterion(ratio, shape)[0], start, method="L-BFGS-B", bounds=bounds
    )
    size = np.array([[0.0, 0.0], [1e-2, 0.0], [0.0, 1e-2 if raters_differ else 0.0]])
    sharp = optimize.minimize(
        lambda ratio: _criterion(_inside(ratio, raters_differ), shape)[0],
        near.x,
        method="Nelder-Mead",
        options={"initial_simplex": near.x + size, "xatol": 1e-8, "fatol": 1e-12},
    )
    return _inside(sharp.x, raters_differ)


def _inside(ratio: np.ndarray, raters_differ: bool) -> np.ndarray:
    inside: np.ndarray = np.minimum(np.abs(ratio), LARGEST) * (1, raters_differ)
    return inside


def _criterion(ratio: np.ndarray, data: _Shape) -> tuple[float, float]:
    """REML criterion at relative standard deviations of items and raters, and the error."""
    a, b = ratio
    items = a**2 * np.bincount(data.rows, minlength=data.n) + 1
    cross = np.zeros((data.n, data.k))
    cross[data.rows, data.columns] = a * b
    raters = np.diag(b**2 * np.bincount(data.columns, minlength=data.k) + 1)
    schur = raters - cross.T @ (cross / items[:, None])
    root = np.linalg.cholesky(schur)
    both = np.column_stack([np.ones_like(data.y), data.y])
    by_item = a * np.stack([np.bincount(data.rows, v, data.n) for v in both.T], axis=1)
    by_rater = b * np.stack([np.bincount(data.columns, v, data.k) for v in both.T], axis=1)
    left = np.linalg.solve(root, by_rater - cross.T @ (by_item / items[:, None]))
    inner = both.T @ both - by_item.T @ (by_item / items[:, None]) - left.T @ left
    once = max(inner[0, 0], 1e-300)
    rest = inner[1, 1] - inner[0, 1] ** 2 / once
    df = len(data.y) - 1
    error = max(rest, 1e-300) / df
    logs = np.log(items).sum() + 2 * np.log(np.diag(root)).sum() + np.log(once)
    return float(logs + df * np.log(error)), float(error)


def _even_number(counts: np.ndarray) -> float:
    """Number per row of an even table that carries the same variance of row means."""
    total = counts.sum()
    return float((total - np.sum(counts**2) / total) / (len(counts) - 1))
