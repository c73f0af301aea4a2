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
from scipy import stats

from motorlearn.audit.mixed.model import MixedModel

Floats = NDArray[np.float64]

_EDGE = 1e-12


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
    here = _numbers(layout, model, observed, u[:, 0], residual, effects)
    drawn: dict[str, list[float]] = {name: [] for name in here}
    for start in range(0, simulations, 50):
        count = min(50, simulations - start)
        rows = model.simulate(rng, count)
        modes = model.modes(rows)
        residuals, ranef = _residuals(model, rows, modes, rng), model.first_effects(modes)
        for i in range(count):
            found = _numbers(layout, model, rows[:, i], modes[:, i], residuals[:, i], ranef[:, i])
            for name, value in found.items():
                drawn[name].append(value)
    numbers = {name: _compared(value, np.array(drawn[name])) for name, value in here.items()}
    eta = model.conditional(u[:, :1])[:, 0]
    lag = _serial(layout, model, observed, eta, residual)
    return Diagnosis(layout.frame(model, u[:, 0], residual), effects, numbers, simulations, lag)


@dataclass(frozen=True)
class _Layout:
    """Where the residuals stand: their cell, participant, order, categories and who is in each."""

    cell: NDArray[np.intp]
    person: NDArray[np.intp]
    consecutive: NDArray[np.intp]
    categories: dict[str, NDArray[np.object_]]
    members: dict[str, list[NDArray[np.intp]]]

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
        members = {
            name: [np.flatnonzero(levels == level) for level in np.unique(levels)]
            for name, levels in categories.items()
        }
        return cls(cell, owner[cell], pairs, categories, members)

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


def _residuals(model: MixedModel, rows: Floats, u: Floats, rng: np.random.Generator) -> Floats:
    """Residuals on the normal scale, by row (linear) or by cell (binomial)."""
    eta = model.conditional(u)
    design = model.fit.design
    if not model.binomial:
        scale = model.fit.residual_sd / np.sqrt(design.weight)[:, None]
        return (rows - eta[design.cell]) / scale
    hits, p = np.round(model.by_cell(rows)), model.mean(eta)
    n = np.round(model.weight)[:, None]
    upper = stats.binom.cdf(hits, n, p)
    lower = upper - stats.binom.pmf(hits, n, p)
    place = lower + rng.uniform(size=hits.shape) * (upper - lower)
    return np.asarray(stats.norm.ppf(np.clip(place, _EDGE, 1 - _EDGE)), dtype=float)


def _numbers(
    layout: _Layout, model: MixedModel, rows: Floats, u: Floats, residual: Floats, effects: Floats
) -> dict[str, float]:
    eta = model.conditional(u[:, None])[:, 0]
    found = {
        "skewness": abs(_skew(residual)),
        "uniformity": _distance_from_normal(residual),
        "outliers": float(np.mean(np.abs(residual) > 3)),
        "curvature": _curvature(residual, model.fixed[layout.cell]),
        "effects": abs(_skew(effects)),
        "serial": abs(_serial(layout, model, rows, eta, residual)),
    }
    for name, members in layout.members.items():
        found[f"spread by {name}"] = _spread_ratio(residual, members)
    if model.binomial:
        hits, p = model.by_cell(rows), model.mean(eta)
        variance = np.maximum(model.weight * p * (1 - p), 1e-12)
        found["dispersion"] = float(np.mean((hits - model.weight * p) ** 2 / variance))
        found["zeros"] = float(np.sum(hits == 0))
    return found


def _compared(value: float, drawn: Floats) -> SimulatedNumber:
    usable = drawn[np.isfinite(drawn)]
    if not (np.isfinite(value) and usable.size):
        return SimulatedNumber(value, np.nan, np.nan)
    p = (1 + np.sum(usable >= value * (1 - 1e-12))) / (1 + usable.size)
    return SimulatedNumber(float(value), float(usable.mean()), float(p))


def _skew(values: Floats) -> float:
    centred = values - values.mean()
    spread = np.mean(centred**2)
    return float(np.mean(centred**3) / spread**1.5) if spread > 1e-24 else 0.0


def _distance_from_normal(residual: Floats) -> float:
    """Anderson and Darling's distance from the standard normal, which weighs the tails."""
    place = np.sort(residual)
    n = len(place)
    odd = 2 * np.arange(1, n + 1) - 1
    logs = stats.norm.logcdf(place) + stats.norm.logsf(place[::-1])
    return float(-n - np.mean(odd * logs))


def _curvature(residual: Floats, predictor: Floats) -> float:
    if np.ptp(predictor) < 1e-10:
        return 0.0
    x = (predictor - predictor.mean()) / predictor.std()
    basis = np.column_stack([np.ones_like(x), x])
    bent = x**2 - basis @ np.linalg.lstsq(basis, x**2, rcond=None)[0]
    if bent @ bent < 1e-10 * len(x):
        return 0.0
    return float(abs(bent @ residual) / np.sqrt((bent @ bent) * (residual @ residual)))


def _serial(
    layout: _Layout, model: MixedModel, rows: Floats, eta: Floats, residual: Floats
) -> float:
    if model.binomial:
        cell, n = model.fit.design.cell, model.fit.design.weight
        p = model.mean(eta)[cell]
        residual = (rows - n * p) / np.sqrt(np.maximum(n * p * (1 - p), 1e-12))
    if layout.consecutive.shape[1] < 10:
        return 0.0
    before, after = residual[layout.consecutive]
    return float(before @ after / np.sqrt((before @ before) * (after @ after)))


def _spread_ratio(residual: Floats, members: list[NDArray[np.intp]]) -> float:
    sds = [np.std(residual[own]) for own in members]
    return float(max(sds) / max(min(sds), 1e-12)) if len(sds) > 1 else 1.0
