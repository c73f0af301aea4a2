"""Intervals of agreement that hold with two or three raters: generalised confidence intervals.

The sums of squares of items, raters and error are independent multiples of chi-square variables.
Dividing what was observed by draws of these variables gives draws of the mean squares, and any
function of the variances its quantiles. The usual F interval of ICC(A,1) replaces the raters' mean
square, which has as few degrees of freedom as raters less one, by one F ratio and covers as little
as 74 % where raters differ as much as items; this one holds (see the coverage table in the
documentation).
"""

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from scipy import stats
from scipy.stats import qmc

from motorlearn.measures.agreement.crossed import Components
from motorlearn.measures.agreement.icc import MeanSquares

_POWER = 12


@dataclass(frozen=True)
class Pivots:
    """Draws of the variances of items, raters and error, shape (n_draws,); they may be negative."""

    item: np.ndarray
    rater: np.ndarray
    error: np.ndarray

    def agreement(self) -> np.ndarray:
        """Share of items in all variance, ICC(A,1)."""
        share: np.ndarray = self.item / (self.item + self.rater + self.error)
        return share

    def consistency(self) -> np.ndarray:
        """Share of items where raters' levels do not count, ICC(C,1)."""
        share: np.ndarray = self.item / (self.item + self.error)
        return share

    def measurement(self) -> np.ndarray:
        """Standard error of measurement of one rater's score, raters' levels counted."""
        error: np.ndarray = np.sqrt(np.maximum(self.rater, 0.0) + self.error)
        return error


def pivots(squares: MeanSquares) -> Pivots:
    """Draw the variances behind the mean squares of a complete table.

    References
    ----------
    Weerahandi, S. (1993). Journal of the American Statistical Association, 88, 899-905.
    doi:10.1080/01621459.1993.10476355.
    """
    n, k = squares.n_items, squares.n_raters
    return _drawn((squares.items, squares.raters, squares.error), (n - 1, k - 1), squares.df_error,
                  raters_per_item=k, items_per_rater=n)  # fmt: skip


def incomplete_pivots(found: Components) -> Pivots:
    """Draw the variances behind an incomplete table, as those of an even table of like size."""
    k, n = found.raters_per_item, found.items_per_rater
    return _drawn(
        (found.error + k * found.item, found.error + n * found.rater, found.error),
        (found.n_items - 1, found.n_raters - 1),
        found.df_error,
        raters_per_item=k,
        items_per_rater=n,
    )


def clustered_pivots(table: np.ndarray, clusters: np.ndarray, base: Pivots) -> Pivots:
    """Draw the variance of items anew where several items belong to one learner.

    The variance of items is that between learners plus that of a learner's items, so that its
    uncertainty follows the number of learners and not that of items.

    Parameters
    ----------
    table : ndarray, shape (n_items, n_raters)
        Scores; NaN where a rater did not score an item.
    clusters : ndarray of int, shape (n_items,)
        Learner of each item.
    base : Pivots
        Draws without regard to learners.
    """
    means = np.nanmean(table - np.nanmean(table, axis=0), axis=1)
    raters = 1 / np.mean(1 / np.isfinite(table).sum(axis=1))
    size = np.bincount(clusters)
    centre = np.bincount(clusters, means) / size
    groups, n = len(size), len(means)
    between = np.sum(size * (centre - np.average(centre, weights=size)) ** 2)
    within = np.sum((means - centre[clusters]) ** 2)
    outer = between / _chi_square(3, groups - 1)
    if n == groups:
        return Pivots(outer - base.error / raters, base.rater, base.error)
    inner = within / _chi_square(4, n - groups)
    each = (n - np.sum(size**2) / n) / (groups - 1)
    item = (outer - inner) / each + inner - base.error / raters
    return Pivots(item, base.rater, base.error)


def _drawn(
    squares: tuple[float, float, float],
    df: tuple[float, float],
    df_error: float,
    *,
    raters_per_item: float,
    items_per_rater: float,
) -> Pivots:
    items, raters, error = (
        square * freedom / _chi_square(place, freedom)
        for place, (square, freedom) in enumerate(zip(squares, (*df, df_error)))
    )
    return Pivots((items - error) / raters_per_item, (raters - error) / items_per_rater, error)


@lru_cache(maxsize=64)
def _chi_square(place: int, freedom: float) -> np.ndarray:
    """Quantiles of chi-square at one coordinate of the points; a plan of ratings asks again."""
    quantiles: np.ndarray = stats.chi2.ppf(_points()[:, place], freedom)
    quantiles.flags.writeable = False
    return quantiles


@cache
def _points() -> np.ndarray:
    """Evenly spread points of the unit cube of five dimensions, always the same."""
    points: np.ndarray = qmc.Sobol(5, scramble=True, rng=20).random_base2(_POWER)
    return points
