"""Limits of agreement between two raters, drift over the order of clips, and re-rating."""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from motorlearn.exceptions import InputError


@dataclass(frozen=True)
class Limits:
    """Bland and Altman's limits for the difference first minus second."""

    n: int
    bias: float
    bias_low: float
    bias_high: float
    sd: float
    lower: float
    lower_low: float
    lower_high: float
    upper: float
    upper_low: float
    upper_high: float
    slope: float
    slope_low: float
    slope_high: float
    slope_p: float


@dataclass(frozen=True)
class Trend:
    """A straight line through scores over the order of clips."""

    n: int
    slope: float
    std_error: float
    conf_low: float
    conf_high: float
    df: int
    p: float
    change: float
    change_low: float
    change_high: float


def limits_of_agreement(first, second, *, level: float = 0.95) -> Limits:
    r"""Give bias, 95 % limits with their intervals and the proportional bias of two raters.

    Limits are :math:`\bar d \pm 1.96 s_d` and their variance is
    :math:`s_d^2(1/n + 1.96^2/(2(n-1)))`; the proportional bias is the slope of the difference on
    the mean.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        Scores of the two raters for the same items; differences are first minus second.
    level : float
        Confidence level of the intervals and coverage of the limits.

    References
    ----------
    Bland, J. M. and Altman, D. G. (1986). Lancet, 327, 307-310.
    doi:10.1016/S0140-6736(86)90837-8; (1999). Statistical Methods in Medical Research, 8,
    135-160. doi:10.1177/096228029900800204.

    Examples
    --------
    >>> found = limits_of_agreement([5, 7, 6, 8], [4, 7, 7, 6])
    >>> round(found.bias, 2), round(found.lower, 2), round(found.upper, 2)
    (0.5, -2.03, 3.03)
    """
    first, second = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    n = len(first)
    if n < 3 or len(second) != n:
        raise InputError(
            "limits of agreement need at least three items scored by both raters", [n, len(second)]
        )
    difference, middle = first - second, (first + second) / 2
    bias, sd = difference.mean(), difference.std(ddof=1)
    reach, z = stats.t.isf((1 - level) / 2, n - 1), stats.norm.isf((1 - level) / 2)
    of_bias = reach * sd / np.sqrt(n)
    of_limit = reach * sd * np.sqrt(1 / n + z**2 / (2 * (n - 1)))
    lower, upper = bias - z * sd, bias + z * sd
    line = linear_trend(middle, difference, level=level)
    numbers = (
        bias, bias - of_bias, bias + of_bias, sd,
        lower, lower - of_limit, lower + of_limit,
        upper, upper - of_limit, upper + of_limit,
        line.slope, line.conf_low, line.conf_high, line.p,
    )  # fmt: skip
    return Limits(n, *(float(value) for value in numbers))


def linear_trend(position, value, *, level: float = 0.95) -> Trend:
    """Give the least-squares slope of a value over its position, and the change over the range.

    Parameters
    ----------
    position : array_like, shape (n,)
        Order of the clip, or any other position.
    value : array_like, shape (n,)
        Score, or difference from the other raters.

    Examples
    --------
    >>> round(linear_trend([1, 2, 3, 4], [0.0, 0.1, 0.1, 0.3]).slope, 2)
    0.09
    """
    x, y = np.asarray(position, dtype=float), np.asarray(value, dtype=float)
    n, df = len(x), len(x) - 2
    spread = np.sum((x - x.mean()) ** 2)
    if df < 1 or spread == 0:
        nan = float("nan")
        return Trend(n, nan, nan, nan, nan, df, nan, nan, nan, nan)
    slope = np.sum((x - x.mean()) * (y - y.mean())) / spread
    residual = y - y.mean() - slope * (x - x.mean())
    error = np.sqrt(np.sum(residual**2) / df / spread)
    reach = stats.t.isf((1 - level) / 2, df) * error
    p = 2 * stats.t.sf(abs(slope) / error, df) if error > 0 else float(slope == 0)
    low, high, whole = slope - reach, slope + reach, np.ptp(x)
    return Trend(
        n=n,
        slope=float(slope),
        std_error=float(error),
        conf_low=float(low),
        conf_high=float(high),
        df=df,
        p=float(p),
        change=float(slope * whole),
        change_low=float(low * whole),
        change_high=float(high * whole),
    )
