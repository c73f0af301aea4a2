"""How precise a score is: standard error of measurement, detectable change, design effect."""

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.measures.aim import Floats


def standard_error_of_measurement(sd: ArrayLike, reliability: ArrayLike) -> Floats:
    """Standard error of measurement ``SEM = SD · sqrt(1 - ICC)``, in the unit of the score.

    Examples
    --------
    >>> float(standard_error_of_measurement(5.0, 0.64))
    3.0
    """
    r = np.asarray(reliability, dtype=float)
    if (r > 1).any():
        raise InputError("a reliability cannot exceed 1", r[r > 1].ravel())
    return np.asarray(sd, dtype=float) * np.sqrt(1 - r)


def binomial_sem(rate: ArrayLike, attempts: ArrayLike) -> Floats:
    """Standard error of a hit count by chance alone, ``sqrt(n p (1 - p))`` hits.

    Examples
    --------
    >>> round(float(binomial_sem(0.6, 20)), 2)
    2.19
    """
    p = np.asarray(rate, dtype=float)
    if ((p < 0) | (p > 1)).any():
        raise InputError("a hit rate lies between 0 and 1", p[(p < 0) | (p > 1)].ravel())
    return np.sqrt(np.asarray(attempts, dtype=float) * p * (1 - p))


def smallest_detectable_change(sem: ArrayLike, *, level: float = 0.95) -> Floats:
    """Change of one person that measurement error alone seldom makes, ``z · sqrt(2) · SEM``.

    Examples
    --------
    >>> round(float(smallest_detectable_change(binomial_sem(0.6, 20))), 2)
    6.07
    """
    return stats.norm.isf((1 - level) / 2) * np.sqrt(2) * np.asarray(sem, dtype=float)


def design_effect(size: float, icc: float) -> float:
    """Inflation of the variance of a mean by clusters, ``1 + (k - 1) ICC``.

    Examples
    --------
    >>> round(design_effect(20, 0.05), 2)
    1.95
    """
    return 1 + (size - 1) * icc
