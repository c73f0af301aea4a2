"""Scores of participants in any cells of a study, and the group means of these cells."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn.design import Outcome
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.measures import score_trials
from motorlearn.trials.counted import counted_rows


@dataclass(frozen=True)
class Scored:
    """A table with one column that can be averaged to the outcome, per row or per participant.

    Parameters
    ----------
    table : DataFrame
        Rows of trials, of sets of attempts, or of participants and stages already scored.
    column : str
        Column that holds the score.
    attempts : str or None
        Column of attempts, where the score is hits among attempts.
    outcome : Outcome
        The outcome with the unit that the scores really have.
    by_trial : bool
        Whether rows are trials, so that the spread within participants is known.
    per_unit : float
        Score per unit of the outcome as the plan has it: 1, or 1/20 where hits of 20 became rates.
    """

    table: pd.DataFrame
    column: str
    attempts: str | None
    outcome: Outcome
    by_trial: bool
    per_unit: float = 1.0

    def cells(self, by: Sequence[str]) -> pd.DataFrame:
        """Average within cells: the columns of ``by``, ``score``, ``n_trials``."""
        used = self.table[usable(self.table, self.column)]
        grouped = used.groupby(list(by), sort=True, observed=True, dropna=False)
        if self.attempts:
            sums = grouped[[self.column, self.attempts]].sum().astype("float64").reset_index()
            return sums.assign(
                score=sums[self.column] / sums[self.attempts], n_trials=sums[self.attempts]
            ).drop(columns=[self.column, self.attempts])
        found = grouped[self.column].agg(score="mean", n_trials="count").astype("float64")
        return found.reset_index()


def usable(table: pd.DataFrame, column: str) -> pd.Series:
    """Rows that have a value and no reason to be void."""
    return table[column].notna() & counted_rows(table)


def scored(table: pd.DataFrame, outcome: Outcome, by: Sequence[str]) -> Scored:
    """Find how an outcome comes from the columns of a table.

    A column of that name is averaged over trials; ``hits`` are counted among ``attempts`` (kept as
    counts where every row has the same attempts); ``hit`` of counted rows is the share of hits; the
    name of a measure is computed for each cell of ``by``.

    Raises
    ------
    ColumnError
        If neither a column nor a measure has that name.
    """
    if outcome.name == "hits" and {"hits", "attempts"} <= set(table):
        return _hits(table, outcome)
    if outcome.name in table:
        return Scored(table, outcome.name, None, _named(outcome), True)
    if outcome.name == "hit" and {"hits", "attempts"} <= set(table):
        return Scored(table, "hits", "attempts", _named(outcome), False)
    measured = score_trials(table, [name for name in by if name in table])
    if outcome.name not in measured:
        raise ColumnError(
            "the trials have no column or measure for an outcome",
            [outcome.name],
            "name a column of the trials, or a measure such as mean_radial_error",
        )
    return Scored(measured, outcome.name, None, outcome, False)


def _named(outcome: Outcome) -> Outcome:
    """The mean of hit-or-miss trials is a rate, whatever the trials are called."""
    if outcome.name == "hit" and outcome.label in ("", "hit", "hits"):
        return outcome.model_copy(update={"label": "hit rate"})
    return outcome


def _hits(table: pd.DataFrame, outcome: Outcome) -> Scored:
    attempts = table["attempts"].dropna().unique()
    if len(attempts) != 1:
        share = outcome.model_copy(update={"label": "hit rate", "unit": ""})
        planned = outcome.high or float(table["attempts"].median())
        return Scored(table, "hits", "attempts", share, False, 1 / planned)
    label = outcome.label or "hits"
    label = label if " of " in label else f"{label} of {attempts[0]:g}"
    counts = outcome.model_copy(update={"label": label, "unit": ""})
    return Scored(table, "hits", None, counts, False)


def group_points(cells: pd.DataFrame, by: Sequence[str], *, level: float = 0.95) -> pd.DataFrame:
    """Mean, standard deviation, quartiles and t interval of participants' scores in each cell.

    Parameters
    ----------
    cells : DataFrame
        ``score`` and the columns of ``by``, one row per participant and cell.
    by : sequence of str
        Columns that name a cell, the group included.
    level : float
        Level of the interval.

    Returns
    -------
    DataFrame
        The columns of ``by``; ``n, mean, sd, median, quartile_low, quartile_high, conf_low,
        conf_high``; the interval is empty where n < 2.

    Raises
    ------
    InputError
        If there is no cell.
    """
    if cells.empty:
        raise InputError("there are no scores to average", None, "check the phases of the trials")
    grouped = cells.groupby(list(by), sort=False, observed=True, dropna=False)["score"]
    points = grouped.agg(n="count", mean="mean", sd="std", median="median").reset_index()
    quartiles = grouped.quantile([0.25, 0.75]).unstack().reset_index(drop=True)
    half = stats.t.isf((1 - level) / 2, np.maximum(points["n"] - 1, 1)) * points["sd"]
    half = half / np.sqrt(points["n"])
    return points.assign(
        quartile_low=quartiles[0.25],
        quartile_high=quartiles[0.75],
        conf_low=points["mean"] - half,
        conf_high=points["mean"] + half,
    )


@dataclass(frozen=True)
class Detectable:
    """Smallest change of one participant that trial noise seldom makes, and what it rests on."""

    value: float
    source: str


def detectable_change(data: Scored, stage: str, first: str, second: str) -> Detectable | None:
    """Smallest change of one participant between two stages that trial noise seldom makes (95 %).

    ``1.96 · sqrt(s² (1/k₁ + 1/k₂))`` with s² the variance of trials within participant and stage,
    pooled over participants and both stages, and k the median number of trials. For counts of
    hits the binomial variance takes the place of s². Variation from day to day is not in it.
    """
    rows = data.table[data.table[stage].isin([first, second])]
    rows = rows[usable(rows, data.column)]
    if data.column == "hits":
        return _detectable_hits(rows, data.attempts is not None)
    if not data.by_trial:
        return None
    grouped = rows.groupby([stage, "participant"], observed=True)[data.column]
    counts, variances = grouped.count(), grouped.var()
    known = counts > 1
    if not known.any():
        return None
    within = float((variances[known] * (counts[known] - 1)).sum() / (counts[known] - 1).sum())
    sizes = counts.groupby(level=0).median()
    if len(sizes) < 2:
        return None
    value = float(stats.norm.isf(0.025) * np.sqrt(within * (1 / sizes).sum()))
    return Detectable(value, "the spread of trials within participant and test")


def _detectable_hits(rows: pd.DataFrame, share: bool) -> Detectable | None:
    if rows.empty:
        return None
    attempts = float(rows["attempts"].median())
    rate = float(rows["hits"].sum() / rows["attempts"].sum())
    change = stats.norm.isf(0.025) * np.sqrt(2 * rate * (1 - rate) / attempts)
    value = float(change if share else change * attempts)
    return Detectable(value, f"the binomial chance of {attempts:g} attempts")
