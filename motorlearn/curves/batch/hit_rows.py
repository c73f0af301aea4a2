"""Hits of learners in rows: basis of a rate, loss and Newton steps of the coefficients."""

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from motorlearn.curves.batch.padded import Padded
from motorlearn.curves.single.problem import LARGEST_LOGIT
from motorlearn.measures.hits import log_choose

MOST_IN_TABLE = 10_000
"""Attempts up to which factorials are looked up."""


@dataclass(frozen=True)
class HitRows:
    """Hits, attempts and practice since the first count, which a rate turns into the log basis.

    ``whole`` is the longest practice of each learner, as a column.
    """

    hits: np.ndarray
    attempts: np.ndarray
    since: np.ndarray
    whole: np.ndarray

    @classmethod
    def of(cls, data: Padded) -> "HitRows":
        since = -data.fallen(np.zeros((len(data.y), 1)))
        return cls(data.y, data.weights, since, since.max(axis=1, keepdims=True))

    def pick(self, rows: np.ndarray) -> "HitRows":
        return HitRows(self.hits[rows], self.attempts[rows], self.since[rows], self.whole[rows])

    def basis(self, tau: np.ndarray) -> np.ndarray:
        """The basis from 0 to -1."""
        rate = np.exp(tau)[:, None]
        found: np.ndarray = np.expm1(-rate * self.since) / -np.expm1(-rate * self.whole)
        return found

    def bent(self, tau: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The basis and its two derivatives by the log rate."""
        rate = np.exp(tau)[:, None]
        rho, end = -rate * self.since, -rate * self.whole
        v, depth = np.expm1(rho), np.expm1(end)
        low = end * (depth + 1)
        first, second = low / depth, low * (1 + end) / depth
        u = (v + 1) * rho
        u /= -depth
        v /= -depth
        rho += 1 - 2 * first
        rho *= u
        rho += (2 * first**2 - second) * v
        u -= first * v
        return v, u, rho

    def parts(self, eta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Loss of each learner and the chances of a hit."""
        size = np.abs(eta)
        small = np.exp(-size)
        whole = small + 1
        soft = np.log(whole)
        soft += np.maximum(eta, 0.0)
        chance = np.where(eta >= 0, 1.0, small)
        chance /= whole
        return inner(self.attempts, soft) - inner(self.hits, eta), chance


def logits(beta: np.ndarray, v: np.ndarray) -> np.ndarray:
    found: np.ndarray = beta[:, [1]] * v
    found += beta[:, [0]]
    return found


def inner(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Inner products of rows."""
    found: np.ndarray = np.einsum("ij,ij->i", a, b)
    return found


def level_line(rows: HitRows) -> np.ndarray:
    """Coefficients of the flat line."""
    hits, misses = rows.hits.sum(axis=1), (rows.attempts - rows.hits).sum(axis=1)
    logit = np.log((hits + 0.5) / (misses + 0.5))
    return np.stack([logit, np.zeros(len(logit))], axis=1)


def ahead(
    rows: HitRows, v: np.ndarray, beta: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Newton step of the coefficients, the loss here, and twice the gain the step promises.

    Logits are kept in reach.
    """
    eta = np.clip(logits(beta, v), -LARGEST_LOGIT, LARGEST_LOGIT)
    loss, chance = rows.parts(eta)
    expected = rows.attempts * chance
    left, weight = rows.hits - expected, expected * (1 - chance)
    heavy = weight * v
    a, b, c = weight.sum(axis=1), heavy.sum(axis=1), inner(heavy, v)
    g, h = left.sum(axis=1), inner(left, v)
    step, gain = newton_step(a, b, c, g, h)
    return step, loss, gain


def newton_step(
    a: np.ndarray, b: np.ndarray, c: np.ndarray, g: np.ndarray, h: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Step of both coefficients, no longer than 3, and twice the gain it promises."""
    volume = np.maximum(a * c - b * b, 1e-12 * a * c + 1e-300)
    step = np.stack([c * g - b * h, a * h - b * g], axis=1) / volume[:, None]
    gain = step[:, 0] * g + step[:, 1] * h
    size = np.max(np.abs(step), axis=1, keepdims=True)
    return step * np.minimum(1.0, 3.0 / np.maximum(size, 1e-300)), gain


def ways(hits: np.ndarray, attempts: np.ndarray) -> np.ndarray:
    """Logarithm of the ways in which the hits of each learner can fall on the attempts."""
    most = int(attempts.max(initial=0))
    if most > MOST_IN_TABLE:
        each: np.ndarray = np.where(attempts > 0, log_choose(hits, attempts), 0.0)
    else:
        factorial = gammaln(np.arange(most + 1) + 1.0)
        k, m = hits.astype(np.intp), attempts.astype(np.intp)
        each = factorial[m] - factorial[k] - factorial[m - k]
    found: np.ndarray = each.sum(axis=1)
    return found
