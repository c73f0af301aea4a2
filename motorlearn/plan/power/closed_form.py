"""Closed forms of power and sample size: a sanity check beside the simulation, never the plan."""

import math
from collections.abc import Callable

from scipy import optimize, special, stats

from motorlearn.exceptions import InputError


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
    other = n if n_other is None else n_other
    df = n + other - 2
    if df <= 0:
        raise InputError("a comparison of two groups needs more people", [n, other])
    delta = abs(effect) * math.sqrt(n * other / (n + other))
    critical = stats.t.isf(alpha / 2, df)
    # nctdtr stays finite where the upper tail of the library's distribution object does not.
    below = special.nctdtr(df, delta, critical) - special.nctdtr(df, delta, -critical)
    return float(1 - below)


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
    if effect == 0:
        raise InputError("no number of people can find an effect of zero", [effect])
    if not alpha < power < 1:
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
    df1, df2 = groups - 1, groups * (n - 1)
    critical = stats.f.isf(alpha, df1, df2)
    return float(stats.ncf.sf(critical, df1, df2, effect**2 * n * groups))


def score_variance(between: float, within: float, trials: float) -> float:
    """Variance of participants' means over trials, ``between² + within² / trials``.

    Parameters
    ----------
    between, within : float
        Standard deviations between people and between trials of one person.
    trials : float
        Trials per person.

    Examples
    --------
    >>> score_variance(3.0, 8.0, 16)
    13.0
    """
    return between**2 + within**2 / trials


def inflate_for_attrition(n: float, attrition: float) -> int:
    """People to enrol so that n are left, ``n / (1 - attrition)`` rounded up.

    Examples
    --------
    >>> inflate_for_attrition(24, 0.1)
    27
    """
    if not 0 <= attrition < 1:
        raise InputError("attrition is a share between 0 and 1", [attrition])
    return math.ceil(n / (1 - attrition) - 1e-9)
