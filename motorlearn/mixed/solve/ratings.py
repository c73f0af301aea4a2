"""Ratings as the engine sees them: log likelihood of each row and its derivatives."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, log_expit, log_ndtr, ndtri

from motorlearn.mixed.solve.likelihoods import Extras
from motorlearn.mixed.solve.links import Derivatives

Array = NDArray[np.float64]


def starting_thresholds(y: Array, weight: Array, categories: int, link: str) -> Array:
    """Thresholds (R, categories − 1) that give the shares of all rows."""
    total = np.array([np.sum(weight * (y == k), axis=1) for k in range(categories)]).T + 0.5
    below = np.cumsum(total, axis=1)[:, :-1] / total.sum(axis=1, keepdims=True)
    found: Array = ndtri(below) if link == "probit" else np.log(below / (1 - below))
    return found


@dataclass(frozen=True)
class Ordinal:
    """Ratings 0 … K − 1: P(rating ≤ k) = F(t_k − η), F logistic or normal.

    t_0 = 0, so that the intercept of η stands for it, and κ are the logarithms of the further
    steps t_k − t_{k−1}.
    """

    link: str
    categories: int

    @property
    def n_extra(self) -> int:
        """Steps between thresholds."""
        return self.categories - 2

    def thresholds(self, extra: Array) -> Array:
        """t of shape (R, K + 1), from −∞ to ∞."""
        edge = np.full((len(extra), 1), np.inf)
        inner = np.cumsum(np.exp(extra), axis=1)
        return np.concatenate([-edge, np.zeros_like(edge), inner, edge], axis=1)

    def _bounds(self, eta: Array, y: Array, extra: Array) -> tuple[Array, Array]:
        t, which = self.thresholds(extra), y.astype(np.intp)
        lines = np.arange(len(t))[:, None]
        return t[lines, which] - eta, t[lines, which + 1] - eta

    def rows(self, eta: Array, y: Array, weight: Array, extra: Array) -> Derivatives:
        """Log likelihood and derivatives."""
        low, high = self._bounds(eta, y, extra)
        if self.link == "probit":
            _, log_p, q1, p2, p3 = _normal_pieces(low, high)
            bent = q1 * q1 - p2
            third = p3 - 3 * p2 * q1 + 2 * q1**3
            return weight * log_p, -weight * q1, weight * bent, weight * third
        with np.errstate(invalid="ignore", divide="ignore"):
            loglik = log_expit(high) + log_expit(-low) + np.log(-np.expm1(low - high))
        at_low, at_high = expit(low), expit(high)
        low_slope, high_slope = at_low * (1 - at_low), at_high * (1 - at_high)
        bend = low_slope * (1 - 2 * at_low) + high_slope * (1 - 2 * at_high)
        slope = at_low + at_high - 1
        return weight * loglik, weight * slope, weight * (low_slope + high_slope), -weight * bend

    def extras(self, eta: Array, y: Array, weight: Array, extra: Array) -> Extras:
        """Derivatives in the logarithms of the steps."""
        low, high = self._bounds(eta, y, extra)
        at_low, at_high = edges(self.link, low, high)
        step = np.exp(extra)
        out = np.zeros((3, self.n_extra, *eta.shape))
        for i in range(self.n_extra):
            # The i-th step moves every threshold from the (i + 1)-th on.
            moved_low = weight * step[:, i, None] * ((y >= i + 2) & (y <= self.categories - 1))
            moved_high = weight * step[:, i, None] * ((y >= i + 1) & (y < self.categories - 1))
            for part in range(3):
                out[part, i] = at_low[part] * moved_low + at_high[part] * moved_high
        return out[0], out[1], out[2]

    def constant(self, y: Array, weight: Array) -> Array:
        """Nothing."""
        return np.zeros(y.shape[0]) if y.ndim > 1 else np.zeros(())

    def guess(self, y: Array, weight: Array) -> Array:
        """What gives all rows the share of the lowest rating."""
        t = starting_thresholds(y, np.broadcast_to(weight, y.shape), self.categories, self.link)
        return np.broadcast_to(-t[:, :1], y.shape)

    def first(self, y: Array, weight: Array) -> Array:
        """What gives all rows the shares of the ratings."""
        t = starting_thresholds(y, np.broadcast_to(weight, y.shape), self.categories, self.link)
        return np.log(np.maximum(np.diff(t, axis=1), 1e-3))

    def working(self, eta: Array, y: Array, weight: Array, extra: Array) -> tuple[Array, Array]:
        """dℓ/dη over its expected information Σ (dP_k/dη)² / P_k, which is the weight."""
        slope = self.rows(eta, y, np.ones_like(eta), extra)[1]
        information = np.zeros_like(eta)
        for k in range(self.categories):
            loglik, by_eta, _, _ = self.rows(eta, np.full(eta.shape, k), np.ones_like(eta), extra)
            information += np.exp(loglik) * by_eta**2
        information = np.maximum(information, 1e-6)
        return slope / information, weight * information


def edges(link: str, low: Array, high: Array) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
    """dℓ/dt, d²ℓ/dηdt and −d³ℓ/dη²dt of the lower and the upper threshold of each row."""
    if link == "probit":
        densities, _, q1, p2, _ = _normal_pieces(low, high)
        found = []
        for sign, (density, slope, curve) in zip((-1.0, 1.0), densities, strict=True):
            first = slope - density * q1
            second = curve - 2 * slope * q1 - density * p2 + 2 * density * q1**2
            found.append((sign * density, -sign * first, -sign * second))
        return found[0], found[1]
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        gap = np.where(np.isfinite(high - low), 1 / np.expm1(high - low), 0.0)
    at_low, at_high = expit(low), expit(high)
    low_slope, high_slope = at_low * (1 - at_low), at_high * (1 - at_high)
    return (
        (-at_low - gap, low_slope, low_slope * (1 - 2 * at_low)),
        (1 - at_high + gap, high_slope, high_slope * (1 - 2 * at_high)),
    )


def _normal_pieces(low: Array, high: Array) -> tuple[Array, Array, Array, Array, Array]:
    """Densities (edge, order) over P, log P, and the first three derivatives of P over P."""
    # In the upper tail the lower tail of the mirror image is exact.
    mirrored = low > 0
    a, b = np.where(mirrored, -high, low), np.where(mirrored, -low, high)
    with np.errstate(invalid="ignore", divide="ignore"):
        log_b, log_a = log_ndtr(b), log_ndtr(a)
        log_p = log_b + np.log1p(-np.exp(np.minimum(log_a - log_b, 0.0)))
    pieces = []
    for x in (low, high):
        inner = np.where(np.isfinite(x), x, 0.0)
        density = np.exp(-0.5 * inner**2 - 0.5 * np.log(2 * np.pi) - log_p) * np.isfinite(x)
        pieces.append((density, -inner * density, (inner**2 - 1) * density))
    lower, upper = pieces
    q1, p2, p3 = (upper[i] - lower[i] for i in range(3))
    return np.array(pieces), log_p, q1, p2, p3
