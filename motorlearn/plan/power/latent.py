"""From the mean that a reader reads to the mean of the normal scores that are drawn, and back.

A person's hit rate is ``expit(m + s z)`` with z standard normal: its mean over people is nearer to
one half than ``expit(m)``. A score cut at bounds has a mean that is drawn inwards. Plans declare
means as they are read; what is drawn is found from them.
"""

import functools
import math

import numpy as np
from scipy import optimize, special, stats

from motorlearn.exceptions import InputError

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(60)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_FAR = 60.0


def rate_moments(log_odds: float, spread: float) -> tuple[float, float]:
    """Mean and variance over people of a hit rate whose log odds are normal.

    Examples
    --------
    >>> [round(value, 4) for value in rate_moments(1.0, 0.0)]
    [0.7311, 0.0]
    """
    rates = special.expit(log_odds + spread * _NODES)
    mean = float(_WEIGHTS @ rates)
    return mean, max(float(_WEIGHTS @ rates**2) - mean**2, 0.0)


@functools.lru_cache(maxsize=4096)
def log_odds_of(rate: float, spread: float) -> float:
    """Mean of the log odds for which people's mean hit rate is as given.

    Examples
    --------
    >>> round(rate_moments(log_odds_of(0.3, 0.9), 0.9)[0], 9)
    0.3
    """
    if not 0 < rate < 1:
        raise InputError("a mean hit rate lies between 0 and 1", [rate], "take a smaller effect")
    return float(
        optimize.brentq(lambda m: rate_moments(m, spread)[0] - rate, -_FAR, _FAR, xtol=1e-12)
    )


def cut_mean(mean: float, sd: float, low: float, high: float) -> float:
    """Mean of a normal score that is cut at its bounds.

    Examples
    --------
    >>> round(cut_mean(0.0, 1.0, 0.0, float("inf")), 4)
    0.3989
    """
    total = mean
    if math.isfinite(low):
        total += _overshoot(low - mean, sd)
    if math.isfinite(high):
        total -= _overshoot(mean - high, sd)
    return total


def _overshoot(gap: float, sd: float) -> float:
    """Mean of the positive part of ``gap + sd z``."""
    z = gap / sd
    return float(gap * stats.norm.cdf(z) + sd * stats.norm.pdf(z))


@functools.lru_cache(maxsize=4096)
def uncut_mean(mean: float, sd: float, low: float, high: float) -> float:
    """Mean before cutting for which scores have a given mean after it."""
    if sd <= 0 or not (math.isfinite(low) or math.isfinite(high)):
        return mean
    if not low < mean < high:
        raise InputError(
            "a mean lies outside the bounds of the score", [mean], "take a smaller effect or gain"
        )
    reach = 40 * sd
    return float(
        optimize.brentq(
            lambda m: cut_mean(m, sd, low, high) - mean, mean - reach, mean + reach, xtol=1e-12
        )
    )
