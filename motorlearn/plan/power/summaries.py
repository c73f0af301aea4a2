"""From many analysed studies to rates with their Monte-Carlo error, and detectable effects."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from scipy import optimize, stats
from statsmodels.stats.power import FTestAnovaPower, TTestPower

from motorlearn.measures import wilson_interval
from motorlearn.plan.power.analyses import Tested
from motorlearn.plan.power.class_means import class_mean_power, class_sizes
from motorlearn.plan.power.closed_form import noncentral_power, t_power
from motorlearn.plan.power.effects import Effect
from motorlearn.plan.power.grid import Cell
from motorlearn.plan.power.joint import joint_power
from motorlearn.plan.power.scenario import Scenario
from motorlearn.plan.power.within_people import within_power
from motorlearn.rows import Schema
from motorlearn.tables import Column

DETECTABLE = Schema(
    (
        Column("n", kind="count"),
        Column("trials", kind="count"),
        *(Column(name, kind="number") for name in ("effect", "d", "power", "mc_error")),
        Column("simulations", kind="count"),
    )
)


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
    plain = plan.model in ("ancova", "paired") and plan.aim == "difference"
    if not plain or (plan.counts and (plan.effect == "ratio" or plan.clustered)):
        return np.nan
    if plan.within:
        left = cell.n * (1 - plan.assumed.attrition)
        return within_power(plan, plan.to_d(effect.value), left, alpha=alpha)
    if plan.clustered:
        return _of_class_means(cell, effect, alpha)
    r = plan.score_correlation() if plan.baseline >= 0 else 0.0
    kept = 1 - plan.assumed.attrition
    sizes = plan.sizes(cell.n) * kept
    d = abs(plan.to_d(effect.value))
    if plan.model == "paired":
        paired = d / np.sqrt(2 * (1 - r)) if r < 1 else np.inf
        return float(TTestPower().power(paired, sizes[0], alpha)) if sizes[0] > 1.5 else np.nan
    shrunk = d / np.sqrt(1 - r**2) if r < 1 else np.inf
    if plan.joint and plan.hypothesis:
        return joint_power(plan, shrunk, sizes, alpha=alpha)
    if plan.joint:
        # One group stands off from the others, which are alike: f² = d² (share) (1 - share).
        share = sizes[plan.first] / sizes.sum()
        f = shrunk * np.sqrt(share * (1 - share))
        return float(FTestAnovaPower().power(f, sizes.sum(), alpha, k_groups=len(sizes)))
    if plan.crossed:
        variance, df = plan.scale_of_cells(sizes)
        critical = float(stats.t.isf(alpha / 2, df)) if df > 0 else np.nan
        away = shrunk / np.sqrt(variance)
        return noncentral_power(df, away, critical) if df > 0 else np.nan
    first, second = sizes[np.flatnonzero(plan.contrast)]
    return t_power(first, shrunk, n_other=second, alpha=alpha) if first + second > 2 else np.nan


def _of_class_means(cell: Cell, effect: Effect, alpha: float) -> float:
    plan = cell.plan
    if plan.joint:
        return np.nan
    classes, size = class_sizes(plan, plan.sizes(cell.n)[np.flatnonzero(plan.contrast)])
    return class_mean_power(plan, plan.to_d(effect.value), classes, size, alpha=alpha)


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
        error, df = _mean(run.std_error), _mean(run.df)
        if np.isnan(error) or not df > 0 or cell.plan.aim != "difference" or cell.plan.joint:
            continue
        shift = _needed(df, alpha, wanted) * error
        effect = _improvement(cell.plan, shift)
        if effect is not None:
            cells.append(replace(cell, effect=effect))
    return cells


def _mean(values: np.ndarray) -> float:
    """Mean of the known values; NaN where none is."""
    known = values[np.isfinite(values)]
    if known.size:
        return float(known.mean())
    return float("inf") if np.isinf(values).any() else float("nan")


def _improvement(plan: Scenario, shift: float) -> float | None:
    return plan.from_analysis(plan.better * abs(shift))


def mended_cells(runs: Sequence[tuple[Cell, Tested]], alpha: float, wanted: float) -> list[Cell]:
    """Stretch each effect by what the simulation there lacked of the noncentrality needed."""
    mended = []
    for cell, run in runs:
        reached = abs(_mean(run.estimate)) / _mean(run.std_error)
        factor = _needed(_mean(run.df), alpha, wanted) / reached
        effect = _improvement(cell.plan, cell.plan.on_analysis(cell.effect) * factor)
        if effect is not None:
            mended.append(replace(cell, effect=effect))
    return mended


def detectable(cells: Sequence[Cell], runs: Sequence[Tested], alpha: float) -> pd.DataFrame:
    """Table of detectable effects with the power that was found there."""
    rows = []
    for cell, run in zip(cells, runs, strict=False):
        if len(run.p):
            rate, error, _, _ = rejection_rate(run, alpha)
            row = DETECTABLE.row(
                n=cell.n,
                trials=cell.plan.trials,
                effect=cell.effect,
                d=cell.plan.to_d(cell.effect),
                power=rate,
                mc_error=error,
                simulations=len(run.p),
            )
            rows.append(row)
    return DETECTABLE.frame(rows)


def _needed(df: float, alpha: float, wanted: float) -> float:
    """Noncentrality at which a two-sided t test has the wanted power."""
    if np.isinf(df):
        df = 1e6
    critical = float(stats.t.isf(alpha / 2, df))

    high = critical + 6.0
    while noncentral_power(df, high, critical) < wanted:
        high *= 2
    return float(
        optimize.brentq(lambda delta: noncentral_power(df, delta, critical) - wanted, 0.0, high)
    )


def _half_widths(plan: Scenario, run: Tested, alpha: float) -> np.ndarray:
    """Half-widths of the intervals: raw units, or factors where effects are ratios or odds."""
    widths = stats.t.isf(alpha / 2, run.df) * run.std_error
    if plan.model == "binomial mixed" or plan.effect == "ratio":
        return np.asarray(np.exp(widths))
    half: np.ndarray = widths * plan.raw_unit
    return half
