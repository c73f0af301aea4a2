"""Means of one, two and several independent samples: t, Welch, and one-way analysis of variance."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from statsmodels.stats.oneway import anova_oneway

from motorlearn.exceptions import InputError
from motorlearn.linear.hypotheses import Estimate, FTest, f_test, t_estimate
from motorlearn.linear.least_squares import Floats


def one_sample(values: ArrayLike, *, level: float = 0.95) -> Estimate:
    """Mean of one sample (or of paired differences) with its t test against zero.

    Examples
    --------
    >>> round(one_sample([1.2, 2.4, 1.3, 1.3, 0.0, 1.0, 1.8, 0.8, 4.6, 1.4]).statistic, 4)
    4.0621
    """
    x = _finite(values)
    if x.size == 0:
        return t_estimate(float("nan"), float("nan"), 0.0, level=level)
    sd = np.std(x, ddof=1) if x.size > 1 else float("nan")
    return t_estimate(float(x.mean()), sd / np.sqrt(x.size), x.size - 1, level=level)


def welch(first: ArrayLike, second: ArrayLike, *, level: float = 0.95) -> Estimate:
    """Difference of two means, first minus second, variances not assumed equal (Welch).

    References
    ----------
    Welch, B. L. (1947). Biometrika, 34, 28-35. https://doi.org/10.1093/biomet/34.1-2.28

    Examples
    --------
    >>> result = welch([1.0, 2.0, 3.0, 4.0], [2.0, 4.0, 6.0])
    >>> round(result.statistic, 4), round(result.df, 4)
    (-1.1339, 3.2347)
    """
    a, b = _finite(first), _finite(second)
    return welch_summary((_mean(a), _mean(b)), (_sd(a), _sd(b)), (a.size, b.size), level=level)


def welch_summary(
    means: tuple[float, float],
    sds: tuple[float, float],
    sizes: tuple[int, int],
    *,
    level: float = 0.95,
) -> Estimate:
    """Welch's difference of two means from means, standard deviations and sizes.

    Examples
    --------
    >>> round(welch_summary((5.25, 5.22), (0.95, 0.83), (95, 89)).df, 4)
    181.1344
    """
    parts = [sd**2 / n if n > 1 else float("nan") for sd, n in zip(sds, sizes)]
    spread = sum(parts)
    df = float("nan")
    if spread > 0:
        df = 1 / sum((part / spread) ** 2 / (n - 1) for part, n in zip(parts, sizes))
    return t_estimate(means[0] - means[1], float(np.sqrt(spread)), df, level=level)


def one_way(groups: Sequence[ArrayLike]) -> FTest:
    """One-way analysis of variance of independent groups, equal variances assumed.

    Values are centred at the grand mean first and each mean is summed exactly, so that large
    constant offsets do not eat the digits.

    Examples
    --------
    >>> round(one_way([[1, 2, 3], [2, 4, 6], [5, 7, 9]]).statistic, 4)
    6.3333
    """
    samples = [_finite(values) for values in groups]
    if len(samples) < 2 or min(x.size for x in samples) < 1:
        raise InputError("a one-way analysis needs two groups with values", [len(samples)])
    # Differences from one observation are exact or nearly so; a decimal offset common to all
    # values then drops out to the last digit that the numbers carry.
    origin = samples[0][0]
    samples = [x - origin for x in samples]
    n = sum(x.size for x in samples)
    grand = _exact_sum(np.concatenate(samples)) / n
    means = [_exact_sum(x) / x.size for x in samples]
    between = _exact_sum([x.size * (m - grand) ** 2 for x, m in zip(samples, means)])
    within = _exact_sum(np.concatenate([(x - m) ** 2 for x, m in zip(samples, means)]))
    return f_test(between, len(samples) - 1, within, n - len(samples))


def welch_one_way(groups: Sequence[ArrayLike]) -> FTest:
    """Welch's analysis of several means, variances not assumed equal.

    ``sum_sq`` and ``partial_eta2`` have no meaning here and are NaN.

    References
    ----------
    Welch, B. L. (1951). Biometrika, 38, 330-336. https://doi.org/10.1093/biomet/38.3-4.330

    Examples
    --------
    >>> result = welch_one_way([[1.0, 2.0, 3.0, 4.0], [2.0, 4.0, 6.0]])
    >>> round(result.statistic, 4), round(result.df2, 4)
    (1.2857, 3.2347)
    """
    samples = [_finite(values) for values in groups]
    nan, k = float("nan"), len(samples)
    n = np.array([x.size for x in samples], dtype=float)
    if k < 2 or n.min() < 2:
        return FTest(nan, nan, k - 1, nan, nan, nan, nan)
    spread = np.array([np.var(x, ddof=1) for x in samples])
    if not (spread > 0).all():
        return FTest(nan, nan, k - 1, nan, nan, nan, nan)
    found = anova_oneway(samples, use_var="unequal", welch_correction=True)
    f, p = float(found.statistic), float(found.pvalue)
    return FTest(nan, nan, k - 1, float(found.df_denom), f, p, nan)


def _exact_sum(values: ArrayLike) -> float:
    return math.fsum(np.asarray(values, dtype=float).tolist())


def _finite(values: ArrayLike) -> Floats:
    x = np.asarray(values, dtype=float).ravel()
    if not np.isfinite(x).all():
        raise InputError("a sample holds missing or infinite values", remedy="leave them out first")
    return x


def _mean(x: Floats) -> float:
    return float(x.mean()) if x.size else float("nan")


def _sd(x: Floats) -> float:
    return float(np.std(x, ddof=1)) if x.size > 1 else float("nan")
