"""What a population curve is compared with: a flat line, straight lines, steps, one for each.

Each rival has the same variation between learners of level and amount, so that only the shape is
asked about.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import chi2

from motorlearn.curves.population.ascent import Likelihood, approach, settle
from motorlearn.curves.population.hits import HitMarginal
from motorlearn.curves.population.layout import AMOUNT, RATE, Layout
from motorlearn.curves.population.marginal import Learners, Marginal
from motorlearn.curves.status import FLAT_LEVEL

SHAPES = ("flat", "line", "step")
NODES = 7


@dataclass(frozen=True)
class Rival(Learners):
    """Learners whose basis is a straight line from 0 to 1, a step, or nothing."""

    shape: str = "flat"

    def fall(self, log_rate: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Basis at every node, and zeros: nothing depends on a rate."""
        inside = self.used > 0
        least = np.min(np.where(inside, self.n, np.inf))
        x = -self.form.log_basis(self.n, [1.0], self.first)
        low, high = np.min(x[inside]), np.max(x[inside])
        basis = {
            "flat": 0.0 * x,
            "line": (high - x) / max(high - low, 1e-300),
            "step": (self.n == least).astype(float),
        }[self.shape]
        shape = (len(self.y), log_rate.shape[1], self.y.shape[1])
        spread = np.broadcast_to((basis * self.used)[:, None, :], shape)
        return spread, np.zeros(shape)


@dataclass
class Held:
    """A likelihood with some coordinates held at values."""

    inner: Likelihood
    held: Mapping[int, float]
    size: int

    def __post_init__(self) -> None:
        self.free = np.array([k for k in range(self.size) if k not in self.held], int)

    def whole(self, point: np.ndarray) -> np.ndarray:
        """The full vector."""
        full = np.empty(self.size)
        full[self.free] = point
        for place, value in self.held.items():
            full[place] = value
        return full

    def value(self, point: np.ndarray) -> tuple[float, np.ndarray]:
        """Log-likelihood and gradient by the free coordinates."""
        height, slope = self.inner.value(self.whole(point))
        return height, slope[self.free]

    def scores(self, point: np.ndarray) -> tuple[float, np.ndarray]:
        """Log-likelihood and each learner's gradient."""
        height, each = self.inner.scores(self.whole(point))
        return height, each[:, self.free]

    def adapt(self, point: np.ndarray) -> None:
        """Place the nodes."""
        self.inner.adapt(self.whole(point))

    def release(self) -> None:
        """Let the nodes follow."""
        self.inner.release()


def rival_loglik(data: Learners, layout: Layout, shape: str) -> tuple[float, int]:
    """Maximum of a rival's log-likelihood, and how many parameters it has."""
    rival = Rival(
        data.form, data.n, data.y, data.used, data.group, data.first, False, data.trials, shape
    )
    rows = [row for row in layout.vary if row != RATE]
    if shape == "flat":
        rows = [row for row in rows if row != AMOUNT]
    several = layout.groups > 1
    simpler = replace(
        layout, differ=(several, several and shape != "flat", False), vary=tuple(rows)
    )
    unused = [simpler.fixed - 1] + ([simpler.fixed - 2] if shape == "flat" else [])
    exact = data.trials is None
    inner = Marginal(rival, simpler, 1) if exact else HitMarginal(rival, simpler, NODES)
    held = Held(inner, dict.fromkeys(unused, 0.0), simpler.size)
    start = simpler.point(*_start(rival, simpler))[held.free]
    point, inverse = approach(held, start, rounds=1 if exact else 8)
    return settle(held, point, inverse).loglik, simpler.size - len(unused)


def _start(rival: Rival, layout: Layout) -> tuple[np.ndarray, np.ndarray, float]:
    """Least squares of each group's rows on the basis."""
    basis = rival.fall(np.zeros((len(rival.y), 1)))[0][:, 0]
    y = rival.y
    if rival.trials is not None:
        m = np.maximum(rival.trials, 1)
        y = np.log((rival.y + 0.5) / (m - rival.y + 0.5))
    cells, left = np.zeros((layout.groups, 3)), []
    for k in range(layout.groups):
        inside = (rival.group == k)[:, None] & (rival.used > 0)
        design = np.stack([np.ones(inside.sum()), basis[inside]], axis=1)
        found = np.linalg.lstsq(design, y[inside])[0]
        cells[k, :2] = found
        left.append(y[inside] - design @ found)
    noise = float(np.std(np.concatenate(left)))
    spread = np.full(3, 0.5 * max(noise, 1e-3))
    return cells, spread, float(np.log(max(noise, 1e-3)))


def as_good(data: Learners, layout: Layout, loglik: float, shape: str) -> bool:
    """Whether a rival is not rejected against the curve (likelihood ratio, 5 %)."""
    height, size = rival_loglik(data, layout, shape)
    return bool(2 * (loglik - height) < chi2.isf(FLAT_LEVEL, max(layout.size - size, 1)))


def unchanging(data: Learners, layout: Layout) -> bool:
    """Whether a flat line is not rejected against straight lines and steps."""
    with np.errstate(all="ignore"):
        flat, few = rival_loglik(data, layout, "flat")
        for shape in ("line", "step"):
            height, many = rival_loglik(data, layout, shape)
            if not 2 * (height - flat) < chi2.isf(FLAT_LEVEL, max(many - few, 1)):
                return False
    return True
