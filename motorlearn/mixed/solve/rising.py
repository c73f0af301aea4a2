"""Logarithm of a rising factorial, log Γ(a + y) − log Γ(a), and its derivatives in a."""

import numpy as np
from numpy.typing import NDArray
from scipy.special import digamma, gammaln, polygamma

Array = NDArray[np.float64]

MOST_TERMS = 100
"""Largest count whose terms are added one by one, which is quicker and loses no digits."""
_TOGETHER = 8
"""Factors below 1e6 whose product is taken before its logarithm."""


def log_rising(a: Array, y: Array) -> tuple[Array, Array, Array, Array]:
    """Value and three derivatives in ``a`` of Σ log(a + j), j from 0 to y − 1.

    Parameters
    ----------
    a, y : array of one shape
        Positive numbers, and counts.

    Examples
    --------
    >>> value, slope, _, _ = log_rising(np.array([2.0]), np.array([3.0]))
    >>> float(np.exp(value[0]).round(9)), float(slope[0].round(9))  # 2 · 3 · 4 and 1/2 + 1/3 + 1/4
    (24.0, 1.083333333)
    """
    most = float(y.max(initial=0.0))
    if most > MOST_TERMS or (y != np.floor(y)).any():
        return _by_functions(a, y)
    value, product, slope = np.zeros(a.shape), np.ones(a.shape), np.zeros(a.shape)
    second, third = np.zeros(a.shape), np.zeros(a.shape)
    for j in range(int(most)):
        there = y > j
        factor = a + j
        product *= np.where(there, factor, 1.0)
        if j % _TOGETHER == _TOGETHER - 1:
            value, product = value + np.log(product), np.ones(a.shape)
        one = there / factor
        square = one * one
        slope += one
        second -= square
        third += square * one
    return value + np.log(product), slope, second, 2 * third


def _by_functions(a: Array, y: Array) -> tuple[Array, Array, Array, Array]:
    return (
        gammaln(a + y) - gammaln(a),
        digamma(a + y) - digamma(a),
        polygamma(1, a + y) - polygamma(1, a),
        polygamma(2, a + y) - polygamma(2, a),
    )
