"""Several comparisons at once: tests and intervals that hold for all of them together.

With k estimates whose t statistics T are multivariate t with correlation R and ν degrees of
freedom, the adjusted p of an observed t is P(max |T| ≥ |t|), and the intervals are the estimates
plus or minus c standard errors with P(max |T| ≤ c) the level asked for. Tukey's is the special case
of all pairs of independent means of equal precision; where their precision differs it errs on the
safe side (Hayter 1984), while the multivariate t takes the correlations as they are.

References
----------
Tukey JW (1953). The problem of multiple comparisons. Princeton University.
Hayter AJ (1984). Annals of Statistics 12:61-75. https://doi.org/10.1214/aos/1176346392
Dunnett CW (1955). JASA 50:1096-1121. https://doi.org/10.1080/01621459.1955.10501294
Hothorn T, Bretz F, Westfall P (2008). Biometrical Journal 50:346-363.
https://doi.org/10.1002/bimj.200810425
"""

from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.optimize import brentq

Array = NDArray[np.float64]

_DIRECTIONS = 2**16
_MOST_DF = 1e5
Tail = Callable[[float, float], float]


def max_t_tail(correlation: Array) -> Tail:
    """Upper tail P(max |T| ≥ c) of a multivariate t as a function of c and its df.

    T = a'u r with u uniform on the sphere and r²/rank an F variable: given the direction u the tail
    is one of F, which is averaged over a fixed sample of directions.

    Parameters
    ----------
    correlation : array (k, k)
        Correlation of the estimates; it may be singular, as that of all pairs is.

    Examples
    --------
    >>> tail = max_t_tail(np.eye(1))
    >>> round(tail(2.086, 20.0), 4)  # two-sided t with 20 df
    0.05
    """
    values, vectors = np.linalg.eigh(correlation)
    kept = values > 1e-9 * values[-1]
    root = vectors[:, kept] * np.sqrt(values[kept])
    rank = int(kept.sum())
    directions = np.random.default_rng(1).standard_normal((_DIRECTIONS if rank > 1 else 1, rank))
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    longest = np.abs(directions @ root.T).max(axis=1)

    def tail(c: float, df: float) -> float:
        square = (c / longest) ** 2
        if df > _MOST_DF:
            return float(stats.chi2.sf(square, rank).mean())
        return float(stats.f.sf(square / rank, rank, df).mean())

    return tail


def tukey_tail(count: int) -> Tail:
    """Upper tail of the largest of all pairwise |t| between ``count`` means."""

    def tail(c: float, df: float) -> float:
        found = stats.studentized_range.sf(c * np.sqrt(2), count, min(df, _MOST_DF))
        return float(np.clip(found, 0, 1))

    return tail


def adjusted(tail: Tail, statistic: Array, df: Array) -> Array:
    """Adjusted p of each statistic with its own df; missing ones stay missing."""
    pairs = zip(np.abs(statistic), df, strict=True)
    return np.array([tail(t, v) if np.isfinite(t) and v > 0 else np.nan for t, v in pairs])


def critical(tail: Tail, df: Array, level: float) -> Array:
    """Standard errors to either side that cover all estimates together at ``level``."""
    found: dict[float, float] = {}
    for v in np.unique(df[np.isfinite(df) | (df == np.inf)]):
        low, high = 0.5, 4.0
        while tail(high, v) > 1 - level:
            low, high = high, 2 * high
        found[float(v)] = brentq(partial(_excess, tail, v, level), low, high, xtol=1e-6)
    return np.array([found.get(float(v), np.nan) for v in df])


def _excess(tail: Tail, df: float, level: float, c: float) -> float:
    return tail(c, df) - (1 - level)
