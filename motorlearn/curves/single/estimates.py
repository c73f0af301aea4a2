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
    one = len(problem.form.rates) == 1
    half = (
        _turned(problem, frame, curve) if one else _by_slopes(problem, frame, spread, limits.level)
    )
    whole = pd.concat([frame, half], ignore_index=True)
    return _without_what_is_lost(problem, whole, said, limits, spread.df)


def _turned(problem: Problem, frame: pd.DataFrame, curve: Mapping[str, float]) -> pd.DataFrame:
    """Half-life of a form with one rate; its limits are those of the rate turned round."""
    table = frame.set_index("term")
    rate, error = float(curve["rate"]), float(table.at["rate", "std_error"])
    ends = [_half(problem, [float(table.at["rate", side])]) for side in ("conf_high", "conf_low")]
    slope = _slopes(problem, [rate])[0]
    return _half_life_row(
        _half(problem, [rate]),
        abs(slope) * error,
        (min(ends), max(ends)) if np.isfinite(error) else (np.nan, np.nan),
    )


def _by_slopes(problem: Problem, frame: pd.DataFrame, spread: Spread, level: float) -> pd.DataFrame:
    """Half-life of a form with several rates; the limits of its logarithm by the delta method."""
    place = [spread.terms.index(name) for name in problem.form.rates]
    rates = [float(spread.estimates[row]) for row in place]
    slopes = np.zeros(len(spread.terms))
    slopes[place] = _slopes(problem, rates)
    half, known = _half(problem, rates), frame.set_index("term").at["rate", "std_error"]
    with np.errstate(all="ignore"):
        error = known * 0.0 + float(np.sqrt(max(slopes @ spread.covariance @ slopes, 0.0)))
        df = df_along(slopes[None], spread.covariance, spread.turns, spread.df)
        wide = np.exp(t_quantile(level, df)[0] * error / half)
        return _half_life_row(half, error, (float(half / wide), float(half * wide)))


def _half(problem: Problem, rates: Sequence[float]) -> float:
    if not rates[0] > 0:
        return np.inf
    with np.errstate(all="ignore"):
        return float(problem.form.half_life(list(rates), problem.first))


def _slopes(problem: Problem, rates: Sequence[float]) -> np.ndarray:
    """Derivatives of the half-life by each rate."""
    steps = 1e-6 * np.diag(np.abs(rates))
    if not rates[0] > 0 or not np.isfinite(_half(problem, [rates[0] - steps[0, 0], *rates[1:]])):
        return np.full(len(rates), np.nan)
    sides = [[_half(problem, (rates + way * h).tolist()) for way in (1, -1)] for h in steps]
    with np.errstate(all="ignore"):
        return np.array([(up - down) / (2 * h.sum()) for (up, down), h in zip(sides, steps)])


def _half_life_row(value: float, error: float, ends: tuple[float, float]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "term": ["half_life"],
            "estimate": [value],
            "std_error": [error],
            "conf_low": [ends[0]],
            "conf_high": [ends[1]],
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
