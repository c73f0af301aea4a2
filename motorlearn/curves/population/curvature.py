r"""Exact second derivatives of the likelihood of Gaussian scores.

With :math:`K = Z' \Sigma^{-1} Z`, :math:`v = Z' \Sigma^{-1} e` and the log rate given, all second
derivatives by asymptote, amount, their covariance and the residual SD are products of ``K`` and
``v``; those by the log rate are differences of exact slopes. The integral over the log rate adds
the covariance of the slopes (Louis, 1982).

References
----------
Louis, T. A. (1982). Finding the observed information matrix when using the EM algorithm. Journal
of the Royal Statistical Society B, 44, 226-233. https://doi.org/10.1111/j.2517-6161.1982.tb01203.x
"""

import numpy as np

from motorlearn.curves.population.given import Given
from motorlearn.curves.population.layout import RATE

RATE_STEP = 1e-6
"""Step in the log rate of differences of slopes."""
SEVEN = 7
"""Asymptote, amount, log rate, their covariance (11, 12, 22) and the log residual SD."""
UPPER = np.triu_indices(SEVEN)
PLACE = np.zeros((SEVEN, SEVEN), int)
PLACE[UPPER] = PLACE[UPPER[::-1]] = np.arange(len(UPPER[0]))
LEVERS = 3
"""Of the seven, asymptote, amount and log rate stand once more at the end: times the node."""
OWN = np.array([*range(SEVEN), *range(LEVERS)])
PAIRS = PLACE[OWN[:, None], OWN]
POWERS = np.add.outer(np.arange(len(OWN)) >= SEVEN, np.arange(len(OWN)) >= SEVEN, dtype=int)


def slopes_given(given: Given, z: np.ndarray) -> np.ndarray:
    """Slopes by all ten at nodes ``z``, shape (10, learners, nodes)."""
    g11, g12, g22 = given.spread
    found = np.empty((len(OWN), *given.density.shape))
    for place, part in enumerate((*given.pull, given.turn, 0.5 * g11, g12, 0.5 * g22, given.sigma)):
        found[place] = part
    np.multiply(found[:LEVERS], z, out=found[SEVEN:])
    return found


def bends_given(given: Given, by_rate: np.ndarray) -> np.ndarray:
    """Second derivatives by all pairs, shape (28, learners, nodes), in the order of ``UPPER``.

    ``by_rate`` are derivatives of the seven slopes by the log rate.
    """
    (v1, v2), (b11, b12, b21, b22), s = given.pull, given.inverse, given.variance
    (m1, m2), sigma, (k11, k12, k22) = given.bend, given.sigma, given.kernel
    w1, w2 = b11 * v1 + b12 * v2, b21 * v1 + b22 * v2
    l11, l12, l22 = b11 * k11 + b12 * k12, b11 * k12 + b12 * k22, b21 * k12 + b22 * k22
    first, second = k11 * v2 + k12 * v1, k12 * v2 + k22 * v1
    trace = s * (b11 + b22)
    square = s * s * (b11 * b11 + b22 * b22 + 2 * b12 * b21)
    inner = s * (m1 * w1 + m2 * w2) - sigma - given.spare - trace
    parts = {
        (0, 0): -k11,
        (0, 1): -k12,
        (1, 1): -k22,
        (0, 3): -k11 * v1,
        (1, 3): -k12 * v1,
        (0, 4): -first,
        (1, 4): -second,
        (0, 5): -k12 * v2,
        (1, 5): -k22 * v2,
        (0, 6): -2 * s * w1,
        (1, 6): -2 * s * w2,
        (3, 3): k11 * (0.5 * k11 - v1 * v1),
        (3, 4): k11 * k12 - v1 * first,
        (3, 5): k12 * (0.5 * k12 - v1 * v2),
        (4, 4): k11 * k22 + k12 * k12 - v2 * first - v1 * second,
        (4, 5): k12 * k22 - v2 * second,
        (5, 5): k22 * (0.5 * k22 - v2 * v2),
        (3, 6): s * (l11 - 2 * w1 * v1),
        (4, 6): 2 * s * (l12 - w1 * v2 - w2 * v1),
        (5, 6): s * (l22 - 2 * w2 * v2),
        (6, 6): 2 * (sigma + given.spare + square) + 4 * inner,
    }
    found = np.empty((len(UPPER[0]), *given.density.shape))
    for (a, b), part in parts.items():
        found[PLACE[a, b]] = part
    found[PLACE[RATE]] = by_rate
    return found


def second_slopes(given: Given, ahead: Given, weight: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Second derivatives of each learner's log-likelihood by all ten, shape (learners, 10, 10).

    ``ahead`` is what is given at log rates ``RATE_STEP`` larger, ``weight`` what each node ``z``
    weighs (learners, nodes).
    """
    slopes = slopes_given(given, z)
    by_rate = (slopes_given(ahead, z)[:SEVEN] - slopes[:SEVEN]) / RATE_STEP
    bends = bends_given(given, by_rate)
    weighed = slopes * weight
    mean = weighed.sum(axis=2).T
    powers = np.stack([weight, weight * z, weight * z * z], axis=2)
    found: np.ndarray = (bends.transpose(1, 0, 2) @ powers)[:, PAIRS, POWERS]
    found += weighed.transpose(1, 0, 2) @ slopes.transpose(1, 2, 0)
    found -= mean[:, :, None] * mean[:, None, :]
    return found
