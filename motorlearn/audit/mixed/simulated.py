"""Simulated residuals of a mixed model, and how often the model itself gives numbers as large.

Each outcome is put at its place in the distribution the fitted model gives it, given the random
effects; a count is placed at random within its step (randomised quantile residuals). The same is
done with data simulated from the model, their random effects found anew, so that what shrinkage
does to residuals is in the comparison.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse, stats

from motorlearn.audit.mixed.model import MixedModel

Floats = NDArray[np.float64]

_EDGE = 1e-12
BATCH = 50
"""Data sets that are simulated together."""


@dataclass(frozen=True)
class SimulatedNumber:
    """A diagnostic number, what the model gives on average, and how often it gives as much."""

    value: float
    expected: float
    p: float


@dataclass(frozen=True)
class Diagnosis:
    """Residuals and diagnostic numbers of a mixed model.

    Attributes
    ----------
    residuals : DataFrame
        ``participant, group, phase, fitted, residual`` by cell (binomial) or row (linear), on the
        standard normal scale.
    effects : ndarray, shape (levels,)
        First random effect of the first factor in units of its SD.
    numbers : mapping of str to SimulatedNumber
        Diagnostic numbers by name.
    simulations : int
        Simulated data sets.
    serial : float
        Lag-1 correlation of residuals, with its sign.
    """

    residuals: pd.DataFrame
    effects: Floats
    numbers: dict[str, SimulatedNumber]
    simulations: int
    serial: float


def diagnose(model: MixedModel, *, simulations: int, seed: int) -> Diagnosis:
    """Compare a mixed model's residuals with those of data it simulates itself."""
    rng = np.random.default_rng(seed)
    layout = _Layout.of(model)
    observed = model.fit.observed
    u = model.modes(observed)
    residual = _residuals(model, observed[:, None], u, rng)[:, 0]
    effects = model.first_effects(u)[:, 0]
    here = _numbers(layout, model, observed[:, None], u, residual[:, None], effects[:, None])
    drawn: dict[str, list[Floats]] = {name: [] for name in here}
    for start in range(0, simulations, BATCH):
        rows = model.simulate(rng, min(BATCH, simulations - start))
        modes = model.modes(rows)
        residuals = _residuals(model, rows, modes, rng)
        found = _numbers(layout, model, rows, modes, residuals, model.first_effects(modes))
        for name, values in found.items():
            drawn[name].append(values)
    numbers = {
        name: _compared(float(value[0]), np.concatenate([np.zeros(0), *drawn[name]]))
        for name, value in here.items()
    }
    eta = model.conditional(u[:, :1])
    lag = float(_serial(layout, model, observed[:, None], eta, residual[:, None])[0])
    return Diagnosis(layout.frame(model, u[:, 0], residual), effects, numbers, simulations, lag)


@dataclass(frozen=True)
class _Layout:
    """Where the residuals stand: their cell, their participant and order, their categories."""

    cell: NDArray[np.intp]
    person: NDArray[np.intp]
    consecutive: NDArray[np.intp]
    categories: dict[str, NDArray[np.object_]]
    units: dict[str, sparse.csr_matrix]
    bend: Floats

    @classmethod
    def of(cls, model: MixedModel) -> "_Layout":
        design = model.fit.design
        by_row = not model.binomial
        cell = design.cell if by_row else np.arange(model.cells)
        owner = design.random[0].index
        order = np.lexsort((design.row, owner[design.cell]))
        same = owner[design.cell[order]][1:] == owner[design.cell[order]][:-1]
        pairs = np.stack([order[:-1][same], order[1:][same]])
        categories = {name: level[cell] for name, level in model.categories().items()}
        units = {name: _unit(levels) for name, levels in categories.items()}
        return cls(cell, owner[cell], pairs, categories, units, _bend(model.fixed[cell]))

    def frame(self, model: MixedModel, u: Floats, residual: Floats) -> pd.DataFrame:
        """Residuals with everything a figure needs."""
        part = model.fit.design.random[0]
        eta = model.conditional(u[:, None])[:, 0]
        blank = np.full(len(residual), "", dtype=object)
        return pd.DataFrame(
            {
                "analysis": "mixed model",
                "participant": np.array([str(name) for name in part.levels], dtype=object)[
                    self.person
                ],
                "group": self.categories.get("group", blank),
                "phase": self.categories.get("phase", blank),
                "fitted": model.mean(eta)[self.cell],
                "residual": residual,
            }
        )


def _unit(levels: NDArray[np.object_]) -> sparse.csr_matrix:
    """One row for each level, with ones where it stands."""
    place = np.unique(levels.astype(str), return_inverse=True)[1]
    rows = np.arange(len(place))
    return sparse.csr_matrix((np.ones(len(place)), (place, rows)))


def _residuals(model: MixedModel, rows: Floats, u: Floats, rng: np.random.Generator) -> Floats:
    """Residuals on the normal scale, by row (linear) or by cell (binomial)."""
    eta = model.conditional(u)
    if not model.binomial:
        return model.standardised(rows, eta)
    hits, p = np.round(model.by_cell(rows)), model.mean(eta)
    n = np.round(model.weight)[:, None]
    upper = stats.binom.cdf(hits, n, p)
    lower = upper - stats.binom.pmf(hits, n, p)
    place = lower + rng.uniform(size=hits.shape) * (upper - lower)
    return np.asarray(stats.norm.ppf(np.clip(place, _EDGE, 1 - _EDGE)), dtype=float)


def _numbers(
    layout: _Layout, model: MixedModel, rows: Floats, u: Floats, residual: Floats, effects: Floats
) -> dict[str, Floats]:
    """Diagnostic numbers of each data set; everything is (values, data sets)."""
    eta = model.conditional(u)
    found = {
        "curvature": np.abs(layout.bend @ residual) / np.sqrt((residual**2).sum(axis=0)),
        "effects": np.abs(_skew(effects)),
        "serial": np.abs(_serial(layout, model, rows, eta, residual)),
    }
    for name, unit in layout.units.items():
        found[f"spread by {name}"] = _spread_ratio(residual, unit)
    if not model.binomial:
        return found | {"skewness": np.abs(_skew(residual))}
    hits, p = model.by_cell(rows), model.mean(eta)
    attempts = model.weight[:, None]
    variance = np.maximum(attempts * p * (1 - p), 1e-12)
    return found | {
        "uniformity": _distance_from_normal(residual),
        "outliers": np.mean(np.abs(residual) > 3, axis=0),
        "dispersion": np.mean((hits - attempts * p) ** 2 / variance, axis=0),
        "zeros": np.sum(hits == 0, axis=0).astype(float),
    }


def _compared(value: float, drawn: Floats) -> SimulatedNumber:
    usable = drawn[np.isfinite(drawn)]
    if not (np.isfinite(value) and usable.size):
        return SimulatedNumber(value, np.nan, np.nan)
    p = (1 + np.sum(usable >= value * (1 - 1e-12))) / (1 + usable.size)
    return SimulatedNumber(float(value), float(usable.mean()), float(p))


def _skew(values: Floats) -> Floats:
    centred = values - values.mean(axis=0)
    square = centred**2
    spread = square.mean(axis=0)
    third = (square * centred).mean(axis=0)
    skew = np.divide(third, spread**1.5, out=np.zeros_like(spread), where=spread > 1e-24)
    return np.asarray(skew, dtype=float)


def _distance_from_normal(residual: Floats) -> Floats:
    """Anderson and Darling's distance from the standard normal, which weighs the tails."""
    place = np.sort(residual, axis=0)
    n = len(place)
    odd = 2 * np.arange(1, n + 1) - 1
    logs = stats.norm.logcdf(place) + stats.norm.logsf(place[::-1])
    return np.asarray(-n - odd @ logs / n, dtype=float)


def _bend(predictor: Floats) -> Floats:
    """Direction of length one along the bend of the prediction; zero where there is none."""
    nothing = np.zeros_like(predictor)
    if np.ptp(predictor) < 1e-10:
        return nothing
    x = (predictor - predictor.mean()) / predictor.std()
    basis = np.column_stack([np.ones_like(x), x])
    bent = x**2 - basis @ np.linalg.lstsq(basis, x**2, rcond=None)[0]
    length = float(np.sqrt(bent @ bent))
    return np.asarray(bent / length, dtype=float) if length**2 > 1e-10 * len(x) else nothing


def _serial(
    layout: _Layout, model: MixedModel, rows: Floats, eta: Floats, residual: Floats
) -> Floats:
    if layout.consecutive.shape[1] < 10:
        return np.zeros(residual.shape[1])
    if model.binomial:
        cell, n = model.fit.design.cell, model.fit.design.weight[:, None]
        p = model.mean(eta)[cell]
        residual = (rows - n * p) / np.sqrt(np.maximum(n * p * (1 - p), 1e-12))
    before, after = residual[layout.consecutive]
    size = np.sqrt((before**2).sum(axis=0) * (after**2).sum(axis=0))
    return np.asarray((before * after).sum(axis=0) / size, dtype=float)


def _spread_ratio(residual: Floats, unit: sparse.csr_matrix) -> Floats:
    """Largest over smallest standard deviation of the levels whose rows ``unit`` picks."""
    count = np.asarray(unit.sum(axis=1))
    if len(count) < 2:
        return np.ones(residual.shape[1])
    squares = unit @ residual**2 / count - (unit @ residual / count) ** 2
    sds = np.sqrt(np.maximum(squares, 0.0))
    return np.asarray(sds.max(axis=0) / np.maximum(sds.min(axis=0), 1e-12), dtype=float)
