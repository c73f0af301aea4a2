"""What a population curve is compared with: a flat line, straight lines, steps, one for each.

Each rival has the same variation between learners of level and amount, so that only the shape is
asked about.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import chdtri

from motorlearn.curves.population.arrays import log_level
from motorlearn.curves.population.ascent import Likelihood, approach, top
from motorlearn.curves.population.layout import AMOUNT, RATE, Layout
from motorlearn.curves.population.learners import Learners, rate_of
from motorlearn.curves.population.likelihoods import likelihood_of
from motorlearn.curves.status import FLAT_LEVEL

NODES = 7
SURE = 2.0
"""Twice the log-likelihood beyond the critical value from where a climb need not be finished."""


@dataclass(frozen=True)
class Rival(Learners):
    """Learners whose basis is a straight line from 0 to 1, a step, or nothing."""

    shape: str = "flat"

    @cached_property
    def plain(self) -> np.ndarray:
        """The basis of every learner, shape (learners, rows)."""
        inside = self.used > 0
        least = np.min(np.where(inside, self.n, np.inf))
        bent = not self.form.linear
        x = self.n if bent else -np.real(self._log_slope(self.n)[0]) + 0.0 * self.n
        low, high = np.min(x[inside]), np.max(x[inside])
        if self.shape == "flat":
            return np.zeros_like(self.n)
        line = (high - x) / max(high - low, 1e-300)
        found: np.ndarray = line if self.shape == "line" else (self.n == least).astype(float)
        shown: np.ndarray = found * self.used
        return shown

    def bare(self, log_rate: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The basis at every node, and zeros: nothing depends on a rate."""
        shape = (len(self.y), log_rate.shape[1], self.y.shape[1])
        return np.broadcast_to(self.plain[:, None, :], shape), np.zeros(shape)


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

    @property
    def bends(self) -> bool:
        """Whether second derivatives cost little more than slopes."""
        return self.inner.bends

    def information(self, point: np.ndarray, slope: np.ndarray) -> np.ndarray:
        """Minus the second derivatives by the free coordinates."""
        full = np.zeros(self.size)
        full[self.free] = slope
        whole = self.inner.information(self.whole(point), full)
        found: np.ndarray = whole[np.ix_(self.free, self.free)]
        return found

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


@dataclass(frozen=True)
class Asked:
    """A curve of a population at its maximum: what rivals are compared with."""

    data: Learners
    layout: Layout
    loglik: float

    def verdicts(self) -> tuple[bool, bool, bool]:
        """Whether a flat line, straight lines and steps are not rejected against the curve."""
        line, line_cut = self._bounded("line")
        step, step_cut = self._bounded("step")
        # Lines and steps are ends of the curve: where one is higher, the search stopped short.
        short = min(line, step, 0.0)
        # A flat line is a straight one as well, so it can't be nearer to the curve.
        flat = line < self._cut("flat") + SURE
        if flat:
            statistic, cut = self._statistic("flat")
            flat = statistic - short < cut
        return flat, line - short < line_cut, step - short < step_cut

    def straight(self) -> bool:
        """Whether straight lines are not rejected against the curve, and are not above it."""
        line, cut = self._bounded("line")
        return 0 <= line < cut

    def _cut(self, shape: str) -> float:
        simpler, unused = _simpler(self.data, self.layout, shape)
        spare = self.layout.size - simpler.size + len(unused)
        return float(chdtri(max(spare, 1), FLAT_LEVEL))

    def _bounded(self, shape: str) -> tuple[float, float]:
        """Statistic of a rival and its critical value; a lower bound where that is beyond it."""
        cut, least = self._cut(shape), 2 * (self.loglik - ceiling(self.data, shape))
        return (least, cut) if least > cut + SURE else self._statistic(shape)

    def _statistic(self, shape: str) -> tuple[float, float]:
        """Likelihood-ratio statistic of a rival and its critical value at 5 %.

        Well beyond it the climb is not finished, and the statistic is a little too large.
        """
        held, _, start = _rival(self.data, self.layout, shape)
        cut = self._cut(shape)
        exact = self.data.closed
        point, inverse = approach(held, start, rounds=1 if exact else 8)
        rough = 2 * (self.loglik - held.value(point)[0])
        if exact and rough > cut + SURE:
            return rough, cut
        return 2 * (self.loglik - top(held, point, inverse)[1]), cut


def worn(data: Learners, layout: Layout, point: np.ndarray) -> Learners:
    """The learners with what they have in common at a point."""
    return data if data.common is None else data.common.dressed(data, layout.common(point))


def progress_at(data: Learners, layout: Layout, point: np.ndarray) -> float:
    """Log drop of the basis over the practice seen, in the group where it is least."""
    inside, there = data.used > 0, worn(data, layout, point)
    ends = np.array([data.n[inside].min(), data.n[inside].max()])
    drops = [there.log_basis(ends, rate) for rate in rate_of(layout.cells(point)[:, RATE])]
    return float(min(both[0] - both[1] for both in drops))


def ceiling(data: Learners, shape: str) -> float:
    """A height that no population of a rival's shape reaches: every learner has a line alone.

    The mean of a density over learners is never above its largest value. Infinite for hits, for
    errors that are not normal and where rows are whitened.
    """
    if not data.closed or (data.common is not None and data.common.noise is not None):
        return np.inf
    basis = _as_rival(data, shape).plain
    used, count = data.used, data.rows[:, 0]
    rise = used * (basis - np.sum(used * basis, axis=1, keepdims=True) / count[:, None])
    left = used * (data.y - np.sum(used * data.y, axis=1, keepdims=True) / count[:, None])
    square, both = np.sum(rise**2, axis=1), np.sum(rise * left, axis=1)
    squares = np.sum(left**2) - np.sum(both**2 / np.where(square > 1e-12, square, np.inf))
    n = float(count.sum())
    return float(-0.5 * n * (np.log(2 * np.pi * max(squares, 1e-300) / n) + 1))


def _as_rival(data: Learners, shape: str) -> Rival:
    """The learners with a rival's basis."""
    common = data.common.noise if data.common is not None else None
    parts = (data.form, data.n, data.y, data.used, data.group, data.first, False, data.trials)
    return Rival(*parts, common, data.second, law=data.law, shape=shape)


def _simpler(data: Learners, layout: Layout, shape: str) -> tuple[Layout, list[int]]:
    """Layout of a rival, and the places in it that it does not need."""
    common = data.common.noise if data.common is not None else None
    rows = [row for row in layout.vary if row != RATE]
    if shape == "flat":
        rows = [row for row in rows if row != AMOUNT]
    several = layout.groups > 1
    simpler = replace(
        layout,
        differ=(several, several and shape != "flat", False),
        vary=tuple(rows),
        extra=len(common.starts) if common is not None else 0,
    )
    return simpler, [simpler.fixed - 1] + ([simpler.fixed - 2] if shape == "flat" else [])


def _rival(data: Learners, layout: Layout, shape: str) -> tuple[Held, Layout, np.ndarray]:
    """Likelihood of a rival with what it does not need held, its layout and a start."""
    rival = _as_rival(data, shape)
    simpler, unused = _simpler(data, layout, shape)
    inner = likelihood_of(rival, simpler, 1 if data.closed else NODES)
    held = Held(inner, dict.fromkeys(unused, 0.0), simpler.size)
    return held, simpler, simpler.point(*_start(rival, simpler))[held.free]


def rival_loglik(data: Learners, layout: Layout, shape: str) -> tuple[float, int]:
    """Maximum of a rival's log-likelihood, and how many parameters it has."""
    held, _, start = _rival(data, layout, shape)
    point, inverse = approach(held, start, rounds=1 if data.closed else 8)
    return top(held, point, inverse)[1], len(held.free)


def _start(rival: Rival, layout: Layout) -> tuple[np.ndarray, np.ndarray, float]:
    """Least squares of each group's rows on the basis."""
    basis = rival.plain
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
    return cells, spread, float(np.log(max(noise, 1e-3))) - log_level(rival)


def unchanging(data: Learners, layout: Layout) -> bool:
    """Whether a flat line is not rejected against straight lines and steps."""
    with np.errstate(all="ignore"):
        flat, few = rival_loglik(data, layout, "flat")
        for shape in ("line", "step"):
            height, many = rival_loglik(data, layout, shape)
            if not 2 * (height - flat) < chdtri(max(many - few, 1), FLAT_LEVEL):
                return False
    return True
