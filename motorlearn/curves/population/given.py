"""Density of a learner's Gaussian scores with the log rate given, and its derivatives.

Asymptote and amount enter the curve linearly and are integrated out in closed form.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from motorlearn.curves.population.learners import Learners

EPSILON, ROUNDING = float(np.finfo(float).eps), 1e-3
"""Rounding of a float, and the relative error of a determinant from where it is no number."""


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

    @cached_property
    def kernel(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Information of the scores on asymptote and amount, their covariance integrated out."""
        t11, t12, t22, *_ = self.sums
        b11, b12, b21, b22 = self.inverse
        return b11 * t11 + b12 * t12, b11 * t12 + b12 * t22, b21 * t12 + b22 * t22

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

    @cached_property
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
