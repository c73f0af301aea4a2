"""Kinds of outcome as the engine sees them: log likelihood of each row and its derivatives.

Every kind gives, for a linear predictor η (R, N), outcomes ``y`` and ``weight`` (R, N) and its own
parameters κ ``extra`` (R, k): ``rows`` ℓ, dℓ/dη, −d²ℓ/dη², −d³ℓ/dη³ of each row; ``extras``
dℓ/dκ, d²ℓ/dηdκ and −d³ℓ/dη²dκ, each (k, R, N); ``constant`` the part of Σℓ without η and κ;
``guess`` a first linear predictor and ``first`` a first κ; and ``working`` the step from η to
pseudo-data of each row, with the expected information that is its weight.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import digamma, expit, gammaln, log_expit

from motorlearn.measures.hits import log_choose
from motorlearn.mixed.solve.links import INVERSE_LINKS, LINKS, Derivatives, bends
from motorlearn.mixed.solve.rising import log_rising

Array = NDArray[np.float64]
Extras = tuple[Array, Array, Array]

MOST_EXTRA = 13.5
"""Largest logarithm of θ or φ: beyond, the outcome is as good as without overdispersion."""
_EDGE = 1e-12


class Likelihood(Protocol):
    """What the engine asks of a kind of outcome."""

    @property
    def n_extra(self) -> int:
        """Number of parameters of its own."""

    def rows(self, eta: Array, y: Array, weight: Array, extra: Array) -> Derivatives:
        """Log likelihood of each row and its derivatives."""

    def extras(self, eta: Array, y: Array, weight: Array, extra: Array) -> Extras:
        """Derivatives in κ."""

    def constant(self, y: Array, weight: Array) -> Array:
        """Sum over the last axis of what neither η nor κ changes."""

    def guess(self, y: Array, weight: Array) -> Array:
        """A first linear predictor of each row."""

    def first(self, y: Array, weight: Array) -> Array:
        """A first κ, (R, k)."""

    def working(self, eta: Array, y: Array, weight: Array, extra: Array) -> tuple[Array, Array]:
        """Step from η to pseudo-data, and their weight."""


def _column(extra: Array, place: int = 0) -> Array:
    """One parameter of κ, so that it broadcasts over rows."""
    return extra[:, place, None]


def _none(eta: Array) -> Extras:
    empty = np.zeros((0, *eta.shape))
    return empty, empty, empty


@dataclass(frozen=True)
class Binomial:
    """Hits ``y`` among ``weight`` attempts, P = g⁻¹(η)."""

    link: str
    n_extra: int = 0

    def rows(self, eta: Array, y: Array, weight: Array, extra: Array) -> Derivatives:
        """Log likelihood and derivatives."""
        return LINKS[self.link](eta, y, weight)

    def extras(self, eta: Array, y: Array, weight: Array, extra: Array) -> Extras:
        """Nothing."""
        return _none(eta)

    def constant(self, y: Array, weight: Array) -> Array:
        """Binomial coefficients."""
        found: Array = log_choose(y, weight).sum(axis=-1)
        return found

    def guess(self, y: Array, weight: Array) -> Array:
        """A probability of a half (logit, probit)."""
        return np.zeros(y.shape)

    def first(self, y: Array, weight: Array) -> Array:
        """Nothing."""
        return np.zeros((len(y), 0))

    def working(self, eta: Array, y: Array, weight: Array, extra: Array) -> tuple[Array, Array]:
        """(hits/n − p) / (dp/dη), with weight n (dp/dη)² / (p (1 − p))."""
        p, slope = INVERSE_LINKS[self.link](eta), np.maximum(bends(self.link, eta)[0], 1e-6)
        information = weight * slope**2 / np.maximum(p * (1 - p), _EDGE)
        return (y - weight * p) / (weight * slope), information


@dataclass(frozen=True)
class BetaBinomial:
    """Hits whose probability scatters: Beta(Pφ, (1 − P)φ), κ = log φ; ``weight`` are attempts."""

    link: str
    n_extra: int = 1

    def _parts(self, eta: Array, y: Array, weight: Array, extra: Array) -> tuple[Array, ...]:
        phi = np.exp(np.clip(_column(extra), -MOST_EXTRA, MOST_EXTRA))
        p = np.clip(INVERSE_LINKS[self.link](eta), _EDGE, 1 - _EDGE)
        hit, miss = log_rising(p * phi, y), log_rising((1 - p) * phi, weight - y)
        pairs = zip(hit, miss, strict=True)
        return phi, p, *(part for pair in pairs for part in pair)

    def rows(self, eta: Array, y: Array, weight: Array, extra: Array) -> Derivatives:
        """Log likelihood and derivatives."""
        phi, _, a0, b0, a1, b1, a2, b2, a3, b3 = self._parts(eta, y, weight, extra)
        loglik = a0 + b0 - gammaln(weight + phi) + gammaln(phi)
        d1, d2, d3 = bends(self.link, eta)
        by_p, by_pp, by_ppp = phi * (a1 - b1), phi**2 * (a2 + b2), phi**3 * (a3 - b3)
        slope = by_p * d1
        curve = by_pp * d1**2 + by_p * d2
        third = by_ppp * d1**3 + 3 * by_pp * d1 * d2 + by_p * d3
        return loglik, slope, -curve, -third

    def extras(self, eta: Array, y: Array, weight: Array, extra: Array) -> Extras:
        """Derivatives in log φ."""
        phi, p, _, _, a1, b1, a2, b2, a3, b3 = self._parts(eta, y, weight, extra)
        inside = np.abs(_column(extra)) < MOST_EXTRA
        d1, d2, _ = bends(self.link, eta)
        own = p * a1 + (1 - p) * b1 - digamma(weight + phi) + digamma(phi)
        by_p = a1 - b1 + phi * (p * a2 - (1 - p) * b2)
        by_pp = 2 * phi * (a2 + b2) + phi**2 * (p * a3 + (1 - p) * b3)
        move = phi * inside
        return (
            (move * own)[None],
            (move * by_p * d1)[None],
            (-move * (by_pp * d1**2 + by_p * d2))[None],
        )

    def constant(self, y: Array, weight: Array) -> Array:
        """Binomial coefficients."""
        found: Array = log_choose(y, weight).sum(axis=-1)
        return found

    def guess(self, y: Array, weight: Array) -> Array:
        """A probability of a half (logit, probit)."""
        return np.zeros(y.shape)

    def first(self, y: Array, weight: Array) -> Array:
        """φ = 10."""
        return np.full((len(y), 1), np.log(10.0))

    def working(self, eta: Array, y: Array, weight: Array, extra: Array) -> tuple[Array, Array]:
        """That of hits, with the information divided by 1 + (n − 1)/(1 + φ)."""
        step, information = Binomial(self.link).working(eta, y, weight, extra)
        return step, information / (1 + (weight - 1) / (1 + np.exp(_column(extra))))


@dataclass(frozen=True)
class Poisson:
    """Counts of mean exp(η)."""

    n_extra: int = 0

    def rows(self, eta: Array, y: Array, weight: Array, extra: Array) -> Derivatives:
        """Log likelihood and derivatives."""
        mean = weight * np.exp(np.minimum(eta, 50.0))
        return weight * y * eta - mean, weight * y - mean, mean, mean

    def extras(self, eta: Array, y: Array, weight: Array, extra: Array) -> Extras:
        """Nothing."""
        return _none(eta)

    def constant(self, y: Array, weight: Array) -> Array:
        """−log y!."""
        found: Array = -np.sum(weight * gammaln(y + 1), axis=-1)
        return found

    def guess(self, y: Array, weight: Array) -> Array:
        """Logarithm of the count, lifted off zero."""
        return np.log(y + 0.5)

    def first(self, y: Array, weight: Array) -> Array:
        """Nothing."""
        return np.zeros((len(y), 0))

    def working(self, eta: Array, y: Array, weight: Array, extra: Array) -> tuple[Array, Array]:
        """(y − μ) / μ, with weight μ."""
        mean = np.exp(np.minimum(eta, 50.0))
        return (y - mean) / mean, weight * mean


@dataclass(frozen=True)
class NegativeBinomial:
    """Counts of mean μ = exp(η) and variance μ + μ²/θ, κ = log θ."""

    n_extra: int = 1

    def rows(self, eta: Array, y: Array, weight: Array, extra: Array) -> Derivatives:
        """Log likelihood and derivatives."""
        log_theta = np.clip(_column(extra), -MOST_EXTRA, MOST_EXTRA)
        theta, share = np.exp(log_theta), expit(eta - log_theta)
        loglik = gammaln(y + theta) - gammaln(theta) - theta * -log_expit(log_theta - eta)
        loglik = loglik + y * log_expit(eta - log_theta)
        bent = weight * (y + theta) * share * (1 - share)
        slope = weight * (y - (y + theta) * share)
        return weight * loglik, slope, bent, bent * (1 - 2 * share)

    def extras(self, eta: Array, y: Array, weight: Array, extra: Array) -> Extras:
        """Derivatives in log θ."""
        log_theta = np.clip(_column(extra), -MOST_EXTRA, MOST_EXTRA)
        theta, share = np.exp(log_theta), expit(eta - log_theta)
        own = theta * (digamma(y + theta) - digamma(theta) + log_expit(log_theta - eta))
        own = own + theta * share - y * (1 - share)
        product = share * (1 - share)
        inside = weight * (np.abs(_column(extra)) < MOST_EXTRA)
        by_slope = -theta * share + (y + theta) * product
        by_weight = theta * product - (y + theta) * product * (1 - 2 * share)
        return (inside * own)[None], (inside * by_slope)[None], (inside * by_weight)[None]

    def constant(self, y: Array, weight: Array) -> Array:
        """−log y!."""
        return Poisson().constant(y, weight)

    def guess(self, y: Array, weight: Array) -> Array:
        """Logarithm of the count, lifted off zero."""
        return np.log(y + 0.5)

    def first(self, y: Array, weight: Array) -> Array:
        """θ from the variance of all rows, twice, because groups and people explain some of it."""
        mean, spread = y.mean(axis=1), y.var(axis=1)
        theta = 2 * mean**2 / np.maximum(spread - mean, 1e-3 * np.maximum(mean, 1e-3))
        found: Array = np.log(np.clip(theta, 0.2, 50))[:, None]
        return found

    def working(self, eta: Array, y: Array, weight: Array, extra: Array) -> tuple[Array, Array]:
        """(y − μ) / μ, with weight μ θ / (θ + μ)."""
        mean, theta = np.exp(np.minimum(eta, 50.0)), np.exp(_column(extra))
        return (y - mean) / mean, weight * mean * theta / (theta + mean)


@dataclass(frozen=True)
class Gamma:
    """Positive amounts of mean exp(η) and coefficient of variation 1/√s, κ = log s."""

    n_extra: int = 1

    def rows(self, eta: Array, y: Array, weight: Array, extra: Array) -> Derivatives:
        """Log likelihood and derivatives."""
        shape = weight * np.exp(_column(extra))
        ratio = y * np.exp(-eta)
        own = np.exp(_column(extra))
        loglik = own * (_column(extra) + np.log(y) - eta - ratio) - gammaln(own)
        return weight * loglik, shape * (ratio - 1), shape * ratio, -shape * ratio

    def extras(self, eta: Array, y: Array, weight: Array, extra: Array) -> Extras:
        """Derivatives in log s."""
        shape, ratio = np.exp(_column(extra)), y * np.exp(-eta)
        own = _column(extra) + 1 + np.log(y) - eta - ratio - digamma(shape)
        shape = weight * shape
        return (shape * own)[None], (shape * (ratio - 1))[None], (shape * ratio)[None]

    def constant(self, y: Array, weight: Array) -> Array:
        """−log y."""
        found: Array = -np.sum(weight * np.log(y), axis=-1)
        return found

    def guess(self, y: Array, weight: Array) -> Array:
        """Logarithm of the amount."""
        return np.log(y)

    def first(self, y: Array, weight: Array) -> Array:
        """Twice what the spread of all logarithms says, because people explain some of it."""
        spread = np.log(y).var(axis=1)
        found: Array = np.log(np.clip(2 / np.maximum(spread, 1e-8), 0.2, 1e8))[:, None]
        return found

    def working(self, eta: Array, y: Array, weight: Array, extra: Array) -> tuple[Array, Array]:
        """(y − μ) / μ, with weight s."""
        return y * np.exp(-eta) - 1, weight * np.exp(_column(extra)) * np.ones_like(eta)
