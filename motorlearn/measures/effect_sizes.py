"""Standardised effects: Hedges g of two groups, of paired scores, and of adjusted differences."""

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special, stats

from motorlearn.exceptions import InputError


@dataclass(frozen=True)
class StandardisedEffect:
    """A standardised mean difference.

    Parameters
    ----------
    d : float
        Difference in units of the standard deviation (Cohen's d).
    g : float
        ``J · d``, corrected for the bias of small samples.
    std_error : float
        Standard error of g, large-sample formula.
    conf_low, conf_high : float
        Limits of the interval of g.
    df : float
        Degrees of freedom of the standard deviation.
    """

    d: float
    g: float
    std_error: float
    conf_low: float
    conf_high: float
    df: float


NO_EFFECT = StandardisedEffect(*(float("nan"),) * 6)
"""Stands where an effect cannot be standardised."""


def small_sample_factor(df: float) -> float:
    """Exact factor ``J = Γ(df/2) / (sqrt(df/2) Γ((df - 1)/2))`` that makes g unbiased.

    The usual approximation is ``1 - 3 / (4 df - 1)``.

    References
    ----------
    Hedges, L. V. (1981). Journal of Educational Statistics, 6, 107-128.
    https://doi.org/10.3102/10769986006002107

    Examples
    --------
    >>> round(small_sample_factor(98), 9)
    0.992324087
    """
    if not df > 1:
        return float("nan")
    return float(np.exp(special.gammaln(df / 2) - special.gammaln((df - 1) / 2)) / np.sqrt(df / 2))


def hedges_g(
    means: tuple[float, float],
    sds: tuple[float, float],
    sizes: tuple[int, int],
    *,
    level: float = 0.95,
) -> StandardisedEffect:
    """Hedges g of two independent groups, first minus second, in pooled standard deviations.

    ``d = (m1 - m2) / s``, ``s² = ((n1-1) s1² + (n2-1) s2²) / (n1+n2-2)``, ``g = J d`` with the
    exact J. The interval inverts the noncentral t distribution of d and multiplies by J; it assumes
    equal variances. The standard error is ``J sqrt((n1+n2)/(n1 n2) + d²/(2 (n1+n2)))``.

    Parameters
    ----------
    means, sds : pair of float
        Mean and standard deviation (divisor n - 1) of each group.
    sizes : pair of int
        Participants in each group.
    level : float
        Level of the interval.

    Returns
    -------
    StandardisedEffect
        NaN throughout where there is no spread or fewer than three participants.

    References
    ----------
    Borenstein, M., Hedges, L. V., Higgins, J. P. T., & Rothstein, H. R. (2009). Introduction to
    Meta-Analysis, chapter 4. https://doi.org/10.1002/9780470743386

    Examples
    --------
    >>> effect = hedges_g((103, 100), (5.5, 4.5), (50, 50))
    >>> round(effect.d, 4), round(effect.g, 4), round(effect.std_error, 4)
    (0.597, 0.5924, 0.2028)
    """
    (n1, n2), df = sizes, sum(sizes) - 2
    if min(sizes) < 1 or df < 1:
        return NO_EFFECT
    _refuse_negative(*sds)
    parts = [(n - 1) * s**2 for n, s in zip(sizes, sds) if n > 1]
    pooled = np.sqrt(sum(parts) / df)
    if not pooled > 0:
        return NO_EFFECT
    d = float((means[0] - means[1]) / pooled)
    scale = float(np.sqrt((n1 + n2) / (n1 * n2)))
    factor = small_sample_factor(df)
    low, high = noncentrality_interval(d / scale, df, level=level)
    error = factor * float(np.sqrt(scale**2 + d**2 / (2 * (n1 + n2))))
    return StandardisedEffect(d, factor * d, error, factor * scale * low, factor * scale * high, df)


def paired_g(
    first: tuple[float, float],
    second: tuple[float, float],
    correlation: float,
    n: int,
    *,
    level: float = 0.95,
) -> StandardisedEffect:
    """Hedges g of a change, second minus first, in standard deviations between persons.

    ``d = (m2 - m1) / s`` with ``s = s_change / sqrt(2 (1 - r))``, variance
    ``(1/n + d²/(2n)) · 2 (1 - r)``, J with n - 1 degrees of freedom, normal interval.

    Parameters
    ----------
    first, second : pair of float
        Mean and standard deviation of each occasion.
    correlation : float
        Correlation of the two occasions.
    n : int
        Participants with both.

    References
    ----------
    Borenstein et al. (2009), chapter 4. https://doi.org/10.1002/9780470743386

    Examples
    --------
    >>> effect = paired_g((100, 7.1005), (103, 7.1005), 0.7, 50)
    >>> round(effect.d, 4), round(effect.g, 4), round(effect.std_error, 4)
    (0.4225, 0.416, 0.1126)
    """
    if abs(correlation) > 1 + 1e-9:
        raise InputError("a correlation lies between -1 and 1", [correlation])
    _refuse_negative(first[1], second[1])
    if n < 3 or not correlation < 1:
        return NO_EFFECT
    change = np.sqrt(first[1] ** 2 + second[1] ** 2 - 2 * correlation * first[1] * second[1])
    unit = change / np.sqrt(2 * (1 - correlation))
    if not unit > 0:
        return NO_EFFECT
    d = float((second[0] - first[0]) / unit)
    factor = small_sample_factor(n - 1)
    error = factor * float(np.sqrt((1 / n + d**2 / (2 * n)) * 2 * (1 - correlation)))
    return _with_normal_interval(d, factor, error, n - 1, level)


def adjusted_g(
    estimate: float, std_error: float, sd: float, df: float, *, level: float = 0.95
) -> StandardisedEffect:
    """Hedges g of an adjusted difference, in standard deviations of the unadjusted scores.

    ``d = estimate / s`` with s the pooled standard deviation within groups, so that g is comparable
    with studies that did not adjust; its variance is ``(SE/s)² + d²/(2 df)``, normal interval.

    References
    ----------
    Borenstein et al. (2009), chapter 4, analyses of covariance.
    https://doi.org/10.1002/9780470743386

    Examples
    --------
    >>> effect = adjusted_g(3.0, 0.7036, 5.5, 97)
    >>> round(effect.d, 4), round(effect.g, 4)
    (0.5455, 0.5412)
    """
    if not (sd > 0 and df > 1):
        return NO_EFFECT
    d = estimate / sd
    factor = small_sample_factor(df)
    error = factor * float(np.sqrt((std_error / sd) ** 2 + d**2 / (2 * df)))
    return _with_normal_interval(d, factor, error, df, level)


def d_from_log_odds(log_odds_ratio: float) -> float:
    """Standardised difference that a log odds ratio stands for, ``ln(OR) · sqrt(3) / π``.

    References
    ----------
    Chinn, S. (2000). Statistics in Medicine, 19, 3127-3131.
    https://doi.org/10.1002/1097-0258(20001130)19:22<3127::AID-SIM784>3.0.CO;2-M

    Examples
    --------
    >>> round(d_from_log_odds(np.log(2)), 4)
    0.3822
    """
    return float(log_odds_ratio * np.sqrt(3) / np.pi)


def noncentrality_interval(t: float, df: float, *, level: float = 0.95) -> tuple[float, float]:
    """Noncentrality parameters under which ``t`` lies in the upper and in the lower tail.

    Raises
    ------
    InputError
        If ``level`` is not between 0 and 1.

    Examples
    --------
    >>> [round(value, 3) for value in noncentrality_interval(2.0, 20)]
    [-0.077, 4.032]
    """
    if not 0 < level < 1:
        raise InputError("a confidence level lies between 0 and 1", [level], "use for example 0.95")
    if not np.isfinite(t):
        return float("nan"), float("nan")
    tail = (1 - level) / 2
    # The tails are monotone in the noncentrality; far enough out they are 0 and 1.
    reach = 8 + 0.8 * abs(t) + abs(t) / np.sqrt(df)
    low = optimize.brentq(
        lambda nc: _upper_tail(t, df, nc) - tail, t - reach, t + 1e-9 + reach, xtol=1e-11
    )
    high = optimize.brentq(
        lambda nc: _upper_tail(-t, df, -nc) - tail, t - reach, t + reach, xtol=1e-11
    )
    return float(low), float(high)


def _upper_tail(t: float, df: float, noncentrality: float) -> float:
    tail = float(special.nctdtr(df, noncentrality, t))
    return 1.0 - tail if np.isfinite(tail) else float(noncentrality > t)


def _with_normal_interval(
    d: float, factor: float, error: float, df: float, level: float
) -> StandardisedEffect:
    reach = float(stats.norm.isf((1 - level) / 2)) * error
    return StandardisedEffect(d, factor * d, error, factor * d - reach, factor * d + reach, df)


def _refuse_negative(*sds: float) -> None:
    wrong = [sd for sd in sds if sd < 0]
    if wrong:
        raise InputError("a standard deviation cannot be negative", wrong)
