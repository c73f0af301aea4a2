"""Likelihood of a population curve with Gaussian scores: exact where parameters are linear.

Asymptote and amount (gain or start) enter the curve linearly. With the log rate of a learner
given, the scores are Gaussian and both are integrated out exactly. Where the log rate does not
vary that is the whole likelihood; where it varies, one dimension is left and integrated by
adaptive Gauss-Hermite quadrature.
"""

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np

from motorlearn.curves.population.layout import RATE, Layout
from motorlearn.curves.population.learners import STEP, Learners, imaginary

INNER_STEPS = 25
DIFFERENCE = 1e-4
EPSILON, ROUNDING = float(np.finfo(float).eps), 1e-3
"""Rounding of a float, and the relative error of a determinant from where it is no number."""
PEAK_SLACK = 0.1
"""Distance from the mode, in posterior SDs, at which the nodes sit well enough."""


@lru_cache(maxsize=64)
def gauss_hermite(nodes: int) -> tuple[np.ndarray, np.ndarray]:
    """Places and weights of Gauss-Hermite quadrature, which take longer than one integral."""
    places, weights = np.polynomial.hermite.hermgauss(nodes)
    return places, weights


@dataclass(frozen=True)
class Given:
    """Log density of each learner's scores given the log rate, and its derivatives.

    Arrays are (learners, nodes). ``pull`` are derivatives by asymptote and amount, ``turn`` by
    the log rate, ``sigma`` by the log residual SD, ``spread`` (3 arrays: 11, 12, 22) by the
    covariance of asymptote and amount, ``bend`` their conditional means. ``sums`` are those of the
    rows, ``inverse`` the inverse of the residual variance times the volume that is left.
    """

    density: np.ndarray
    pull: tuple[np.ndarray, np.ndarray]
    turn: np.ndarray
    bend: tuple[np.ndarray, np.ndarray]
    sums: tuple[np.ndarray, ...]
    inverse: tuple[np.ndarray, ...]
    quadratic: tuple[np.ndarray, np.ndarray]
    spare: np.ndarray
    variance: float

    @property
    def spread(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Derivatives by the covariance of asymptote and amount."""
        t11, t12, t22, *_ = self.sums
        b11, b12, b21, b22 = self.inverse
        v1, v2 = self.pull
        return (
            v1 * v1 - b11 * t11 - b12 * t12,
            v1 * v2 - b11 * t12 - b12 * t22,
            v2 * v2 - b21 * t12 - b22 * t22,
        )

    @property
    def sigma(self) -> np.ndarray:
        """Derivative by the log residual SD."""
        t11, t12, t22, *_ = self.sums
        (m1, m2), (squares, off) = self.bend, self.quadratic
        inner = m1 * (t11 * m1 + 2 * t12 * m2) + m2 * t22 * m2
        volume = self.variance * (self.inverse[0] + self.inverse[3])
        found: np.ndarray = (squares - 2 * off + inner) / self.variance - self.spare - volume
        return found


def given_rate(
    data: Learners,
    log_rate: np.ndarray,
    height: np.ndarray,
    amount: np.ndarray,
    cover: tuple[float, float, float],
    variance: float,
) -> Given:
    """Density of the scores with asymptote and amount integrated out.

    ``height`` and ``amount`` are their means at each node, ``cover`` (c11, c12, c22) their
    covariance, ``variance`` the residual variance.
    """
    c11, c12, c22 = cover
    sums = _sums(data, *data.fall(log_rate))
    t11, t12, t22, s1, s2, q1, q2, dy = sums
    b11, b12 = (variance + t11 * c11) + t12 * c12, t11 * c12 + t12 * c22
    b21, b22 = t12 * c11 + t22 * c12, (variance + t12 * c12) + t22 * c22
    volume = b11 * b22 - b12 * b21
    blurred = ~(EPSILON * np.abs((b11 * b22).real) < ROUNDING * volume.real)
    shrunk = 1 / volume
    b11, b12, b21, b22 = b22 * shrunk, -b12 * shrunk, -b21 * shrunk, b11 * shrunk
    e1, e2 = s1 - t11 * height - t12 * amount, s2 - t12 * height - t22 * amount
    squares = data.squares - height * (s1 + e1) - amount * (s2 + e2)
    v1, v2 = b11 * e1 + b12 * e2, b21 * e1 + b22 * e2
    m1, m2 = c11 * v1 + c12 * v2, c12 * v1 + c22 * v2
    off = e1 * m1 + e2 * m2
    spare = data.rows - 2
    constant = -0.5 * (data.rows * np.log(2 * np.pi) + spare * np.log(variance)) - data.volume
    density = constant - 0.5 * (np.log(volume) + (squares - off) / variance)
    # Far from the scores rounding decides, and a sum of squares can come out below nothing.
    density = np.where(blurred | ((squares - off).real < 0), -np.inf, density)
    a1, a2 = height + m1, amount + m2
    # The two columns of the curve move with the log rate as lean and 1 times one derivative.
    lean = -1.0 if data.start else 0.0
    turn = (a2 + lean * a1 if lean else a2) * (dy - a1 * q1 - a2 * q2) / variance
    turn -= (lean * c11 + c12) * (b11 * q1 + b12 * q2)
    turn -= (lean * c12 + c22) * (b21 * q1 + b22 * q2)
    inverse = (b11, b12, b21, b22)
    return Given(density, (v1, v2), turn, (m1, m2), sums, inverse, (squares, off), spare, variance)


def _sums(data: Learners, basis: np.ndarray, tilt: np.ndarray) -> tuple[np.ndarray, ...]:
    """Inner products of the curve's two columns, the scores and the derivative of the basis."""
    with_ones, with_tilt = basis @ data.pair, tilt @ data.pair
    f, fy = with_ones[:, :, 0], with_ones[:, :, 1]
    d, dy = with_tilt[:, :, 0], with_tilt[:, :, 1]
    ff = np.einsum("pqt,pqt->pq", basis, basis)
    fd = np.einsum("pqt,pqt->pq", basis, tilt)
    total = data.total
    if not data.start:
        return data.count, f, ff, total, fy, d, fd, dy
    # Columns 1 - basis and basis.
    return data.count - 2 * f + ff, f - ff, ff, total - fy, fy, d - fd, fd, dy


@dataclass
class Marginal:
    """Log-likelihood and gradient in the layout's vector; keeps where each integral peaks."""

    data: Learners
    layout: Layout
    nodes: int
    peak: np.ndarray = field(init=False)
    width: np.ndarray = field(init=False)
    held: tuple[np.ndarray, np.ndarray] | None = field(init=False, default=None)
    last: tuple[np.ndarray, Learners] | None = field(init=False, default=None, repr=False)
    asked: tuple[Any, ...] = field(init=False, default=(), repr=False)

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
        height, amount, rate = (cells[:, row, None] + lean[row] * z for row in range(3))
        covers = (float(cover[0, 0]), float(cover[0, 1]), float(cover[1, 1]))
        variance = float(np.exp(2 * self.layout.log_sigma(point)))
        self.asked = rate, height, amount, covers, variance
        return given_rate(self.dressed(point), *self.asked), root

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

    def _place(self) -> tuple[np.ndarray, np.ndarray]:
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
        loglik, z, weight, given = self.posterior(point)
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
