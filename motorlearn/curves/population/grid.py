"""Likelihood of a population by adaptive Gauss-Hermite quadrature over all that varies.

Where the scores of a learner are not Gaussian given the log rate (hits, lognormal errors, errors of
a t distribution) nothing is integrated out in closed form. The integral over a learner's random
effects is taken on a grid of nodes, centred at its mode and turned along its curvature.
"""

from dataclasses import dataclass, field
from itertools import product
from typing import ClassVar

import numpy as np
from scipy.special import logsumexp

from motorlearn.curves.population.ascent import observed_information
from motorlearn.curves.population.layout import Layout
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.population.marginal import gauss_hermite

INNER_STEPS = 60
Density = tuple[np.ndarray, np.ndarray, np.ndarray, tuple[np.ndarray, ...]]


@dataclass
class GridMarginal:
    """Log-likelihood and gradient; one node is Laplace's approximation."""

    data: Learners
    layout: Layout
    nodes: int
    peak: np.ndarray = field(init=False)
    z: np.ndarray = field(init=False)
    mass: np.ndarray = field(init=False)
    ways: np.ndarray | float = field(init=False, default=0.0)
    bends: ClassVar[bool] = False
    now: Learners = field(init=False, repr=False)

    def __post_init__(self) -> None:
        size = len(self.layout.vary)
        self.now = self.data
        self.peak = np.zeros((len(self.data.y), size))
        places, masses = gauss_hermite(self.nodes)
        self.places = np.array(list(product(places, repeat=size)))
        self.masses = np.array([np.sum(m) for m in product(np.log(masses), repeat=size)])

    def density(self, point: np.ndarray, own: np.ndarray) -> Density:
        """Log density with parameters ``own`` (learners, nodes, 3), and its derivatives.

        They are a residual and a weight of each row, and the tangent: what residual (slope) and
        weight (curvature) are multiplied with to be by asymptote, amount and log rate.
        """
        raise NotImplementedError

    def by_common(
        self, point: np.ndarray, own: np.ndarray, weights: np.ndarray, pull: np.ndarray
    ) -> np.ndarray:
        """Gradient of each learner by the common terms; ``pull`` is the weighted residual."""
        raise NotImplementedError

    def by_sigma(self, weights: np.ndarray, residual: np.ndarray, weight: np.ndarray) -> np.ndarray:
        """Gradient of each learner by the log residual SD, where there is one."""
        return np.zeros(len(weights))

    def bend(self, point: np.ndarray, weight: np.ndarray) -> np.ndarray:
        """Weights of the rows that give the curvature at the mode."""
        return weight

    def parameters(self, point: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Parameters at standardised effects ``z`` (learners, nodes, effects), and their root."""
        cells, root = self.layout.cells(point)[self.data.group], self.layout.root(point)
        return cells[:, None, :] + z @ root.T, root

    def _climb(self, point: np.ndarray) -> np.ndarray:
        """Move every peak to the mode; give the inverse root of the curvature there."""
        size = len(self.layout.vary)
        height = np.full(len(self.peak), -np.inf)
        best, step = self.peak.copy(), np.zeros_like(self.peak)
        for _ in range(INNER_STEPS):
            tried = best + step
            own, root = self.parameters(point, tried[:, None, :])
            log_density, residual, weight, tangent = self.density(point, own)
            new = log_density[:, 0] - 0.5 * np.sum(tried**2, axis=1)
            better = new >= height - 1e-12 * np.abs(new)
            best[better], height[better] = tried[better], new[better]
            turned = _turned(tangent, root)
            slope = np.einsum("ptr,pt->pr", turned, residual[:, 0]) - tried
            bend = np.einsum("ptr,pt,pts->prs", turned, weight[:, 0], turned) + np.eye(size)
            if not np.all(better):
                step = np.where(better[:, None], step, 0.5 * step)
                step[better] = np.linalg.solve(bend[better], slope[better][:, :, None])[:, :, 0]
            else:
                step = np.linalg.solve(bend, slope[:, :, None])[:, :, 0]
            step = np.clip(step, -1.5, 1.5)
            if np.max(np.abs(step)) < 1e-4:
                break
        self.peak = best
        own, root = self.parameters(point, best[:, None, :])
        _, _, weight, tangent = self.density(point, own)
        turned, weight = _turned(tangent, root), self.bend(point, weight)
        bend = np.einsum("ptr,pt,pts->prs", turned, weight[:, 0], turned) + np.eye(size)
        return np.linalg.inv(np.linalg.cholesky(bend))

    def adapt(self, point: np.ndarray) -> None:
        """Place the nodes for a point; they stay there until they are placed anew."""
        self._dress(point)
        turn = self._climb(point)
        self.z = self.peak[:, None, :] + np.sqrt(2) * np.einsum("psr,qs->pqr", turn, self.places)
        size = len(self.layout.vary)
        spread = np.log(np.abs(np.linalg.det(turn))) - 0.5 * size * np.log(np.pi)
        mass = self.masses + np.sum(self.places**2, axis=1)
        self.mass = mass - 0.5 * np.sum(self.z**2, axis=2) + (spread + self.ways)[:, None]

    def release(self) -> None:
        """The nodes never move while climbing: the gradient would not be exact."""

    def value(self, point: np.ndarray) -> tuple[float, np.ndarray]:
        """Log-likelihood on the nodes as they are placed, and its exact gradient."""
        loglik, scores = self.scores(point)
        return loglik, scores.sum(axis=0)

    def information(self, point: np.ndarray, slope: np.ndarray) -> np.ndarray:
        """Minus the second derivatives, by differences of the exact gradient ``slope``."""
        return observed_information(self.value, point, slope)

    def scores(self, point: np.ndarray) -> tuple[float, np.ndarray]:
        """Log-likelihood and each learner's gradient."""
        self._dress(point)
        own, _ = self.parameters(point, self.z)
        log_density, residual, weight, tangent = self.density(point, own)
        heights = log_density + self.mass
        total = logsumexp(heights, axis=1)
        weights = np.exp(heights - total[:, None])
        each = weights[:, :, None] * np.stack(
            [np.einsum("pqt,pqt->pq", residual, part) for part in tangent], axis=2
        )
        by_root = np.einsum("pqk,pqr->pkr", each, self.z)
        common = None
        if self.data.common is not None:
            common = self.by_common(point, own, weights, weights[:, :, None] * residual)
        by_sigma = self.by_sigma(weights, residual, weight)
        rows = self.layout.scores(each.sum(axis=1), self.data.group, by_root, by_sigma, common)
        return float(total.sum()), rows

    def _dress(self, point: np.ndarray) -> None:
        """Put on the learners what they have in common at a point."""
        if self.data.common is not None:
            self.now = self.data.common.dressed(self.data, self.layout.common(point))

    def learners(self, point: np.ndarray) -> np.ndarray:
        """Mean of asymptote, amount and log rate of each learner given the rows."""
        cells, root = self.layout.cells(point)[self.data.group], self.layout.root(point)
        own, _ = self.parameters(point, self.z)
        heights = self.density(point, own)[0] + self.mass
        weights = np.exp(heights - logsumexp(heights, axis=1)[:, None])
        found: np.ndarray = cells + np.einsum("pq,pqr->pr", weights, self.z) @ root.T
        return found


def curve_parts(
    data: Learners, own: np.ndarray
) -> tuple[np.ndarray, tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Curve at the rows, and its derivatives by asymptote, amount and log rate."""
    basis, tilt = data.bare(own[:, :, 2])
    used = data.used[:, None, :]
    one = used - basis if data.start else used + 0 * basis
    height, amount = own[:, :, 0][:, :, None], own[:, :, 1][:, :, None]
    steep = (amount - height) * tilt if data.start else amount * tilt
    return height * one + amount * basis, (one, basis, steep)


def _turned(tangent: tuple[np.ndarray, ...], root: np.ndarray) -> np.ndarray:
    """Derivatives of the curve by the standardised effects at one node per learner."""
    found: np.ndarray = sum(part[:, 0, :, None] * row for part, row in zip(tangent, root))
    return found
