"""What a check says of values that do not fit the kind of outcome the plan names."""

import numpy as np
import pandas as pd

from motorlearn.design import Design, Outcome
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.checking.rules import OUTCOMES
from motorlearn.trials.counted import counted_rows

MOST_RATINGS = 20
"""Ratings up to which one that nobody was given is worth a note."""


def kind_problems(table: pd.DataFrame, design: Design, file: str) -> pd.DataFrame:
    """Ratings never given or between two others, counts that are none, times not above zero.

    Parameters
    ----------
    table : DataFrame
        Trials.
    design : Design
        The plan; outcomes without a kind are not looked at.
    file : str
        Where the trials are from.
    """
    found = []
    for outcome in design.outcomes:
        if outcome.kind in ("rating", "count", "time") and outcome.recorded in table:
            values = pd.to_numeric(table[outcome.recorded], errors="coerce")
            counted = table[counted_rows(table)]
            values = values[counted.index].dropna()
            found += _of_kind(values, outcome, file)
            found += _constant(values, counted, outcome, file)
    return gather(found)


def _constant(
    values: pd.Series, table: pd.DataFrame, outcome: Outcome, file: str
) -> list[pd.DataFrame]:
    """Ratings or counts that are the same for everyone, in the whole file or at one test."""
    where = {"severity": "doubt", "file": file, "column": outcome.recorded}
    if len(values) < 2 or (values.nunique() == 1 and outcome.recorded in OUTCOMES):
        return []  # columns of every study have this check already
    if values.nunique() == 1:
        advice = "nothing can be compared on it; check that the column was filled in"
        return [problem_frame("outcome never varies", value=values.iloc[0], advice=advice, **where)]
    by = [name for name in ("phase", "test") if name in table]
    return [
        problem_frame(
            "outcome never varies at a test",
            value=f"{values[rows.index].iloc[0]:g} throughout, {' '.join(map(str, key))}",
            advice="everyone at the end of the scale cannot be told apart there",
            **where,
        )
        for key, rows in table.loc[values.index].groupby(by, sort=False, observed=True)
        if len(rows) > 1 and values[rows.index].nunique() == 1
    ]


def _of_kind(values: pd.Series, outcome: Outcome, file: str) -> list[pd.DataFrame]:
    where = {"file": file, "column": outcome.recorded}
    if outcome.kind == "time":
        rules = outcome.times
        ruled = rules is not None and (rules.fastest is not None or rules.scale == "log")
        low = values[:0] if ruled else values[values <= 0]
        return [
            problem_frame(
                "times that are not above zero",
                severity="error",
                value=_many(low),
                advice="correct them, mark the trials void, or set times.fastest in study.toml",
                **where,
            )
        ] * bool(len(low))
    odd = values[values != np.round(values)]
    if outcome.kind == "count":
        bad = values[(values < 0) | values.isin(odd)]
        return [
            problem_frame(
                "counts below zero or not whole",
                severity="error",
                value=_many(bad),
                advice="give whole numbers of events, or call the outcome an error or a time",
                **where,
            )
        ] * bool(len(bad))
    return _of_ratings(values, odd, where)


def _of_ratings(values: pd.Series, odd: pd.Series, where: dict[str, str]) -> list[pd.DataFrame]:
    found = []
    few = 0 < len(odd) < 0.05 * len(values)
    if few:
        found.append(
            problem_frame(
                "ratings between two others",
                severity="doubt",
                value=_many(odd),
                advice="nearly all ratings are whole; each of these makes a rating of its own",
                **where,
            )
        )
    if not len(odd) and len(values) and np.ptp(values) <= MOST_RATINGS:
        known = set(values.astype(int))
        absent = [k for k in range(min(known), max(known)) if k not in known]
        if absent:
            found.append(
                problem_frame(
                    "a rating that nobody was given",
                    severity="note",
                    value=", ".join(map(str, absent)),
                    advice="the model of ratings takes those on either side of it as neighbours",
                    **where,
                )
            )
    return found


def _many(values: pd.Series) -> str:
    """A few values, and how many there are."""
    shown = ", ".join(f"{value:g}" for value in values.unique()[:4])
    return f"{len(values)} values: {shown}"
