"""Table of one curve's estimates: what is estimated with its limits, and what is missing."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from motorlearn.curves.single.intervals import Spread
from motorlearn.curves.single.problem import Problem
from motorlearn.curves.single.solving import Solution
from motorlearn.curves.status import CURVE, ERRORS, FLAT, RATES
from motorlearn.curves.verdict import Verdict
from motorlearn.linear.hypotheses import t_quantile


@dataclass(frozen=True)
class Limits:
    """Limits of every term, their confidence level, and whether they can show an open end."""

    values: np.ndarray
    level: float
    open_ends: bool


def estimates_frame(
    problem: Problem, spread: Spread, limits: Limits, solution: Solution, said: Verdict
) -> pd.DataFrame:
    """Estimates with standard errors and limits; what the verdict takes away is missing."""
    stuck = dict(zip(problem.free_rates, solution.at_bound))
    estimates, errors = spread.estimates.copy(), spread.errors.copy()
    values = np.array(limits.values)
    for row, name in enumerate(spread.terms):
        if stuck.get(name) or not np.isfinite(estimates[row]):
            estimates[row] = errors[row] = values[row] = np.nan
        if name in problem.fixed:
            errors[row], values[row] = 0.0, problem.fixed[name]
    frame = pd.DataFrame(
        {
            "term": spread.terms,
            "estimate": estimates,
            "std_error": errors,
            "conf_low": values[:, 0],
            "conf_high": values[:, 1],
        }
    )
    curve = dict(zip(spread.terms, spread.estimates))
    whole = pd.concat([frame, _half_life_row(problem, frame, curve)], ignore_index=True)
    return _without_what_is_lost(problem, whole, said, limits, spread.df)


def _half_life_row(
    problem: Problem, frame: pd.DataFrame, curve: Mapping[str, float]
) -> pd.DataFrame:
    """Half-life; its limits are those of the rate turned round, the other rates held."""
    table = frame.set_index("term")
    rates = [float(curve[name]) for name in problem.form.rates]

    def half(rate: float) -> float:
        if not rate > 0:
            return np.inf
        with np.errstate(all="ignore"):
            return float(problem.form.half_life([rate, *rates[1:]], problem.first))

    rate, error = rates[0], float(table.at["rate", "std_error"])
    step = 1e-6 * abs(rate)
    finite = rate > 0 and np.isfinite(half(rate - step))
    slope = (half(rate + step) - half(rate - step)) / (2 * step) if finite else np.nan
    ends = [half(float(table.at["rate", side])) for side in ("conf_high", "conf_low")]
    return pd.DataFrame(
        {
            "term": ["half_life"],
            "estimate": [half(rate)],
            "std_error": [abs(slope) * error],
            "conf_low": [min(ends) if np.isfinite(error) else np.nan],
            "conf_high": [max(ends) if np.isfinite(error) else np.nan],
        }
    )


def _without_what_is_lost(
    problem: Problem, frame: pd.DataFrame, said: Verdict, limits: Limits, df: float
) -> pd.DataFrame:
    rates = (*problem.form.rates, "half_life")
    curve = ("asymptote", "gain", *rates)
    if problem.first < problem.origin:
        curve += ("start",)
    lost = {ERRORS: curve, RATES: rates, CURVE: curve, FLAT: ("gain", *rates)}.get(said.lost, ())
    columns = ["estimate", "std_error", "conf_low", "conf_high"]
    if said.gain_lost:
        frame.loc[frame["term"] == "gain", columns] = np.nan
    gone = frame["term"].isin(lost) & ~frame["term"].isin(problem.fixed)
    kept = 0 if said.lost != ERRORS else 2 if limits.open_ends else 1
    missing = ["std_error"] if kept == 2 else columns[kept:]
    frame.loc[gone, missing] = np.nan
    if said.lost == FLAT:
        half = t_quantile(limits.level, df) * said.level_error
        line = [said.level, said.level_error, said.level - half, said.level + half]
        level_terms = frame["term"].isin(["asymptote", "start"]) & ~frame["term"].isin(
            problem.fixed
        )
        frame.loc[level_terms, columns] = line
    return frame
