"""Links: binomial log likelihood and its derivatives in the linear predictor, and inverses.

Each function takes the linear predictor, hits and attempts (arrays that broadcast) and gives
``(loglik, slope, weight, weight_slope)``: ℓ, dℓ/dη, −d²ℓ/dη² and −d³ℓ/dη³. The constant
log C(attempts, hits) is left out.
"""

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, log_ndtr, ndtr

Array = NDArray[np.float64]
Derivatives = tuple[Array, Array, Array, Array]

_LOG_ROOT_TWO_PI = 0.5 * np.log(2 * np.pi)


def logit(eta: Array, hits: Array, attempts: Array) -> Derivatives:
    """Logistic link, p = 1 / (1 + exp(−η))."""
    small = np.exp(-np.abs(eta))
    share = 1 / (1 + small)
    p = np.where(eta >= 0, share, small * share)
    weight = attempts * (small * share * share)
    loglik = hits * eta - attempts * (np.log1p(small) + np.maximum(eta, 0))
    return loglik, hits - attempts * p, weight, weight * (1 - 2 * p)


def probit(eta: Array, hits: Array, attempts: Array) -> Derivatives:
    """Probit link, p = Φ(η)."""
    misses = attempts - hits
    loglik = hits * log_ndtr(eta) + misses * log_ndtr(-eta)
    up, up_slope, up_curve = _inverse_mills(eta)
    down, down_slope, down_curve = _inverse_mills(-eta)
    return (
        loglik,
        hits * up - misses * down,
        hits * up_slope + misses * down_slope,
        hits * up_curve - misses * down_curve,
    )


def _inverse_mills(eta: Array) -> tuple[Array, Array, Array]:
    ratio = np.exp(-0.5 * eta * eta - _LOG_ROOT_TWO_PI - log_ndtr(eta))
    gap = ratio + eta
    slope = ratio * gap
    return ratio, slope, ratio * (1 - gap * gap - slope)


def cloglog(eta: Array, hits: Array, attempts: Array) -> Derivatives:
    """Complementary log-log link, p = 1 − exp(−exp(η))."""
    rate = np.exp(np.minimum(eta, 30.0))
    misses = attempts - hits
    loglik = hits * np.log(-np.expm1(-rate)) - misses * rate
    slope = rate * np.exp(-rate) / -np.expm1(-rate)
    bend = slope * (1 - rate - slope)
    third = bend * (1 - rate - slope) - slope * (rate + bend)
    return (
        loglik,
        hits * slope - misses * rate,
        misses * rate - hits * bend,
        misses * rate - (hits * third),
    )


LINKS: Final[dict[str, Callable[[Array, Array, Array], Derivatives]]] = {
    "logit": logit,
    "probit": probit,
    "cloglog": cloglog,
}

INVERSE_LINKS: Final[dict[str, Callable[[Array], Array]]] = {
    "identity": lambda eta: eta,
    "logit": expit,
    "probit": ndtr,
    "cloglog": lambda eta: -np.expm1(-np.exp(np.minimum(eta, 30.0))),
    "log": lambda eta: np.exp(np.minimum(eta, 50.0)),
}


def bends(link: str, eta: Array) -> tuple[Array, Array, Array]:
    """First three derivatives of a probability in the linear predictor."""
    if link == "logit":
        p = expit(eta)
        first = p * (1 - p)
        return first, first * (1 - 2 * p), first * (1 - 6 * first)
    if link == "probit":
        first = np.exp(-0.5 * eta * eta - _LOG_ROOT_TWO_PI)
        return first, -eta * first, (eta * eta - 1) * first
    rate = np.exp(np.minimum(eta, 30.0))
    first = rate * np.exp(-rate)
    return first, first * (1 - rate), first * ((1 - rate) ** 2 - rate)


def mean_slope(link: str, eta: Array) -> Array:
    """Slope of the mean in the linear predictor, dp/dη."""
    if link == "identity":
        return np.ones_like(eta)
    if link == "logit":
        p = expit(eta)
        found: Array = p * (1 - p)
        return found
    if link == "probit":
        found = np.exp(-0.5 * eta * eta - _LOG_ROOT_TWO_PI)
        return found
    rate = np.exp(np.minimum(eta, 50.0 if link == "log" else 30.0))
    return rate if link == "log" else rate * np.exp(-rate)
