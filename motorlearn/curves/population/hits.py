"""Likelihood of a population curve of hits: binomial, by adaptive Gauss-Hermite quadrature."""

from dataclasses import dataclass, field
from itertools import product

import numpy as np
from scipy.special import expit, log_expit, logsumexp

from motorlearn.curves.population.layout import Layout
from motorlearn.curves.population.learners import STEP, Learners, imaginary
from motorlearn.curves.population.marginal import gauss_hermite
from motorlearn.measures.hits import log_choose

INNER_STEPS = 60


@dataclass
class HitMarginal:
    """Log-likelihood and gradient of hits; the curve is on the logit scale.

    The integral over a learner's random effects is taken on a grid of ``nodes`` per dimension,
    centred at its mode and turned along its curvature. One node is Laplace's approximation.
    """

    data: Learners
    layout: Layout
    nodes: int
    peak: np.ndarray = field(init=False)
    z: np.ndarray = field(init=False)
    mass: np.ndarray = field(init=False)
    now: Learners = field(init=False, repr=False)

    def __post_init__(self) -> None:
        size = len(self.layout.vary)
        self.now = self.data
        self.peak = np.zeros((len(self.data.y), size))
        places, masses = gauss_hermite(self.nodes)
        self.places = np.array(list(product(places, repeat=size)))
        self.masses = np.array([np.sum(m) for m in product(np.log(masses), repeat=size)])
        k, m = self.data.heavy, self.data.trials * self.data.used
        self.trials = m
        self.ways = (self.data.used * log_choose(k, m)).sum(axis=1)

    def density(
        self, cells: np.ndarray, root: np.ndarray, z: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray, tuple[np.ndarray, np.ndarray, np.ndarray]]:
        """Log density at ``z`` (learners, nodes, effects), score residual, weight and tangent.

        The tangent holds derivatives of the logit by asymptote, amount and log rate.
        """
        own = cells[:, None, :] + z @ root.T
        basis, tilt = self.now.fall(own[:, :, 2])
        used = self.data.used[:, None, :]
        one = used - basis if self.data.start else used + 0 * basis
        height, amount = own[:, :, 0][:, :, None], own[:, :, 1][:, :, None]
        eta = height * one + amount * basis
        steep = (amount - height) * tilt if self.data.start else amount * tilt
        hits, trials = self.data.heavy[:, None, :], self.trials[:, None, :]
        log_density = np.sum(hits * log_expit(eta) + (trials - hits) * log_expit(-eta), axis=2)
        p = expit(eta)
        return log_density, hits - trials * p, trials * p * (1 - p), (one, basis, steep)

    def _climb(self, cells: np.ndarray, root: np.ndarray) -> np.ndarray:
        """Move every peak to the mode; give the inverse root of the curvature there."""
        size = root.shape[1]
        height = np.full(len(self.peak), -np.inf)
        damping = np.full(len(self.peak), 1e-6)
        best, step = self.peak.copy(), np.zeros_like(self.peak)
        for _ in range(INNER_STEPS):
            tried = best + step
            log_density, residual, weight, tangent = self.density(cells, root, tried[:, None, :])
            new = log_density[:, 0] - 0.5 * np.sum(tried**2, axis=1)
            better = new >= height - 1e-12 * np.abs(new)
            best[better], height[better] = tried[better], new[better]
            damping *= np.where(better, 0.1, 10.0)
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
        _, _, weight, tangent = self.density(cells, root, best[:, None, :])
        turned = _turned(tangent, root)
        bend = np.einsum("ptr,pt,pts->prs", turned, weight[:, 0], turned) + np.eye(size)
        return np.linalg.inv(np.linalg.cholesky(bend))

    def adapt(self, point: np.ndarray) -> None:
        """Place the nodes for a point; they stay there until they are placed anew."""
        self._dress(point)
        cells, root = self.layout.cells(point)[self.data.group], self.layout.root(point)
        turn = self._climb(cells, root)
        self.z = self.peak[:, None, :] + np.sqrt(2) * np.einsum("psr,qs->pqr", turn, self.places)
        spread = np.log(np.abs(np.linalg.det(turn))) - 0.5 * root.shape[1] * np.log(np.pi)
        mass = self.masses + np.sum(self.places**2, axis=1)
        self.mass = mass - 0.5 * np.sum(self.z**2, axis=2) + (spread + self.ways)[:, None]

    def release(self) -> None:
        """Nodes of hits never move while climbing: their gradient would not be exact."""

    def value(self, point: np.ndarray) -> tuple[float, np.ndarray]:
        """Log-likelihood on the nodes as they are placed, and its exact gradient."""
        loglik, scores = self.scores(point)
        return loglik, scores.sum(axis=0)

    def scores(self, point: np.ndarray) -> tuple[float, np.ndarray]:
        """Log-likelihood and each learner's gradient."""
        self._dress(point)
        cells, root = self.layout.cells(point)[self.data.group], self.layout.root(point)
        log_density, residual, _, tangent = self.density(cells, root, self.z)
        heights = log_density + self.mass
        total = logsumexp(heights, axis=1)
        weights = np.exp(heights - total[:, None])
        each = weights[:, :, None] * np.stack(
            [np.einsum("pqt,pqt->pq", residual, part) for part in tangent], axis=2
        )
        by_root = np.einsum("pqk,pqr->pkr", each, self.z)
        nothing = np.zeros(len(each))
        return float(total.sum()), self.layout.scores(
            each.sum(axis=1),
            self.data.group,
            by_root,
            nothing,
            self._by_common(point, cells, root, weights[:, :, None] * residual),
        )

    def _dress(self, point: np.ndarray) -> None:
        """Put on the learners what they have in common at a point."""
        if self.data.common is not None:
            self.now = self.data.common.dressed(self.data, self.layout.common(point))

    def _by_common(
        self, point: np.ndarray, cells: np.ndarray, root: np.ndarray, pull: np.ndarray
    ) -> np.ndarray | None:
        """Gradient of each learner by the common terms: they move the basis."""
        if self.data.common is None:
            return None
        own = cells[:, None, :] + self.z @ root.T
        height, amount = own[:, :, [0]], own[:, :, [1]]
        lever = amount - height if self.data.start else amount
        columns = [
            np.sum(pull * lever * data.fall(own[:, :, 2])[0].imag, axis=(1, 2)) / STEP
            for data in imaginary(self.data, self.layout.common(point))
        ]
        return np.stack(columns, axis=1)

    def learners(self, point: np.ndarray) -> np.ndarray:
        """Mean of asymptote, amount and log rate of each learner given the hits."""
        cells, root = self.layout.cells(point)[self.data.group], self.layout.root(point)
        heights = self.density(cells, root, self.z)[0] + self.mass
        weights = np.exp(heights - logsumexp(heights, axis=1)[:, None])
        found: np.ndarray = cells + np.einsum("pq,pqr->pr", weights, self.z) @ root.T
        return found


def _turned(tangent: tuple[np.ndarray, ...], root: np.ndarray) -> np.ndarray:
    """Derivatives of the logit by the standardised effects at one node per learner."""
    found: np.ndarray = sum(part[:, 0, :, None] * row for part, row in zip(tangent, root))
    return found
