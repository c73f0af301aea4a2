"""Hits of learners in columns: basis of a rate, loss and Newton steps of the coefficients.

Trials are rows, so that sums run over whole learners at once, one trial after the other: a learner
gets the same sums whoever stands beside.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln, xlogy

from motorlearn.curves.batch.padded import Padded
from motorlearn.curves.single.problem import LARGEST_LOGIT
from motorlearn.measures.hits import log_choose

MOST_IN_TABLE = 10_000
"""Attempts up to which factorials and the like are looked up."""
FACTORS = 40
"""Factors, none above ``1 + exp(LARGEST_LOGIT)``, whose product a float holds."""
BENT = 0.05
"""Rate times practice below which a difference of exponentials has lost digits that matter."""


@dataclass(frozen=True)
class HitRows:
    """Hits, attempts and practice since the first count, which a rate turns into the log basis.

    One column per learner. ``attempts`` is one row where all trials of a learner have as many,
    ``since`` one column where all learners have practised alike, ``step`` then the way from count
    to count where it is always the same, and else 0. ``whole`` is the longest practice.
    """

    hits: np.ndarray
    attempts: np.ndarray
    since: np.ndarray
    whole: np.ndarray
    step: float = 0.0

    @classmethod
    def of(cls, data: Padded) -> "HitRows":
        since = -data.fallen(np.zeros((len(data.y), 1)))
        whole, attempts, step = since.max(axis=1), data.weights, 0.0
        if np.all(attempts == attempts[:, :1]):
            attempts = attempts[:, :1]
        if np.all(since == since[0]):
            since = since[:1]
            gap = since[0, 1] if since.shape[1] > 1 else 0.0
            step = float(gap) if np.all(since[0] == gap * np.arange(since.shape[1])) else 0.0
        return cls(data.y.T.copy(), attempts.T.copy(), since.T.copy(), whole, step)

    def pick(self, rows: np.ndarray | slice) -> "HitRows":
        since = self.since if self.since.shape[1] == 1 else self.since[:, rows]
        hits, attempts, since = map(
            np.ascontiguousarray, (self.hits[:, rows], self.attempts[:, rows], since)
        )
        return HitRows(hits, attempts, since, self.whole[rows], self.step)

    def basis(self, tau: np.ndarray) -> np.ndarray:
        """The basis from 0 to -1."""
        rate = np.exp(tau)
        found: np.ndarray = self._fallen(rate) / -np.expm1(-rate * self.whole)
        return found

    def _fallen(self, rate: np.ndarray) -> np.ndarray:
        """What the exponential curve has lost, negative."""
        found = self._powers(rate) if self.step else np.exp(-rate * self.since)
        found -= 1.0
        straight = np.flatnonzero(rate * self.whole < BENT)
        if straight.size:
            since = self.since if self.since.shape[1] == 1 else self.since[:, straight]
            found[:, straight] = np.expm1(-rate[straight] * since)
        return found

    def _powers(self, rate: np.ndarray) -> np.ndarray:
        """The exponential curve at equal steps, by doubling what is there."""
        count = len(self.since)
        found = np.empty((count, len(rate)))
        found[0], have = 1.0, 1
        while have < count:
            more = found[have : 2 * have]
            np.multiply(found[: len(more)], np.exp(-rate * (self.step * have)), out=more)
            have *= 2
        return found

    def bent(self, tau: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The basis and its two derivatives by the log rate."""
        rate = np.exp(tau)
        end = -rate * self.whole
        v, rho, depth = self._fallen(rate), -rate * self.since, np.expm1(end)
        first = end * (depth + 1) / depth
        second = first * (1 + end)
        u = v + 1
        u *= rho
        u /= -depth
        v /= -depth
        rho += 1 - 2 * first
        rho *= u
        rho += (2 * first**2 - second) * v
        u -= first * v
        return v, u, rho

    def parts(self, eta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Loss of each learner, expected hits and their variances; logits are used up."""
        loss = -inner(self.hits, eta)
        odds = np.exp(eta, out=eta)
        whole = odds + 1.0
        if len(self.attempts) == 1:
            loss += self.attempts[0] * log_product(whole)
        else:
            loss += inner(self.attempts, np.log(whole))
        np.divide(1.0, whole, out=whole)
        odds *= whole
        odds *= self.attempts
        whole *= odds
        return loss, odds, whole


def log_product(factors: np.ndarray) -> np.ndarray:
    """Sum of the logarithms of each column."""
    parts = [factors[low : low + FACTORS] for low in range(0, len(factors), FACTORS)]
    found: np.ndarray = sum(np.log(np.multiply.reduce(part, axis=0, dtype=float)) for part in parts)
    return found


def inner(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Inner products of columns."""
    found: np.ndarray = np.einsum("ij,ij->j", a, b)
    return found


def level_line(rows: HitRows) -> np.ndarray:
    """Coefficients of the flat line, one column per learner."""
    hits, misses = rows.hits.sum(axis=0), (rows.attempts - rows.hits).sum(axis=0)
    logit = np.log((hits + 0.5) / (misses + 0.5))
    return np.stack([logit, np.zeros(len(logit))])


def ahead(
    rows: HitRows, v: np.ndarray, beta: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Newton step of the coefficients, the loss here, and twice the gain the step promises.

    Logits are kept in reach.
    """
    eta = beta[1] * v
    eta += beta[0]
    np.clip(eta, -LARGEST_LOGIT, LARGEST_LOGIT, out=eta)
    loss, expected, weight = rows.parts(eta)
    left, heavy = np.subtract(rows.hits, expected, out=expected), weight * v
    a, b, c = weight.sum(axis=0), heavy.sum(axis=0), inner(heavy, v)
    step, gain = newton_step(a, b, c, left.sum(axis=0), inner(left, v))
    return step, loss, gain


def newton_step(
    a: np.ndarray, b: np.ndarray, c: np.ndarray, g: np.ndarray, h: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Step of both coefficients, no longer than 3, and twice the gain it promises."""
    volume = np.maximum(a * c - b * b, 1e-12 * a * c + 1e-300)
    step = np.stack([c * g - b * h, a * h - b * g]) / volume
    gain = step[0] * g + step[1] * h
    size = np.max(np.abs(step), axis=0)
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


def deviance(hits: np.ndarray, attempts: np.ndarray, loss: np.ndarray) -> np.ndarray:
    """Twice what the rates of hits as they were seen would gain on a loss."""
    heights = [_times_log(counts) for counts in (hits, attempts - hits, attempts)]
    found: np.ndarray = 2 * (loss + (heights[0] + heights[1] - heights[2]).sum(axis=1))
    return found


def _times_log(counts: np.ndarray) -> np.ndarray:
    """Counts times their logarithms, 0 for none."""
    most = int(counts.max(initial=0))
    if most > MOST_IN_TABLE:
        each: np.ndarray = xlogy(counts, counts)
        return each
    table: np.ndarray = xlogy(np.arange(most + 1.0), np.arange(most + 1.0))
    return table[counts.astype(np.intp)]
