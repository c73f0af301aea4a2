"""Scores of an outcome that is a time, by the rules of the plan."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from motorlearn.design import TimeRules
from motorlearn.exceptions import InputError
from motorlearn.trials import count_cuts, counted_rows, time_cuts


@dataclass(frozen=True)
class Timed:
    """Rules for times, the column they were applied to, and what they left out.

    Parameters
    ----------
    rules : TimeRules
        Rules of the plan.
    column : str
        Column of times, empty where a rule left them out.
    cuts : DataFrame
        ``rule, group, people, cut, times, most_of_one``.
    """

    rules: TimeRules
    column: str
    cuts: pd.DataFrame

    def cells(self, table: pd.DataFrame, by: Sequence[str]) -> pd.DataFrame:
        """Scores of cells: the columns of ``by``, ``score``, ``n_trials``."""
        rules = self.rules
        if not rules.contrast:
            return self._summary(table, by)
        found = self._summary(table, [*dict.fromkeys([*by, rules.contrast])])
        keys = [name for name in by if name != rules.contrast]
        first, second = (
            found[found[rules.contrast].astype("str") == str(value)].drop(columns=rules.contrast)
            for value in (rules.first, rules.second)
        )
        both = first.merge(second, on=keys, suffixes=("", "_second"))
        raw = rules.scale == "raw"
        score = (
            both["score"] - both["score_second"] if raw else both["score"] / both["score_second"]
        )
        counts = both["n_trials"] + both["n_trials_second"]
        return both[keys].assign(score=score, n_trials=counts)

    def _summary(self, table: pd.DataFrame, by: Sequence[str]) -> pd.DataFrame:
        rules = self.rules
        times = table[self.column] - rules.shift
        if rules.summary == "mean" and rules.scale == "log":
            times = np.log(times)
        keyed = table[list(by)].assign(_time=times)
        grouped = keyed.groupby(list(by), sort=True, observed=True, dropna=False)["_time"]
        found = grouped.agg(score=rules.summary, n_trials="count").astype("float64").reset_index()
        if rules.summary == "mean" and rules.scale == "log":
            found["score"] = np.exp(found["score"])
        return found


def timed(table: pd.DataFrame, column: str, rules: TimeRules) -> tuple[pd.DataFrame, Timed]:
    """The table without the times that the rules leave out, and the rules as applied.

    Raises
    ------
    ColumnError
        If the trials lack a column that the rules name.
    InputError
        If a time that is left has no logarithm, or the contrast names a value that is not there.
    """
    times = pd.to_numeric(table[column], errors="coerce").astype("float64")
    cuts = time_cuts(table, column, rules)
    kept = times.where(cuts == "")
    counted = kept[counted_rows(table)]
    if rules.scale == "log" and (counted <= rules.shift).any():
        raise InputError(
            f"times in {column!r} that have no logarithm are not left out",
            counted[counted <= rules.shift].unique()[:5].tolist(),
            f"set times.fastest above {rules.shift:g} in study.toml, or correct these times",
        )
    if rules.contrast:
        known = set(table[rules.contrast].dropna().astype("str"))
        absent = [value for value in (rules.first, rules.second) if value not in known]
        if absent:
            raise InputError(
                f"the contrast of {column!r} names what {rules.contrast!r} does not hold",
                absent,
                f"it holds {', '.join(sorted(known)[:8])}",
            )
    found = Timed(rules, column, count_cuts(table, column, cuts, rules))
    return table.assign(**{column: kept}), found
