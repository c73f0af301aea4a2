"""What every demonstration gives: its settings, its numbers, one conclusion, and the same in words.

A demonstration is a plain function: settings in, a frozen result out. ``drawings`` turns the result
into a picture, ``faces`` puts controls around both.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.results import Result


@dataclass(frozen=True)
class Demonstration(Result):
    """Base of every demonstration.

    Parameters
    ----------
    settings : mapping
        Every setting as it was used, the seed included.
    conclusion : str
        What these numbers show, in one sentence.
    text : str
        The picture in words, for a reader who cannot see it.
    """

    settings: Mapping[str, Any]
    conclusion: str
    text: str


def check_settings(
    given: Mapping[str, float], limits: Mapping[str, tuple[float, float]]
) -> dict[str, float]:
    """Refuse a setting outside its range, naming the range; give the settings back.

    Examples
    --------
    >>> check_settings({"days": 7}, {"days": (0, 60)})
    {'days': 7}
    """
    for name, (low, high) in limits.items():
        value = given[name]
        if not (np.isfinite(value) and low <= value <= high):
            raise InputError(
                f"the setting {name!r} is outside its range",
                [value],
                f"choose from {low} to {high}",
            )
    return dict(given)


def difference(
    first: np.ndarray, second: np.ndarray, *, level: float = 0.95
) -> tuple[float, float, float]:
    """Give the difference of two means with its Welch interval: estimate, lower, upper.

    Parameters
    ----------
    first, second : ndarray, shape (n,)
        One score per person.
    level : float
        Confidence level.

    References
    ----------
    Welch, B. L. (1947). The generalization of Student's problem when several different population
    variances are involved. *Biometrika*, 34, 28-35. https://doi.org/10.1093/biomet/34.1-2.28

    Examples
    --------
    >>> import numpy as np
    >>> estimate, low, high = difference(np.array([3.0, 4, 5]), np.array([1.0, 2, 3]))
    >>> round(estimate, 2), round(low, 2), round(high, 2)
    (2.0, -0.27, 4.27)
    """
    interval = stats.ttest_ind(first, second, equal_var=False).confidence_interval(level)
    return float(first.mean() - second.mean()), float(interval.low), float(interval.high)


def mean_interval(scores: np.ndarray, *, level: float = 0.95) -> tuple[float, float, float]:
    """Give the mean over people with its t interval: estimate, lower, upper."""
    n = len(scores)
    centre = float(scores.mean())
    half = float(stats.t.isf((1 - level) / 2, n - 1) * scores.std(ddof=1) / np.sqrt(n))
    return centre, centre - half, centre + half
