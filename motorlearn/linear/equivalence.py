"""Two one-sided tests: is a difference smaller than a bound that was declared beforehand?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.linear.samples import one_sample, welch, welch_summary


@dataclass(frozen=True)
class Equivalence:
    """Verdict of two one-sided tests.

    Parameters
    ----------
    estimate, std_error, df : float
        The difference.
    bound_low, bound_high : float
        Bounds of what would be too small to matter.
    t_low, p_low : float
        Test that the difference is above the lower bound.
    t_high, p_high : float
        Test that the difference is below the upper bound.
    p : float
        The larger of the two: p of equivalence.
    conf_low, conf_high : float
        Interval of level ``1 - 2 alpha`` (90 % for alpha = .05).
    equivalent : bool
        Whether the interval lies inside the bounds.
    alpha : float
        Level of each one-sided test.
    """

    estimate: float
    std_error: float
    df: float
    bound_low: float
    bound_high: float
    t_low: float
    p_low: float
    t_high: float
    p_high: float
    p: float
    conf_low: float
    conf_high: float
    equivalent: bool
    alpha: float


def equivalence_test(
    estimate: float,
    std_error: float,
    df: float,
    *,
    bound: float | tuple[float, float],
    alpha: float = 0.05,
) -> Equivalence:
    """Two one-sided t tests of any estimate against bounds in its own unit.

    Serves means, adjusted means and contrasts of mixed models alike; for a standardised bound give
    it times the standard deviation it stands for.

    Parameters
    ----------
    estimate, std_error, df : float
        The difference; ``df`` may be infinite.
    bound : float or pair of float
        One number means minus to plus that number.
    alpha : float
        Level of each test.

    Raises
    ------
    InputError
        If the bounds do not enclose anything or the standard error is not positive.

    References
    ----------
    Schuirmann, D. J. (1987). Journal of Pharmacokinetics and Biopharmaceutics, 15, 657-680.
    https://doi.org/10.1007/BF01068419
    Lakens, D. (2017). Social Psychological and Personality Science, 8, 355-362.
    https://doi.org/10.1177/1948550617697177

    Examples
    --------
    >>> verdict = equivalence_test(0.2, 0.3, 40, bound=1.0)
    >>> verdict.equivalent, round(verdict.p, 4)
    (True, 0.0055)
    """
    low, high = bound if isinstance(bound, tuple) else (-bound, bound)
    if not (low < high and np.isfinite(low) and np.isfinite(high)):
        raise InputError(
            "the bounds of equivalence must enclose an interval and be finite",
            [low, high],
            "give the smallest effect that matters as a positive number",
        )
    if not 0 < alpha < 0.5:
        raise InputError("alpha of a one-sided test lies between 0 and .5", [alpha])
    if not (np.isfinite(estimate) and 0 < std_error < np.inf and df > 0):
        raise InputError(
            "an equivalence test needs an estimate with a positive, finite standard error",
            [estimate, std_error, df],
        )
    t_low, t_high = (estimate - low) / std_error, (estimate - high) / std_error
    p_low, p_high = float(stats.t.sf(t_low, df)), float(stats.t.cdf(t_high, df))
    reach = float(stats.t.isf(alpha, df)) * std_error
    return Equivalence(
        float(estimate),
        float(std_error),
        float(df),
        float(low),
        float(high),
        float(t_low),
        p_low,
        float(t_high),
        p_high,
        max(p_low, p_high),
        float(estimate - reach),
        float(estimate + reach),
        bool(estimate - reach > low and estimate + reach < high),
        alpha,
    )


def equivalence_of_means(
    first: ArrayLike,
    second: ArrayLike,
    *,
    bound: float | tuple[float, float],
    paired: bool = False,
    standardised: bool = False,
    alpha: float = 0.05,
) -> Equivalence:
    """Two one-sided tests of two samples: Welch, or of paired differences.

    ``standardised`` bounds are in units of the standard deviation: the root mean of the two
    variances for independent samples, the standard deviation of the differences for paired ones.
    ``compare_phases(..., equivalence_unit="sd")`` means another one, the standard deviation
    pooled within all groups at that phase; the two agree where groups are of one size. A bound
    declared in standard deviations should say which.

    Examples
    --------
    >>> verdict = equivalence_of_means([5.0, 6.0, 7.0], [5.1, 6.2, 6.9], bound=0.8, paired=True)
    >>> verdict.equivalent
    True
    """
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if paired and a.shape != b.shape:
        raise InputError("paired samples need the same length", [a.size, b.size])
    result = one_sample(a - b) if paired else welch(a, b)
    scale = 1.0
    if standardised:
        scale = (
            float(np.std(a - b, ddof=1))
            if paired
            else float(np.sqrt((np.var(a, ddof=1) + np.var(b, ddof=1)) / 2))
        )
    return equivalence_test(
        result.estimate, result.std_error, result.df, bound=_scaled(bound, scale), alpha=alpha
    )


def equivalence_from_summary(
    means: tuple[float, float],
    sds: tuple[float, float],
    sizes: tuple[int, int],
    *,
    bound: float | tuple[float, float],
    standardised: bool = False,
    alpha: float = 0.05,
) -> Equivalence:
    """Two one-sided Welch tests from means, standard deviations and sizes.

    ``standardised`` means what it means in :func:`equivalence_of_means` for independent samples.

    Examples
    --------
    >>> verdict = equivalence_from_summary(
    ...     (5.25, 5.22), (0.95, 0.83), (95, 89), bound=0.43, standardised=True
    ... )
    >>> round(verdict.t_high, 4), verdict.equivalent
    (-2.6928, True)
    """
    result = welch_summary(means, sds, sizes)
    scale = float(np.sqrt((sds[0] ** 2 + sds[1] ** 2) / 2)) if standardised else 1.0
    return equivalence_test(
        result.estimate, result.std_error, result.df, bound=_scaled(bound, scale), alpha=alpha
    )


def _scaled(bound: float | tuple[float, float], scale: float) -> float | tuple[float, float]:
    return (bound[0] * scale, bound[1] * scale) if isinstance(bound, tuple) else bound * scale
