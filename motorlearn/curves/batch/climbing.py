"""Newton's method for many learners at once, in two variables between bounds.

A surface gives loss, slope and bend of every learner in closed form. Where it does not bend
upwards, the bend of Gauss and Newton stands in, which always does.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields

import numpy as np

MOST_STEPS, LARGEST_STEP = 60, 1.5
ENOUGH = 1e-13
"""Gain that a step promises, as a share of the loss, below which it is the last."""
WORN = 1e10
BEFORE_LEAVING, FAR_BEHIND = 1, 10.0
"""Steps before a start is given up, and how many times what its step promised it must lack."""


@dataclass(frozen=True)
class Surface:
    """Loss, its two derivatives, and the bend and the safe bend as (first, mixed, second).

    ``height`` holds what the surface wants remembered, one column per number.
    """

    loss: np.ndarray
    slope: np.ndarray
    bend: np.ndarray
    safe: np.ndarray
    height: np.ndarray

    def pick(self, rows: np.ndarray) -> "Surface":
        """Some of the learners."""
        return Surface(*(getattr(self, item.name)[rows] for item in fields(self)))

    @classmethod
    def joined(cls, parts: Sequence["Surface"]) -> "Surface":
        """The learners of all parts, one part after the other."""
        return cls(
            *(np.concatenate([getattr(p, item.name) for p in parts]) for item in fields(cls))
        )

    def put(self, rows: np.ndarray, other: "Surface", where: np.ndarray) -> None:
        """Take what another place gave, where that is wanted."""
        for item in fields(self):
            getattr(self, item.name)[rows[where]] = getattr(other, item.name)[where]


Look = Callable[[np.ndarray, np.ndarray], Surface]
"""``look(rows, points)``: the surface of some learners at a point of each."""


def climb(
    look: Look,
    learner: np.ndarray,
    point: np.ndarray,
    bounds: tuple[np.ndarray, np.ndarray],
    floor: np.ndarray,
    *,
    beat: np.ndarray | None = None,
    most: int = MOST_STEPS,
    early: bool = False,
) -> tuple[np.ndarray, Surface, np.ndarray]:
    """Walk down from every start to the nearest low: point, surface there, whether settled.

    ``learner`` says whose start it is, in order; starts that cannot come as low as another of the
    same learner, or where it is given as low as ``beat``, are left where they are. ``floor`` is a
    loss within rounding of nothing; both have one entry per start. ``most`` steps are gone, and
    ``early`` does not go the last one, which gains nothing.
    """
    low, high = bounds
    begin = np.flatnonzero(np.r_[True, learner[1:] != learner[:-1]])
    own = np.repeat(np.arange(len(begin)), np.diff(np.r_[begin, len(learner)]))
    point = np.clip(point, low, high)
    active = np.arange(len(point))
    here = look(active, point)
    damping, settled = np.full(len(point), 1e-3), np.zeros(len(point), bool)
    for count in range(most):
        now, at = here.pick(active), point[active]
        step, gain = _step(now, at, low[active], high[active], damping[active])
        if early:
            on = gain > ENOUGH * now.loss + floor[active]
            settled[active[~on]] = True
            active, at, step, gain, now = active[on], at[on], step[on], gain[on], now.pick(on)
        tried = np.clip(at + step, low[active], high[active])
        new = look(active, tried)
        better = new.loss <= now.loss
        point[active[better]] = tried[better]
        here.put(active, new, better)
        damping[active] *= np.where(better, 0.05, 10.0)
        done = gain <= ENOUGH * now.loss + floor[active]
        settled[active] = done
        going = ~done & (damping[active] < WORN)
        if count >= BEFORE_LEAVING:
            lowest = np.minimum.reduceat(here.loss, begin)[own] if beat is None else beat
            going &= here.loss[active] - FAR_BEHIND * gain <= lowest[active]
        active = active[going]
        if not active.size:
            break
    return point, here, settled


def _step(
    now: Surface, at: np.ndarray, low: np.ndarray, high: np.ndarray, damping: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Step of each learner, and the gain it promises; what would leave its bounds is held."""
    slope = now.slope
    free = ~(((at <= low) & (slope > 0)) | ((at >= high) & (slope < 0)))
    slope = np.where(free, slope, 0.0)
    firm = _upwards(now.bend, free)
    a, b, c = np.where(firm, now.bend.T, now.safe.T)
    scale_a, scale_c = now.safe[:, 0], now.safe[:, 2]
    a = np.where(free[:, 0] & (scale_a > 0), a + damping * scale_a, 1.0)
    c = np.where(free[:, 1] & (scale_c > 0), c + damping * scale_c, 1.0)
    b = np.where(free.all(axis=1) & (scale_a > 0) & (scale_c > 0), b, 0.0)
    volume = np.maximum(a * c - b * b, 1e-13 * a * c)
    first = (b * slope[:, 1] - c * slope[:, 0]) / volume
    second = (b * slope[:, 0] - a * slope[:, 1]) / volume
    step = np.stack([first, second], axis=1)
    gain = -0.5 * (first * slope[:, 0] + second * slope[:, 1])
    return np.clip(step, -LARGEST_STEP, LARGEST_STEP), gain


def _upwards(bend: np.ndarray, free: np.ndarray) -> np.ndarray:
    """Whether the surface bends upwards in every direction that is free."""
    a, b, c = bend.T
    both = (a > 0) & (c > 0) & (a * c - b * b > 1e-9 * np.abs(a * c))
    alone = np.where(free[:, 0], a, c) > 0
    found: np.ndarray = np.where(free.all(axis=1), both, alone)
    return found


def local_lows(losses: np.ndarray, most: int) -> tuple[np.ndarray, np.ndarray]:
    """Learner and place of the best few nodes that are better than all their neighbours.

    Every learner has one at least, of whatever height.
    ``losses`` has one row per learner and the two axes of the grid; places count the flat grid.
    """
    around = _smallest_near(_smallest_near(losses, 1), 2)
    flat = np.where(losses <= around, losses, np.inf).reshape(len(losses), -1)
    some = np.argpartition(flat, most - 1, axis=1)[:, :most]
    height = np.take_along_axis(flat, some, axis=1)
    keep = np.isfinite(height)
    keep[np.arange(len(keep)), np.argmin(height, axis=1)] = True
    learner, rank = np.nonzero(keep)
    return learner, some[learner, rank]


def _smallest_near(values: np.ndarray, axis: int) -> np.ndarray:
    """Smallest of each value and its two neighbours along an axis."""
    whole = np.moveaxis(values, axis, -1)
    found = whole.copy()
    np.minimum(found[..., 1:], whole[..., :-1], out=found[..., 1:])
    np.minimum(found[..., :-1], whole[..., 1:], out=found[..., :-1])
    return np.moveaxis(found, -1, axis)


def best_of(learner: np.ndarray, loss: np.ndarray, count: int) -> np.ndarray:
    """Row with the smallest loss of each learner; none is absent."""
    order = np.lexsort((loss, learner))
    found: np.ndarray = order[np.searchsorted(learner[order], np.arange(count))]
    return found
