"""From the linear predictor to the outcome: means and their slopes, spread, and outcomes drawn.

What is averaged over participants is averaged over a normal distribution of the linear predictor
with variance v. With a logarithmic link the mean of exp(η + √v t) is exp(η + v/2). A rating beyond
k has the probability F(η − t_k), so that the mean rating and the probability of each rating are
weighted sums of these.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.averaging import average_over_normal, slope_in_variance
from motorlearn.mixed.solve.links import INVERSE_LINKS, mean_slope

Array = NDArray[np.float64]

LINKS_OF = {
    "gaussian": ("identity",),
    "binomial": ("logit", "probit", "cloglog"),
    "beta-binomial": ("logit", "probit"),
    "ordinal": ("logit", "probit"),
    "poisson": ("log",),
    "negative-binomial": ("log",),
    "gamma": ("log",),
    "lognormal": ("log",),
}
FAMILIES = tuple(LINKS_OF)
LINEAR = ("gaussian", "lognormal")
HITS = ("binomial", "beta-binomial")
COUNTS = ("poisson", "negative-binomial")

DISPERSIONS = {
    "negative-binomial": "Variance μ + μ²/θ with θ =",
    "beta-binomial": "Probabilities scatter with precision φ =",
    "gamma": "Coefficient of variation 1/√s with shape s =",
}
LATENT_VARIANCE = {"logit": np.pi**2 / 3, "probit": 1.0, "cloglog": np.pi**2 / 6}
"""Variance of the distribution behind each link, the residual of the latent scale."""


@dataclass(frozen=True)
class Mean:
    """Means of rows, and their slopes in η, in v, and (k, rows) in the outcome's own parameters."""

    value: Array
    by_eta: Array
    by_variance: Array
    by_extra: Array


@dataclass(frozen=True)
class Response:
    """How one kind of outcome follows from the linear predictor.

    Parameters
    ----------
    family, link : str
        Those of the fit.
    extra : array (k,)
        Logarithms of the steps between thresholds (ratings) or of the dispersion; σ² of a
        lognormal model.
    scores : array (K,)
        Numbers that stand for the ratings.
    """

    family: str
    link: str
    extra: Array = field(default_factory=lambda: np.zeros(0))
    scores: Array = field(default_factory=lambda: np.zeros(0))

    @property
    def bounds(self) -> tuple[float, float]:
        """Between which numbers the mean lies."""
        if self.family == "ordinal":
            return float(self.scores[0]), float(self.scores[-1])
        return (0.0, np.inf) if self.link == "log" else (0.0, 1.0)

    @property
    def thresholds(self) -> Array:
        """t_0 = 0, t_1, ... of ratings, (K − 1,)."""
        return np.concatenate([[0.0], np.cumsum(np.exp(self.extra))])

    def mean(self, eta: Array, variance: Array | None = None, rating: int | None = None) -> Mean:
        """Mean of rows; averaged over participants where ``variance`` is given.

        ``rating`` asks for the probability of that rating (its place, from 0) instead.
        """
        if self.family == "ordinal":
            return self._ratings(eta, variance, rating)
        none = np.zeros((len(self.extra), len(eta)))
        if self.link == "log":
            lognormal = self.family == "lognormal"
            more = np.zeros(len(eta)) if variance is None else variance
            more = more + (self.extra[0] if lognormal else 0.0)
            value = np.exp(np.minimum(eta + more / 2, 600.0))
            half = value / 2
            by_variance = np.zeros(len(eta)) if variance is None else half
            return Mean(value, value, by_variance, half[None] if lognormal else none)
        value, by_eta, by_variance = self._averaged(eta, variance)
        return Mean(value, by_eta, by_variance, none)

    def median(self, eta: Array) -> Mean:
        """Median of a lognormal outcome, exp(η)."""
        value = np.exp(np.minimum(eta, 600.0))
        nothing = np.zeros(len(eta))
        return Mean(value, value, nothing, np.zeros((len(self.extra), len(eta))))

    def _averaged(self, eta: Array, variance: Array | None) -> tuple[Array, Array, Array]:
        if variance is None:
            slope = mean_slope(self.link, eta)
            return INVERSE_LINKS[self.link](eta), slope, np.zeros(len(eta))
        value, slope = average_over_normal(self.link, eta, variance)
        return value, slope, slope_in_variance(self.link, eta, variance)

    def _ratings(self, eta: Array, variance: Array | None, rating: int | None) -> Mean:
        t = self.thresholds
        beyond = np.array([self._averaged(eta - bound, variance) for bound in t])
        steps, constant = np.diff(self.scores), float(self.scores[0])
        if rating is not None:
            padded = np.concatenate([[0.0], np.zeros(len(t)), [0.0]])
            padded[rating], padded[rating + 1] = 1.0, -1.0
            steps, constant = padded[1:-1], float(rating == 0)
        value, by_eta, by_variance = np.einsum("k,kan->an", steps, beyond)
        by_extra = np.array(
            [
                -np.exp(own) * (steps[i + 1 :] @ beyond[i + 1 :, 1])
                for i, own in enumerate(self.extra)
            ]
        ).reshape(len(self.extra), len(eta))
        return Mean(constant + value, by_eta, by_variance, by_extra)

    def probabilities(self, eta: Array, variance: Array | None = None) -> Array:
        """Probability of each rating, (rows, K)."""
        found = [self.mean(eta, variance, k).value for k in range(len(self.scores))]
        return np.array(found).T

    def spread(self, eta: Array, weight: Array) -> Array:
        """Standard deviation of the outcome of rows (of the share of hits, for hits)."""
        mean = self.mean(eta).value
        if self.family in HITS:
            square = mean * (1 - mean) / weight
            if self.family == "beta-binomial":
                square = square * (1 + (weight - 1) / (1 + np.exp(self.extra[0])))
        elif self.family == "ordinal":
            square = self.probabilities(eta) @ self.scores**2 - mean**2
        elif self.family == "gamma":
            square = mean**2 / np.exp(self.extra[0])
        else:
            square = mean.copy()
            if self.family == "negative-binomial":
                square += mean**2 / np.exp(self.extra[0])
        return np.sqrt(np.maximum(square, 1e-300))

    def draw(self, eta: Array, weight: Array, rng: np.random.Generator) -> Array:
        """Outcomes drawn for linear predictors of any shape; hits, or the place of a rating."""
        if self.family == "ordinal":
            noise = rng.logistic(size=eta.shape)
            if self.link == "probit":
                noise = rng.standard_normal(eta.shape)
            beyond = (eta + noise)[..., None] > self.thresholds
            return np.asarray(beyond.sum(axis=-1), dtype=float)
        mean = INVERSE_LINKS[self.link](eta)
        if self.family in HITS:
            if self.family == "beta-binomial":
                phi = np.exp(self.extra[0])
                mean = rng.beta(np.maximum(mean * phi, 1e-9), np.maximum((1 - mean) * phi, 1e-9))
            return np.asarray(rng.binomial(np.round(weight).astype(int), mean), dtype=float)
        if self.family == "gamma":
            shape = np.exp(self.extra[0])
            return np.asarray(np.maximum(rng.gamma(shape, mean / shape), 1e-300), dtype=float)
        if self.family == "negative-binomial":
            theta = np.exp(self.extra[0])
            mean = rng.gamma(theta, mean / theta)
        return np.asarray(rng.poisson(np.minimum(mean, 1e15)), dtype=float)

    def in_words(self, names: Iterable[str], thresholds: Iterable[float]) -> tuple[str, ...]:
        """The outcome's own parameters in a sentence."""
        if self.family == "ordinal":
            told = "; ".join(f"{a}: {b:.3f}" for a, b in zip(names, thresholds, strict=True))
            return (f"Thresholds {told}.",)
        if self.family in DISPERSIONS:
            return (f"{DISPERSIONS[self.family]} {np.exp(self.extra[0]):.4g}.",)
        return ()

    def latent_variance(self, mean: Array) -> float:
        """Variance of the distribution behind the link, that of Nakagawa and others (2017)."""
        if self.link != "log":
            return LATENT_VARIANCE[self.link]
        if self.family == "gamma":
            return float(np.log1p(np.exp(-self.extra[0])))
        more = np.exp(-self.extra[0]) if self.family == "negative-binomial" else 0.0
        return float(np.log1p(1 / np.mean(mean) + more))
