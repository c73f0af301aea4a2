"""From many analysed studies to rates with their Monte-Carlo error, and detectable effects."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from scipy import optimize, special, stats

from motorlearn.measures import wilson_interval
from motorlearn.plan.power.analyses import Tested
from motorlearn.plan.power.closed_form import t_power
from motorlearn.plan.power.effects import Effect
from motorlearn.plan.power.grid import Cell
from motorlearn.plan.power.scenario import Scenario

DETECTABLE = ["n", "trials", "effect", "d", "power", "mc_error", "simulations"]


def power_row(cell: Cell, effect: Effect, run: Tested, alpha: float) -> dict[str, Any]:
    """Summarise one cell: rejections, their Monte-Carlo error, precision and failures."""
    rate, error, low, high = rejection_rate(run, alpha)
    widths = _half_widths(cell.plan, run, alpha)
    known = widths[~np.isnan(widths)]
    return {
        "n": cell.n,
        "trials": cell.plan.trials,
        "effect": effect.value,
        "effect_name": effect.name,
        "d": cell.plan.to_d(effect.value),
        "kind": "false positives" if effect.is_none else "power",
        "power": rate,
        "mc_error": error,
        "mc_low": low,
        "mc_high": high,
        "closed_form": _closed_form(cell, effect, alpha),
        "half_width": known.mean() if known.size else np.nan,
        "half_width_mc": known.std() / np.sqrt(known.size) if known.size else np.nan,
        "simulations": len(run.p),
        "failed": int(np.isnan(run.p).sum()),
    }


def _closed_form(cell: Cell, effect: Effect, alpha: float) -> float:
    """Power of a t test with the gain of the covariate: a check of the simulation's size."""
    plan = cell.plan
    if plan.model != "ancova" or plan.scale == "hits" or plan.clustered:
        return np.nan
    pair = np.flatnonzero(plan.contrast)
    first, second = plan.sizes(cell.n)[pair] * (1 - plan.assumed.attrition)
    gain = np.sqrt(1 - plan.score_correlation() ** 2) if plan.baseline >= 0 else 1.0
    return t_power(first, plan.to_d(effect.value) / gain, n_other=second, alpha=alpha)


def rejection_rate(run: Tested, alpha: float) -> tuple[float, float, float, float]:
    """Share of studies with p below alpha, its standard error and 95 % Wilson interval.

    Studies that could not be analysed count as not significant.
    """
    rejected, count = int((run.p < alpha).sum()), len(run.p)
    rate = rejected / count
    low, high = wilson_interval(rejected, count)
    return rate, float(np.sqrt(rate * (1 - rate) / count)), float(low), float(high)


def detectable_cells(
    runs: Sequence[tuple[Cell, Tested]], alpha: float, wanted: float
) -> list[Cell]:
    """Find the effect at which each cell should reach the wanted power.

    The effect is that of a noncentral t with the standard error that the simulated studies had;
    the cells given back are simulated again at that effect, which is the proof.
    """
    cells = []
    for cell, run in runs:
        error = float(np.nanmean(run.std_error))
        df = float(np.nanmean(run.df))
        shift = _needed(df, alpha, wanted) * error
        effect = _from_analysis(cell.plan, shift)
        if effect is not None:
            cells.append(replace(cell, effect=effect))
    return cells


def mended_cells(runs: Sequence[tuple[Cell, Tested]], alpha: float, wanted: float) -> list[Cell]:
    """Stretch each effect by what the simulation there lacked of the noncentrality needed."""
    mended = []
    for cell, run in runs:
        reached = abs(float(np.nanmean(run.estimate))) / float(np.nanmean(run.std_error))
        factor = _needed(float(np.nanmean(run.df)), alpha, wanted) / reached
        shift = abs(cell.plan.shift(cell.effect)) * factor
        effect = cell.plan.from_shift(cell.plan.better * shift)
        mended.append(replace(cell, effect=effect))
    return mended


def detectable(cells: Sequence[Cell], runs: Sequence[Tested], alpha: float) -> pd.DataFrame:
    """Table of detectable effects with the power that was found there."""
    rows = []
    for cell, run in zip(cells, runs, strict=False):
        if len(run.p):
            rate, error, _, _ = rejection_rate(run, alpha)
            d = cell.plan.to_d(cell.effect)
            rows.append((cell.n, cell.plan.trials, cell.effect, d, rate, error, len(run.p)))
    return pd.DataFrame(rows, columns=DETECTABLE)


def _needed(df: float, alpha: float, wanted: float) -> float:
    """Noncentrality at which a two-sided t test has the wanted power."""
    if np.isinf(df):
        df = 1e6
    critical = float(stats.t.isf(alpha / 2, df))

    def short(delta: float) -> float:
        above = 1 - special.nctdtr(df, delta, critical)
        return float(above + special.nctdtr(df, delta, -critical)) - wanted

    return float(optimize.brentq(short, 0.0, critical + 6.0))


def _from_analysis(plan: Scenario, shift: float) -> float | None:
    """Raw effect of a shift on the scale of the analysis, an improvement."""
    if plan.scale == "hits" and plan.model != "binomial mixed":
        effect = shift * plan.raw_unit
    else:
        effect = plan.from_shift(plan.better * shift)
    room = plan.from_shift(plan.better * 30.0)
    return effect if plan.scale != "hits" or effect < room else None


def _half_widths(plan: Scenario, run: Tested, alpha: float) -> np.ndarray:
    """Half-widths of the intervals: raw units, or factors where effects are ratios or odds."""
    widths = stats.t.isf(alpha / 2, run.df) * run.std_error
    if plan.model == "binomial mixed" or plan.scale == "ratio":
        return np.exp(widths)
    return widths * (plan.raw_unit if plan.scale == "hits" else 1.0)
