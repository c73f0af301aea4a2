"""Likelihood of a population curve with Gaussian scores: exact where parameters are linear.

Asymptote and amount (gain or start) enter the curve linearly. With the log rate of a learner
given, the scores are Gaussian and both are integrated out exactly. Where the log rate does not
vary that is the whole likelihood; where it varies, one dimension is left and integrated by
adaptive Gauss-Hermite quadrature.
"""

from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any, ClassVar

import numpy as np

from motorlearn.curves.population.curvature import RATE_STEP, second_slopes
from motorlearn.curves.population.given import Given, given_rate
from motorlearn.curves.population.layout import RATE, Layout
from motorlearn.curves.population.learners import STEP, Learners, imaginary

INNER_STEPS = 25
DIFFERENCE = 1e-4
COMMON_STEP = 1e-6
"""Step in a common term, or a tenth of it, of differences of slopes."""
PEAK_SLACK = 0.1
"""Distance from the mode, in posterior SDs, at which the nodes sit well enough."""


@lru_cache(maxsize=64)
def gauss_hermite(nodes: int) -> tuple[np.ndarray, np.ndarray]:
    """Places and weights of Gauss-Hermite quadrature, which take longer than one integral."""
    places, weights = np.polynomial.hermite.hermgauss(nodes)
    return places, weights


Nodes = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Seen:
    """What the evaluation before came by."""

    nodes: Nodes
    asked: tuple[Any, ...]
    given: Given
    weight: np.ndarray


@dataclass
class Marginal:
    """Log-likelihood and gradient in the layout's vector; keeps where each integral peaks."""

    data: Learners
    layout: Layout
    nodes: int
    peak: np.ndarray = field(init=False)
    width: np.ndarray = field(init=False)
    bends: ClassVar[bool] = True
    held: Nodes | None = field(init=False, default=None)
    last: tuple[np.ndarray, Learners] | None = field(init=False, default=None, repr=False)
    asked: tuple[Any, ...] = field(init=False, default=(), repr=False)
    seen: Seen | None = field(init=False, default=None, repr=False)

    def __post_init__(self) -> None:
        self.peak, self.width = np.zeros(len(self.data.y)), np.ones(len(self.data.y))
        self.places, masses = gauss_hermite(self.nodes)
        self.mass = np.log(masses) + self.places**2 - 0.5 * np.log(np.pi)

    def conditional(self, point: np.ndarray, z: np.ndarray) -> tuple[Given, np.ndarray]:
        """Density given the standardised log rate ``z``, and its root matrix."""
        cells, root = self.layout.cells(point)[self.data.group], self.layout.root(point)
        lean = root[:, 0] if RATE in self.layout.vary else np.zeros(3)
        rest = root[:2, 1:] if RATE in self.layout.vary else root[:2]
        cover = rest @ rest.T
        height, amount, rate = cells.T[:, :, None] + lean[:, None, None] * z
        covers = (float(cover[0, 0]), float(cover[0, 1]), float(cover[1, 1]))
        variance = float(np.exp(2 * self.layout.log_sigma(point)))
        self.asked = rate, height, amount, covers, variance
        return given_rate(self.dressed(point), *self.asked), root

    @cached_property
    def member(self) -> np.ndarray:
        """1 where a learner belongs to a group, shape (groups, learners)."""
        found: np.ndarray = np.arange(self.layout.groups)[:, None] == self.data.group
        return found.astype(float)

    def dressed(self, point: np.ndarray) -> Learners:
        """The learners with what they have in common at a point."""
        if self.data.common is None:
            return self.data
        values = self.layout.common(point)
        if self.last is None or not np.array_equal(self.last[0], values):
            self.last = values.copy(), self.data.common.dressed(self.data, values)
        return self.last[1]

    def _by_common(self, point: np.ndarray, weight: np.ndarray) -> np.ndarray | None:
        """Gradient of each learner by the common terms, by imaginary steps."""
        if self.data.common is None:
            return None
        columns = []
        for data in imaginary(self.data, self.layout.common(point)):
            density = given_rate(data, *self.asked).density
            columns.append(np.sum(weight * density.imag, axis=1) / STEP)
        return np.stack(columns, axis=1)

    def adapt(self, point: np.ndarray) -> None:
        """Place the nodes at the modes for a point; they stay there until released."""
        if RATE in self.layout.vary:
            self.width = self._climb(point)
        self.held = self._place()

    def release(self) -> None:
        """Let the nodes follow the posterior means of the evaluation before."""
        self.held = None

    def _place(self) -> Nodes:
        """Nodes and the logarithm of what each stands for."""
        if RATE not in self.layout.vary:
            return np.zeros((len(self.data.y), 1)), np.zeros((len(self.data.y), 1))
        width = self.width[:, None]
        z = self.peak[:, None] + np.sqrt(2) * width * self.places
        return z, self.mass - 0.5 * z**2 + np.log(width)

    def posterior(self, point: np.ndarray) -> tuple[float, np.ndarray, np.ndarray, Given]:
        """Log-likelihood, nodes, their weights for each learner, and the densities there."""
        z, mass = self.held or self._place()
        given, _ = self.conditional(point, z)
        heights = given.density + mass
        top = heights.max(axis=1, keepdims=True)
        weight = np.exp(heights - top)
        total = weight.sum(axis=1, keepdims=True)
        weight /= total
        if self.held is None and z.shape[1] > 1 and np.all(np.isfinite(weight)):
            self.peak = np.einsum("pq,pq->p", weight, z)
            spread = np.einsum("pq,pq->p", weight, (z - self.peak[:, None]) ** 2)
            self.width = np.clip(np.sqrt(spread), 0.7 * self.width, 1.4 * self.width)
        return float(np.sum(top + np.log(total))), z, weight, given

    def _climb(self, point: np.ndarray) -> np.ndarray:
        """Move each peak to the mode of its integrand; give the width of the integrand there."""
        if not np.all(np.isfinite(self.peak)):
            self.peak = np.zeros(len(self.data.y))
        for _ in range(INNER_STEPS):
            around = self.peak[:, None] + np.array([-DIFFERENCE, 0.0, DIFFERENCE])
            given, root = self.conditional(point, around)
            slope = root[0, 0] * given.pull[0] + root[1, 0] * given.pull[1]
            slope = slope + root[2, 0] * given.turn - around
            bend = (slope[:, 2] - slope[:, 0]) / (2 * DIFFERENCE)
            steep = np.maximum(-bend, 0.3)
            width: np.ndarray = 1 / np.sqrt(steep)
            step = np.clip(slope[:, 1] / steep, -1.0, 1.0)
            self.peak = np.clip(self.peak + step, -8.0, 8.0)
            if np.max(np.abs(step) / width) < PEAK_SLACK:
                break
        return width

    def value(self, point: np.ndarray) -> tuple[float, np.ndarray]:
        """Log-likelihood and its gradient."""
        loglik, scores = self.scores(point)
        return loglik, scores.sum(axis=0)

    def scores(self, point: np.ndarray) -> tuple[float, np.ndarray]:
        """Log-likelihood and each learner's gradient.

        By Fisher's identity it is the posterior mean of the gradient with the log rate given.
        """
        nodes = self.held or self._place()
        loglik, z, weight, given = self.posterior(point)
        self.seen = Seen(nodes, self.asked, given, weight)
        root, varies = self.layout.root(point), RATE in self.layout.vary
        each = np.stack([_mean(weight, part) for part in (*given.pull, given.turn)], axis=1)
        s11, s12, s22 = (_mean(weight, part)[:, None] for part in given.spread)
        by_root, (first, second) = np.zeros((len(each), *root.shape)), root[:2, varies:]
        by_root[:, 0, varies:] = s11 * first + s12 * second
        by_root[:, 1, varies:] = s12 * first + s22 * second
        if varies:
            lever = weight * z
            for row, part in enumerate((*given.pull, given.turn)):
                by_root[:, row, 0] = _mean(lever, part)
        sigma = _mean(weight, given.sigma)
        common = self._by_common(point, weight)
        return loglik, self.layout.scores(each, self.data.group, by_root, sigma, common)

    def information(self, point: np.ndarray, slope: np.ndarray) -> np.ndarray:
        """Minus the second derivatives at the point of the evaluation before, of this slope."""
        seen = self.seen
        assert seen is not None
        rate, *rest = seen.asked
        ahead = given_rate(self.dressed(point), rate + RATE_STEP, *rest)
        bends = second_slopes(seen.given, ahead, seen.weight, seen.nodes[0])
        inner = (self.member @ bends.reshape(len(bends), -1)).reshape(-1, *bends.shape[1:])
        levers = self.layout.levers(self.layout.root(point))
        bend: np.ndarray = (levers.transpose(0, 2, 1) @ inner @ levers).sum(axis=0)
        s11, s12, s22 = (float(np.sum(seen.weight * part)) for part in seen.given.spread)
        bend += self.layout.bent(np.array([0.5 * s11, s12, 0.5 * s22]))
        held, self.held = self.held, seen.nodes
        for place in range(self.layout.size - self.layout.extra, self.layout.size):
            moved = point.copy()
            moved[place] += COMMON_STEP * max(abs(point[place]), 0.1)
            turned = (self.value(moved)[1] - slope) / (moved[place] - point[place])
            bend[place] = bend[:, place] = turned
        self.held = held
        found: np.ndarray = -np.nan_to_num(bend)
        return found

    def learners(self, point: np.ndarray) -> np.ndarray:
        """Mean of asymptote, amount and log rate of each learner given the scores."""
        _, z, weight, given = self.posterior(point)
        cells, root = self.layout.cells(point)[self.data.group], self.layout.root(point)
        lean = root[:, 0] if RATE in self.layout.vary else np.zeros(3)
        own = [cells[:, [row]] + lean[row] * z for row in range(3)]
        own[0], own[1] = own[0] + given.bend[0], own[1] + given.bend[1]
        return np.stack([np.einsum("pq,pq->p", weight, part) for part in own], axis=1)


def _mean(weight: np.ndarray, part: np.ndarray) -> np.ndarray:
    """Mean over the nodes of each learner."""
    found: np.ndarray = np.einsum("pq,pq->p", weight, part)
    return found
