"""How precise a score is: standard error of measurement, detectable change, design effect."""

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.measures.aim import Floats
from motorlearn.measures.hits import inside


def standard_error_of_measurement(sd: ArrayLike, reliability: ArrayLike) -> Floats:
    """Standard error of measurement ``SEM = SD · sqrt(1 - ICC)``, in the unit of the score.

    Examples
    --------
    >>> float(standard_error_of_measurement(5.0, 0.64))
    3.0
    """
    r, spread = np.asarray(reliability, dtype=float), np.asarray(sd, dtype=float)
    if (r > 1).any():
        raise InputError("a reliability cannot exceed 1", r[r > 1].ravel())
    if (r < -1).any():
        raise InputError("a reliability cannot lie below -1", r[r < -1].ravel())
    if (spread < 0).any():
        raise InputError("a standard deviation cannot be negative", spread[spread < 0].ravel())
    sem: Floats = spread * np.sqrt(1 - r)
    return sem


def binomial_sem(rate: ArrayLike, attempts: ArrayLike) -> Floats:
    """Standard error of a hit count by chance alone, ``sqrt(n p (1 - p))`` hits.

    Raises
    ------
    InputError
        If a rate is not between 0 and 1, or there is less than one attempt.

    Examples
    --------
    >>> round(float(binomial_sem(0.6, 20)), 2)
    2.19
    """
    p = np.asarray(rate, dtype=float)
    if ((p < 0) | (p > 1)).any():
        raise InputError("a hit rate lies between 0 and 1", p[(p < 0) | (p > 1)].ravel())
    n = np.asarray(attempts, dtype=float)
    if (n < 1).any():
        raise InputError("a hit count needs at least one attempt", n[n < 1].ravel())
    sem: Floats = np.sqrt(n * p * (1 - p))
    return sem


def smallest_detectable_change(sem: ArrayLike, *, level: float = 0.95) -> Floats:
    """Change of one person that measurement error alone seldom makes, ``z · sqrt(2) · SEM``.

    Examples
    --------
    >>> round(float(smallest_detectable_change(binomial_sem(0.6, 20))), 2)
    6.07
    """
    error = np.asarray(sem, dtype=float)
    if (error < 0).any():
        raise InputError("a standard error cannot be negative", error[error < 0].ravel())
    change: Floats = stats.norm.isf((1 - inside(level)) / 2) * np.sqrt(2) * error
    return change


def design_effect(size: float, icc: float) -> float:
    """Inflation of the variance of a mean by clusters, ``1 + (k - 1) ICC``.

    Raises
    ------
    InputError
        If the ICC is beyond -1 or 1, or a cluster has no member.

    Examples
    --------
    >>> round(design_effect(20, 0.05), 2)
    1.95
    """
    if not size >= 1:
        raise InputError("a cluster has at least one member", [size])
    if not -1 <= icc <= 1:
        raise InputError("an intraclass correlation lies between -1 and 1", [icc])
    return 1 + (size - 1) * icc


def detectable_change_interval(
    sem: ArrayLike, df: ArrayLike, *, level: float = 0.95
) -> tuple[Floats, Floats]:
    r"""Interval of the smallest detectable change, from the degrees of freedom of its SEM.

    :math:`z\sqrt2\,SEM\sqrt{df/\chi^2_{df}}` at both tails; exact where differences are normal.

    Parameters
    ----------
    sem : array_like
        Standard error of measurement, for example the SD of retest differences over √2.
    df : array_like
        Its degrees of freedom: number of retested people less one, or those of the mean square.
    level : float
        Level of the change and of its interval.

    Returns
    -------
    tuple of ndarray
        Lower and upper limit, in the unit of the score; NaN where ``df`` is below 1.

    Examples
    --------
    >>> low, high = detectable_change_interval(2.0, 19)
    >>> round(float(low), 2), round(float(high), 2)
    (4.22, 8.1)
    """
    freedom = np.asarray(df, dtype=float)
    freedom = np.where(freedom >= 1, freedom, np.nan)
    change = smallest_detectable_change(sem, level=level)
    tail = (1 - inside(level)) / 2
    low = change * np.sqrt(freedom / stats.chi2.isf(tail, freedom))
    high = change * np.sqrt(freedom / stats.chi2.ppf(tail, freedom))
    return low[()], high[()]
