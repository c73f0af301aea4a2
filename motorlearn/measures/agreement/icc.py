"""Intraclass correlation in its six forms.

Items are rows and raters are columns; every item is rated by every rater. Names follow McGraw and
Wong (1996): ``A`` is absolute agreement, ``C`` is consistency, ``1`` is the score of a single
rater and ``k`` the mean of k raters.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from motorlearn.exceptions import InputError


@dataclass(frozen=True)
class Form:
    """One way in which raters count: McGraw and Wong's names, then Shrout and Fleiss's."""

    kind: str
    single: str
    mean: str
    also: str
    mean_also: str


ONE_WAY: Final = Form("one-way", "ICC(1)", "ICC(k)", "ICC(1,1)", "ICC(1,k)")
AGREEMENT: Final = Form("agreement", "ICC(A,1)", "ICC(A,k)", "ICC(2,1)", "ICC(2,k)")
CONSISTENCY: Final = Form("consistency", "ICC(C,1)", "ICC(C,k)", "ICC(3,1)", "ICC(3,k)")
FORMS: Final = (ONE_WAY, AGREEMENT, CONSISTENCY)
"""The three forms; each of a single rater and of the mean of all."""


@dataclass(frozen=True)
class MeanSquares:
    """Mean squares of the items-by-raters table."""

    items: float
    raters: float
    error: float
    within: float
    n_items: int
    n_raters: int

    @property
    def df_error(self) -> int:
        """Degrees of freedom of the two-way error."""
        return (self.n_items - 1) * (self.n_raters - 1)


@dataclass(frozen=True)
class IntraclassCorrelation:
    """One form of the coefficient with its interval."""

    form: str
    estimate: float
    conf_low: float
    conf_high: float
    statistic: float
    df: tuple[float, float]
    p: float


def mean_squares(scores: ArrayLike) -> MeanSquares:
    """Give the mean squares of a complete items-by-raters table.

    Parameters
    ----------
    scores : array_like, shape (n_items, n_raters)
        Scores, none missing.

    Raises
    ------
    InputError
        If there are fewer than two items or raters, a value is missing, or all scores are equal.
    """
    table = np.asarray(scores, dtype=float)
    if table.ndim != 2 or min(table.shape) < 2:
        raise InputError(
            "an intraclass correlation needs at least two items rated by two raters",
            [table.shape],
            "collect more ratings",
        )
    if not np.isfinite(table).all():
        raise InputError(
            "the items-by-raters table has missing scores", remedy="keep items every rater scored"
        )
    if np.ptp(table) == 0:
        raise InputError("every score is the same, so items cannot be told apart", [table.flat[0]])
    n, k = table.shape
    grand = table.mean()
    items = k * np.sum((table.mean(axis=1) - grand) ** 2)
    raters = n * np.sum((table.mean(axis=0) - grand) ** 2)
    residual = table - table.mean(axis=1, keepdims=True) - table.mean(axis=0) + grand
    error = np.sum(residual**2)
    return MeanSquares(
        items=items / (n - 1),
        raters=raters / (k - 1),
        error=error / ((n - 1) * (k - 1)),
        within=(raters + error) / (n * (k - 1)),
        n_items=n,
        n_raters=k,
    )


def intraclass_correlations(
    scores: ArrayLike, *, level: float = 0.95
) -> tuple[IntraclassCorrelation, ...]:
    r"""Give all six intraclass correlations with F-based intervals.

    With mean squares of items R, raters C, two-way error E and within items W, n items and k
    raters, the single-rater forms are

    .. math::
        ICC(1) = \frac{R-W}{R+(k-1)W},\quad
        ICC(A,1) = \frac{R-E}{R+(k-1)E+k(C-E)/n},\quad
        ICC(C,1) = \frac{R-E}{R+(k-1)E}

    and the average forms follow by the Spearman-Brown formula.

    Parameters
    ----------
    scores : array_like, shape (n_items, n_raters)
        Complete scores in any unit.
    level : float
        Confidence level.

    Returns
    -------
    tuple of IntraclassCorrelation
        The forms of :data:`FORMS` of a single rater, then those of the mean of all.

    References
    ----------
    McGraw, K. O. and Wong, S. P. (1996). Psychological Methods, 1, 30-46.
    doi:10.1037/1082-989X.1.1.30. Shrout, P. E. and Fleiss, J. L. (1979). Psychological Bulletin,
    86, 420-428. doi:10.1037/0033-2909.86.2.420.

    Examples
    --------
    >>> ratings = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8],
    ...            [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
    >>> for icc in intraclass_correlations(ratings)[:3]:
    ...     print(icc.form, round(icc.estimate, 2))
    ICC(1) 0.17
    ICC(A,1) 0.29
    ICC(C,1) 0.71
    """
    squares = mean_squares(scores)
    singles = (_one_way(squares, level), _agreement(squares, level), _consistency(squares, level))
    means = (_averaged(single, form, squares.n_raters) for single, form in zip(singles, FORMS))
    return (*singles, *means)


def mean_of_raters(single: float, k: int) -> float:
    """Step the coefficient of a single rater up to the mean of k raters (Spearman-Brown).

    Examples
    --------
    >>> mean_of_raters(0.5, 3)
    0.75
    """
    return k * single / (1 + (k - 1) * single)


def _one_way(squares: MeanSquares, level: float) -> IntraclassCorrelation:
    df = (squares.n_items - 1, squares.n_items * (squares.n_raters - 1))
    return _from_ratio(ONE_WAY.single, squares.items, squares.within, df, squares.n_raters, level)


def _consistency(squares: MeanSquares, level: float) -> IntraclassCorrelation:
    df = (squares.n_items - 1, squares.df_error)
    return _from_ratio(
        CONSISTENCY.single, squares.items, squares.error, df, squares.n_raters, level
    )


def _from_ratio(
    form: str, between: float, within: float, df: tuple[int, int], k: int, level: float
) -> IntraclassCorrelation:
    if within == 0:
        return IntraclassCorrelation(form, 1.0, 1.0, 1.0, np.inf, df, 0.0)
    f = between / within
    tail = (1 - level) / 2
    bounds = f / stats.f.isf(tail, *df), f * stats.f.isf(tail, df[1], df[0])
    estimate, low, high = ((ratio - 1) / (ratio + k - 1) for ratio in (f, *bounds))
    return IntraclassCorrelation(form, estimate, low, high, f, df, float(stats.f.sf(f, *df)))


def _agreement(squares: MeanSquares, level: float) -> IntraclassCorrelation:
    n, k = squares.n_items, squares.n_raters
    R, C, E = squares.items, squares.raters, squares.error
    df = (n - 1, squares.df_error)
    estimate = (R - E) / (R + (k - 1) * E + k * (C - E) / n)
    f, p = (np.inf, 0.0) if E == 0 else (R / E, float(stats.f.sf(R / E, *df)))
    if estimate >= 1:
        return IntraclassCorrelation(AGREEMENT.single, 1.0, 1.0, 1.0, f, df, p)
    a = k * estimate / (n * (1 - estimate))
    b = 1 + k * estimate * (n - 1) / (n * (1 - estimate))
    v = (a * C + b * E) ** 2 / ((a * C) ** 2 / (k - 1) + (b * E) ** 2 / squares.df_error)
    tail = (1 - level) / 2
    lower, upper = stats.f.isf(tail, n - 1, v), stats.f.isf(tail, v, n - 1)
    noise = k * C + (k * n - k - n) * E
    low = n * (R - lower * E) / (lower * noise + n * R)
    high = n * (upper * R - E) / (noise + n * upper * R)
    return IntraclassCorrelation(AGREEMENT.single, estimate, low, high, f, df, p)


def _averaged(single: IntraclassCorrelation, form: Form, k: int) -> IntraclassCorrelation:
    return replace(
        single,
        form=form.mean,
        estimate=mean_of_raters(single.estimate, k),
        conf_low=mean_of_raters(single.conf_low, k),
        conf_high=mean_of_raters(single.conf_high, k),
    )
