"""Rows of a population: arrays of whole learners, a common scale, and starting values."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from motorlearn.curves.batch.one_batch import Batch, fit_batch
from motorlearn.curves.population.layout import Layout
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.status import NOT_SEEN, OK

LARGEST_START = 3.0
"""Size of the unbounded start of something shared beyond which a search would begin at an edge."""
LEAST_CLEAR = 3
"""Learners of a group with a clear curve of their own below which the pooled curve is the start."""


@dataclass(frozen=True)
class Scale:
    """How scores were moved and stretched before fitting; for hits nothing was."""

    middle: float
    unit: float

    def natural(self, cells: np.ndarray, start: bool) -> np.ndarray:
        """Group cells or learners' parameters on the scale of the scores."""
        shift = np.array([self.middle, self.middle if start else 0.0, 0.0])
        found: np.ndarray = cells * np.array([self.unit, self.unit, 1.0]) + shift
        return found


def scaled(data: Learners) -> tuple[Learners, Scale]:
    """Scores with mean 0 and SD 1; where logarithms will be taken, with SD 1 alone."""
    inside = data.used > 0
    middle, unit = float(data.y[inside].mean()), float(data.y[inside].std())
    middle = 0.0 if data.law == "lognormal" else middle
    unit = unit if unit > 0 else 1.0
    return replace(data, y=np.where(inside, (data.y - middle) / unit, 0.0)), Scale(middle, unit)


def log_level(data: Learners) -> float:
    """Logarithm of the mean score where errors are relative to it, else 0."""
    return float(np.log(data.y[data.used > 0].mean())) if data.law == "lognormal" else 0.0


def shared_starts(data: Learners) -> tuple[float, ...]:
    """Starts of what learners share of the rates, from all rows of each group together."""
    shared, names = data.form.shared, data.form.rates
    if not shared.names:
        return ()
    members = [np.flatnonzero(data.group == k) for k in range(int(data.group.max()) + 1)]
    fits = [_found(data, [own]) for own in members]
    found = [shared.from_rates(*(fit[name][0, 0] for name in names)) for fit in fits]
    known = [values for values in found if np.isfinite(values).all()]
    counts = np.unique(data.n[data.used > 0])
    bounds = np.array(data.form.bounds(counts))
    if not data.form.linear:
        middle = shared.from_rates(*np.sqrt(bounds.prod(axis=1)))
        each = [shared.unbounded(values) for values in known or [middle]]
        return tuple(np.clip(np.mean(each, axis=0), -LARGEST_START, LARGEST_START).tolist())
    low, high = np.log(bounds[1])
    mean = np.mean(np.log(np.array(known)[:, 0])) if known else 0.5 * (low + high)
    inner = 0.25 * (high - low)
    return (float(np.clip(mean, low + inner, high - inner)),)


def starting_points(data: Learners, layout: Layout) -> tuple[np.ndarray, np.ndarray]:
    """Two starts: from learners' own curves, and one with another rate and less variation.

    Groups with few clear curves start from the curve of all their rows together.
    """
    values, clear, log_sigma = _curves(data, [np.array([k]) for k in range(len(data.y))])
    log_sigma -= log_level(data)
    cells = np.empty((layout.groups, 3))
    spread = np.full((layout.groups, 3), np.nan)
    for k in range(layout.groups):
        members = np.flatnonzero(data.group == k)
        chosen = values[members][clear[members]]
        if len(chosen) >= LEAST_CLEAR:
            low, middle, high = np.quantile(chosen, [0.25, 0.5, 0.75], axis=0)
            cells[k], spread[k] = middle, (high - low) / 1.349
        else:
            cells[k] = _curves(data, [members])[0][0]
    ordinary = np.array([0.3, 0.3, 0.3]) if data.trials is None else np.array([0.4, 0.4, 0.3])
    widest = np.minimum(5 * ordinary, [np.inf, np.inf, 0.8])
    wide = np.where(np.isfinite(spread), spread, ordinary).mean(axis=0)
    wide = np.clip(0.8 * wide, 0.3 * ordinary, widest)
    other = cells + np.array([0.0, 0.0, 0.35])
    common = np.array(data.common.starts if data.common is not None else ())
    return (
        layout.point(cells, wide, log_sigma, common),
        layout.point(other, 0.6 * wide, log_sigma, 0.6 * common),
    )


def _curves(data: Learners, sets: Sequence[np.ndarray]) -> tuple[np.ndarray, np.ndarray, float]:
    """Asymptote, amount and log rate of each set, whether clear, and the log residual SD."""
    found = _found(data, sets)
    rate = found["rate"][:, 0]
    low, high = data.form.bounds(np.unique(data.n[data.used > 0]))[0]
    with np.errstate(invalid="ignore"):
        log_rate = np.log(
            np.clip(np.where(np.isnan(rate), np.sqrt(low * high), rate), low * 1e4, high)
        )
    amount = found["start" if data.anchored else "gain"][:, 0]
    amount = amount - found["asymptote"][:, 0] if data.anchored and not data.start else amount
    values = np.stack([found["asymptote"][:, 0], amount, log_rate], axis=1)
    clear = np.isin(found["status"][:, 0], (OK,))
    usable = clear | (found["status"][:, 0] == NOT_SEEN)
    rough = np.array([0.0, 1.0, float(np.log(np.sqrt(low * 1e3 * high)))])
    bad = ~np.isfinite(values).all(axis=1) | ~usable
    values[bad] = rough
    with np.errstate(divide="ignore", invalid="ignore"):
        noise = np.nanmedian(found["sse"][usable] / (found["n"][usable] - 3)) if usable.any() else 1
    return values, clear, 0.5 * float(np.log(np.clip(noise, 1e-6, 1.0)))


def _found(data: Learners, sets: Sequence[np.ndarray]) -> dict[str, np.ndarray]:
    """Fits to the rows of each set together."""
    inside = [data.used[members] > 0 for members in sets]
    ends = np.cumsum([int(part.sum()) for part in inside])
    n, y = (
        np.concatenate([array[members][part] for members, part in zip(sets, inside)])
        for array in (data.n, data.y)
    )
    weights = None
    if data.trials is not None:
        attempts = [data.trials[members][part] for members, part in zip(sets, inside)]
        weights = np.concatenate(attempts)
    batch = Batch(ends, n, y, weights, binomial=data.trials is not None)
    return fit_batch(batch, [data.form.name], data.first)
