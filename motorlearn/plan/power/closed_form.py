"""Closed forms of power and sample size: a sanity check beside the simulation, never the plan."""

import math
from collections.abc import Callable

import numpy as np
from scipy import optimize, special, stats

from motorlearn.exceptions import InputError
from motorlearn.plan.arguments import share, whole_number

_MIDDLES = (np.arange(2000) + 0.5) / 2000


def t_power(n: float, effect: float, *, n_other: float | None = None, alpha: float = 0.05) -> float:
    """Power of the two-sided two-sample t test.

    With groups of n1 and n2, ``t`` is noncentral with ``delta = d sqrt(n1 n2 / (n1 + n2))`` on
    ``n1 + n2 - 2`` degrees of freedom.

    Parameters
    ----------
    n : float
        People in the first group.
    effect : float
        Difference in standard deviations.
    n_other : float, optional
        People in the second group; by default as many.
    alpha : float
        Two-sided level.

    Examples
    --------
    >>> round(t_power(64, 0.5), 4)
    0.8015
    """
    n, other = _people("n", n), _people("n_other", n if n_other is None else n_other)
    effect, alpha = share("effect", effect, -math.inf, math.inf), _probability("alpha", alpha)
    df = n + other - 2
    if df <= 0:
        raise InputError("a comparison of two groups needs more people", [n, other])
    delta = abs(effect) * math.sqrt(n * other / (n + other))
    critical = stats.t.isf(alpha / 2, df)
    return noncentral_power(df, delta, critical)


def noncentral_power(df: float, delta: float, critical: float) -> float:
    """Probability that a noncentral t lies outside plus or minus the critical value.

    Examples
    --------
    >>> round(noncentral_power(126, 0.5 * math.sqrt(32), 1.979), 3)
    0.801
    """
    # nctdtr stays finite where the upper tail of the library's distribution object does not.
    below = special.nctdtr(df, delta, critical) - special.nctdtr(df, delta, -critical)
    if math.isfinite(below):
        return float(1 - below)
    # Few degrees of freedom and a large delta: average over the chi of the denominator.
    scale = critical * np.sqrt(stats.chi2.ppf(_MIDDLES, df) / df)
    return float(np.mean(stats.norm.cdf(delta - scale) + stats.norm.cdf(-delta - scale)))


def _people(name: str, value: float) -> float:
    return share(name, value, 0.0, math.inf)


def _probability(name: str, value: float) -> float:
    if not 0 < share(name, value) < 1:
        raise InputError(f"{name} lies between 0 and 1", [value])
    return value


def participants_needed(
    effect: float, *, power: float = 0.8, alpha: float = 0.05, correlation: float = 0.0
) -> float:
    """People per group for a t test of two groups, not rounded.

    With a covariate that correlates `correlation` with the outcome, the number is multiplied by
    ``1 - r²``, which is the gain of an analysis of covariance.

    Examples
    --------
    >>> round(participants_needed(0.5), 2)
    63.77
    """
    if share("effect", effect, -math.inf, math.inf) == 0:
        raise InputError("no number of people can find an effect of zero", [effect])
    if not -1 < share("correlation", correlation, -1.0, 1.0) < 1:
        raise InputError("a correlation of 1 leaves nothing to compare", [correlation])
    if not _probability("alpha", alpha) < _probability("power", power) < 1:
        raise InputError("the wanted power lies between alpha and 1", [power])
    n = _where_reached(lambda n: t_power(n, effect, alpha=alpha), power, 1.5)
    return n * (1 - correlation**2)


def detectable_effect(n: float, *, power: float = 0.8, alpha: float = 0.05) -> float:
    """Smallest difference, in standard deviations, that a t test of n a group finds.

    Examples
    --------
    >>> round(detectable_effect(24), 2)
    0.83
    """
    power = _probability("power", power)
    return _where_reached(lambda d: t_power(n, d, alpha=alpha), power, 1e-3)


def _where_reached(curve: Callable[[float], float], power: float, low: float) -> float:
    """Find where a rising power curve reaches the wanted power, doubling until it is passed."""
    if curve(low) >= power:
        return low
    high = 2 * low
    while curve(high) < power:
        low, high = high, 2 * high
    return float(optimize.brentq(lambda x: curve(x) - power, low, high, xtol=1e-10))


def anova_power(n: float, groups: int, effect: float, *, alpha: float = 0.05) -> float:
    """Power of the one-way analysis of variance with n people in each group.

    The effect is Cohen's f; ``F`` is noncentral with ``lambda = f² n k``.

    Examples
    --------
    >>> round(anova_power(52, 3, 0.25), 2)
    0.8
    """
    n, groups = _people("n", n), whole_number("groups", groups, 2)
    effect, alpha = share("effect", effect, -math.inf, math.inf), _probability("alpha", alpha)
    df1, df2 = groups - 1, groups * (n - 1)
    if df2 <= 0:
        raise InputError("an analysis of variance needs more people", [n])
    critical = stats.f.isf(alpha, df1, df2)
    return float(stats.ncf.sf(critical, df1, df2, effect**2 * n * groups))


def score_variance(between: float, within: float, trials: int) -> float:
    """Variance of participants' means over trials, ``between² + within² / trials``.

    Parameters
    ----------
    between, within : float
        Standard deviations between people and between trials of one person.
    trials : int
        Trials per person.

    Examples
    --------
    >>> score_variance(3.0, 8.0, 16)
    13.0
    """
    between, within = (
        share(name, value, 0.0, math.inf)
        for name, value in (("between", between), ("within", within))
    )
    return between**2 + within**2 / whole_number("trials", trials)


def inflate_for_attrition(n: float, attrition: float) -> int:
    """People to enrol so that n are left, ``n / (1 - attrition)`` rounded up.

    Examples
    --------
    >>> inflate_for_attrition(24, 0.1)
    27
    """
    if not share("attrition", attrition) < 1:
        raise InputError("attrition is a share between 0 and 1", [attrition])
    return math.ceil(_people("n", n) / (1 - attrition) - 1e-9)
