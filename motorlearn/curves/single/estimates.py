"""Table of one curve's estimates: what is estimated with its limits, and what is missing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from motorlearn.curves.single.df import df_along
from motorlearn.curves.single.intervals import Spread
from motorlearn.curves.single.problem import Problem
from motorlearn.curves.single.solving import Solution
from motorlearn.curves.status import CURVE, ERRORS, FLAT, RATES
from motorlearn.curves.verdict import Verdict
from motorlearn.linear.hypotheses import t_quantile


@dataclass(frozen=True)
class Limits:
    """Limits of every term, their confidence level, and the kind of interval."""

    values: np.ndarray
    level: float
    kind: str

    @property
    def open_ends(self) -> bool:
        """Whether they can show an open end."""
        return self.kind == "profile"

    @property
    def turned(self) -> bool:
        """Whether limits of a function of one term are that function of its limits."""
        return self.kind in ("profile", "bootstrap")


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
    half = _half_life_row(problem, spread, limits, frame, curve)
    whole = pd.concat([frame, half], ignore_index=True)
    return _without_what_is_lost(problem, whole, said, limits, spread.df)


def _half_life_row(
    problem: Problem,
    spread: Spread,
    limits: Limits,
    frame: pd.DataFrame,
    curve: Mapping[str, float],
) -> pd.DataFrame:
    """Half-life; of an only rate with limits that are turned round, else by the delta method.

    Limits are those of the logarithm, of the rate or of the half-life, unless those of the rate
    were profiled or resampled.
    """
    names, table = problem.form.rates, frame.set_index("term")
    rates, rate = np.array([float(curve[name]) for name in names]), table.loc[names[0]]
    centre, slope = _half_life(problem, rates), np.zeros(len(spread.terms))
    for name, step in zip(names, np.diag(1e-6 * np.abs(rates))):
        rise = _half_life(problem, rates + step) - _half_life(problem, rates - step)
        slope[spread.terms.index(name)] = rise / (2 * step.sum())
    with np.errstate(all="ignore"):
        error = float(np.sqrt(slope @ spread.covariance @ slope))
        df = df_along(slope[None], spread.covariance, spread.turns, spread.df)[0]
        far = t_quantile(limits.level, df)
        wide = np.exp(far * error / centre)
        ends = np.array([centre / wide, centre * wide])
        if len(rates) == 1:
            wide = np.exp(far * rate["std_error"] / rates[0])
            known = rate[["conf_high", "conf_low"]].to_numpy(float)
            turned = limits.turned or not np.isfinite(error)
            places = known if turned else rates * np.array([wide, 1 / wide])
            ends = np.array([_half_life(problem, [place]) for place in places])
    rest = [error, *ends] if np.isfinite(rate["std_error"]) else [np.nan] * 3
    return pd.DataFrame([["half_life", centre, *rest]], columns=frame.columns)


def _half_life(problem: Problem, rates: Sequence[float] | np.ndarray) -> float:
    if not rates[0] > 0:
        return np.inf
    with np.errstate(all="ignore"):
        return float(problem.form.half_life(list(rates), problem.first))


def _without_what_is_lost(
    problem: Problem, frame: pd.DataFrame, said: Verdict, limits: Limits, df: float
) -> pd.DataFrame:
    rates = (*problem.form.rates, "half_life")
    curve = ("asymptote", "gain", *rates)
    if problem.first < problem.origin:
        curve += ("start",)
    lost = {ERRORS: curve, RATES: rates, CURVE: curve, FLAT: ("gain", *rates)}.get(said.lost, ())
    columns = ["estimate", "std_error", "conf_low", "conf_high"]
    untold = (*said.untold, *(["gain"] if said.gain_lost else []))
    frame.loc[frame["term"].isin(untold), columns] = np.nan
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
