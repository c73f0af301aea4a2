"""Limits of agreement between two raters, drift over the order of clips, and re-rating."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.measures.hits import inside


@dataclass(frozen=True)
class Limits:
    """Bland and Altman's limits for the difference first minus second."""

    n: int
    bias: float
    bias_low: float = np.nan
    bias_high: float = np.nan
    sd: float = np.nan
    lower: float = np.nan
    lower_low: float = np.nan
    lower_high: float = np.nan
    upper: float = np.nan
    upper_low: float = np.nan
    upper_high: float = np.nan
    slope: float = np.nan
    slope_low: float = np.nan
    slope_high: float = np.nan
    slope_p: float = np.nan


@dataclass(frozen=True)
class Trend:
    """A straight line through scores over the order of clips."""

    n: int
    df: int
    slope: float = np.nan
    std_error: float = np.nan
    conf_low: float = np.nan
    conf_high: float = np.nan
    p: float = np.nan
    change: float = np.nan
    change_low: float = np.nan
    change_high: float = np.nan


def limits_of_agreement(
    first: ArrayLike, second: ArrayLike, *, clusters: ArrayLike | None = None, level: float = 0.95
) -> Limits:
    r"""Give bias, 95 % limits with their intervals and the proportional bias of two raters.

    Limits are :math:`\bar d \pm 1.96 s_d`; their intervals are exact for normal differences, from
    the non-central t distribution. With several items of one learner, :math:`s_d^2` is the
    variance between learners plus that within, the bias has the interval of learners' means, and
    the limits' intervals combine both sources (MOVER). The proportional bias is the slope of the
    difference on the mean, with several items of a learner that of the learners' means.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        Scores of the two raters for the same items; differences are first minus second.
    clusters : array_like, shape (n,), optional
        Learner of each item.
    level : float
        Confidence level of the intervals and coverage of the limits.

    References
    ----------
    Bland, J. M. and Altman, D. G. (1986). Lancet, 327, 307-310.
    doi:10.1016/S0140-6736(86)90837-8; (2007). Journal of Biopharmaceutical Statistics, 17,
    571-582. doi:10.1080/10543400701329422. Carkeet, A. (2015). Optometry and Vision Science, 92,
    e71-e80. doi:10.1097/OPX.0000000000000513. Zou, G. Y. (2013). Statistical Methods in Medical
    Research, 22, 630-642. doi:10.1177/0962280211402548.

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
    codes = None if clusters is None else np.unique(clusters, return_inverse=True)[1]
    if codes is None or codes.max() + 1 == n:
        spread = _independent(difference, inside(level))
        line = linear_trend(middle, difference, level=level)
    else:
        spread = _repeated(difference, codes, inside(level))
        size = np.bincount(codes)
        means = (np.bincount(codes, one) / size for one in (middle, difference))
        line = linear_trend(*means, level=level)
    return replace(
        spread,
        slope=line.slope,
        slope_low=line.conf_low,
        slope_high=line.conf_high,
        slope_p=line.p,
    )


def _independent(difference: np.ndarray, level: float) -> Limits:
    n = len(difference)
    bias, sd = difference.mean(), difference.std(ddof=1)
    tail, z = (1 - level) / 2, stats.norm.isf((1 - level) / 2)
    of_bias = stats.t.isf(tail, n - 1) * sd / np.sqrt(n)
    near, far = stats.nct.ppf([tail, 1 - tail], n - 1, z * np.sqrt(n)) * sd / np.sqrt(n)
    return Limits(
        n=n,
        bias=float(bias),
        bias_low=float(bias - of_bias),
        bias_high=float(bias + of_bias),
        sd=float(sd),
        lower=float(bias - z * sd),
        lower_low=float(bias - far),
        lower_high=float(bias - near),
        upper=float(bias + z * sd),
        upper_low=float(bias + near),
        upper_high=float(bias + far),
    )


def _repeated(difference: np.ndarray, codes: np.ndarray, level: float) -> Limits:
    """Limits with several items of one learner, their intervals by MOVER (Zou 2013)."""
    size = np.bincount(codes)
    groups, n = len(size), len(difference)
    if groups < 2:
        return Limits(n=n, bias=float(difference.mean()))
    means = np.bincount(codes, difference) / size
    bias, between = means.mean(), means.var(ddof=1)
    inner = np.sum((difference - means[codes]) ** 2) / (n - groups)
    part = (1 - np.mean(1 / size)) * inner
    tail, z = (1 - level) / 2, stats.norm.isf((1 - level) / 2)
    total, ends = between + part, []
    for side in (tail, 1 - tail):
        one = between * ((groups - 1) / stats.chi2.isf(side, groups - 1) - 1)
        two = part * ((n - groups) / stats.chi2.isf(side, n - groups) - 1)
        ends.append(total + np.sign(side - 0.5) * np.hypot(one, two))
    sd = np.sqrt(total)
    of_bias = stats.t.isf(tail, groups - 1) * np.sqrt(between / groups)
    near = np.hypot(of_bias, z * (sd - np.sqrt(max(ends[0], 0.0))))
    far = np.hypot(of_bias, z * (np.sqrt(ends[1]) - sd))
    lower, upper = bias - z * sd, bias + z * sd
    return Limits(
        n=n,
        bias=float(bias),
        bias_low=float(bias - of_bias),
        bias_high=float(bias + of_bias),
        sd=float(sd),
        lower=float(lower),
        lower_low=float(lower - far),
        lower_high=float(lower + near),
        upper=float(upper),
        upper_low=float(upper - near),
        upper_high=float(upper + far),
    )


def linear_trend(position: ArrayLike, value: ArrayLike, *, level: float = 0.95) -> Trend:
    """Give the least-squares slope of a value over its position, and the change over the range.

    A value that lies on a line without any scatter has no p.

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
        return Trend(n=n, df=df)
    slope = np.sum((x - x.mean()) * (y - y.mean())) / spread
    residual = y - y.mean() - slope * (x - x.mean())
    error = np.sqrt(np.sum(residual**2) / df / spread)
    reach = stats.t.isf((1 - inside(level)) / 2, df) * error
    p = 2 * stats.t.sf(abs(slope) / error, df) if error > 0 else np.nan
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
