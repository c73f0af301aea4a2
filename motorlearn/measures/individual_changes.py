"""Who changed beyond trial noise between two tests: one row per person, own limits."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from motorlearn import digits
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.measures.own_limits import FEWEST_TRIALS, hit_change, hit_limits, mean_change
from motorlearn.measures.scores import numbers
from motorlearn.results import Recipe, Result, register_record
from motorlearn.tables import Column, Table
from motorlearn.trials.counted import counted_rows
from motorlearn.vocabulary import BETTER

BETTER_NOW, WORSE_NOW, WITHIN_NOISE, UNKNOWN = "better", "worse", "within noise", "not computable"
"""What the column ``verdict`` can hold."""

OWN_HITS, OWN_TRIALS, GROUP_TRIALS = "own hits", "own trials", "group's trials"
"""What the column ``basis`` can hold: where a person's limits come from."""

_COLUMNS: Final = (
    Column("participant"),
    Column("n_first", "attempts, first", "count"),
    Column("n_second", "attempts, second", "count"),
    Column("first", "first test", "significant"),
    Column("second", "second test", "significant"),
    Column("change", kind="significant"),
    Column("conf_low", "lower", "significant"),
    Column("conf_high", "upper", "significant"),
    Column("hits_down", "worse at or below (hits)", "whole"),
    Column("hits_up", "better at or above (hits)", "whole"),
    Column("basis", "limits from"),
    Column("verdict"),
)


@register_record
@dataclass(frozen=True)
class IndividualChanges(Result):
    """Change of each person between two tests against the person's own limits.

    Attributes
    ----------
    people : DataFrame
        ``participant, n_first, n_second, first, second, change, conf_low, conf_high, hits_down,
        hits_up, basis, verdict``. Scores of hits are shares of the attempts; ``change`` is second
        minus first in the unit of the score; ``hits_down`` and ``hits_up`` are hits of the second
        test at which the change leaves the limits (hits only); ``verdict`` is ``better``,
        ``worse``, ``within noise`` or ``not computable``.
    outcome, better : str
        Score, and the direction in which it is better.
    tests : tuple of (str, str)
        First and second test.
    expected_by_chance : float
        People who would leave their limits if nobody had changed: at most ``1 - level`` of those
        judged, half of them upwards.
    recipe : Recipe
        Columns, options and how many were judged.
    """

    people: pd.DataFrame
    outcome: str
    better: str
    tests: tuple[str, str]
    expected_by_chance: float
    recipe: Recipe

    def count(self, verdict: str) -> int:
        """Number of people with a verdict."""
        return int((self.people["verdict"] == verdict).sum())

    def tables(self) -> list[Table]:
        """One row per person, with what chance alone would do beneath."""
        chance = digits.number(self.expected_by_chance, 1)
        note = (
            f"Of {self.recipe.n} people judged, {self.count(BETTER_NOW)} got better and "
            f"{self.count(WORSE_NOW)} worse beyond their own limits; chance alone would put about "
            f"{chance} beyond them. One pair of tests does not tell who responds to a programme."
        )
        kept = [c for c in _COLUMNS if not self.people[c.name].isna().all()]
        title = f"Change of each person from {self.tests[0]} to {self.tests[1]}"
        return [Table("individual_changes", title, tuple(kept), self.people, (note,))]


def individual_changes(
    table: pd.DataFrame,
    outcome: str,
    *,
    tests: tuple[str, str],
    better: str,
    participant: str = "participant",
    phase: str = "phase",
    level: float = 0.95,
    day_to_day: float = 0.0,
) -> IndividualChanges:
    """Say of each person whether the change between two tests is beyond trial noise.

    Every person is judged by own limits, see :mod:`motorlearn.measures.own_limits`: from the own
    hits and attempts, or from the own trials. A band from the group's mean would be too wide for
    those near 0 or all hits and wrong where attempts differ.

    Parameters
    ----------
    table : DataFrame
        Trials, or hits among attempts; rows with a reason in ``void`` are left out.
    outcome : str
        ``hit`` (0/1), ``hits`` (with ``attempts``), or a score of trials.
    tests : tuple of (str, str)
        Values of ``phase``: first and second test.
    better : {"lower", "higher"}
        Direction in which the score is better.
    participant, phase : str
        Columns.
    level : float
        Level of each person's interval.
    day_to_day : float
        SD of a person's true score from day to day, in shares for hits, otherwise in the unit of
        the score.

    Raises
    ------
    ColumnError
        If a column is absent.
    InputError
        If a test has no rows, or ``better`` is no direction.

    Examples
    --------
    >>> rows = pd.DataFrame({
    ...     "participant": ["a", "a", "b", "b"], "phase": ["pretest", "retention"] * 2,
    ...     "hits": [9, 13, 2, 12], "attempts": 20})
    >>> found = individual_changes(rows, "hits", tests=("pretest", "retention"), better="higher")
    >>> found.people["verdict"].tolist(), found.people["hits_up"].tolist()
    (['within noise', 'better'], [16.0, 8.0])
    """
    _check(table, outcome, (participant, phase), better)
    counted = table[counted_rows(table)]
    found = [_summed(counted[counted[phase] == test], outcome, participant) for test in tests]
    empty = [test for test, one in zip(tests, found) if one.empty]
    if empty:
        raise InputError(f"no row of {phase!r} counts for a test", empty, "name two tests")
    both = found[0].add_suffix("_first").join(found[1].add_suffix("_second"), how="outer")
    judge = _judge_hits if outcome in ("hit", "hits") else _judge_trials
    people = judge(both, level, day_to_day).reset_index(names="participant")
    people["verdict"] = _verdicts(people, better)
    judged = int((people["verdict"] != UNKNOWN).sum())
    recipe = Recipe(
        call="individual_changes",
        columns={"outcome": outcome, "participant": participant, "phase": phase},
        options={"tests": tests, "better": better, "level": level, "day_to_day": day_to_day},
        n=judged,
        engine="difference of two rates (Newcombe), or Welch's interval of own trials",
    )
    shown = people[[column.name for column in _COLUMNS]]
    return IndividualChanges(shown, outcome, better, tests, (1 - level) * judged, recipe)


def _check(table: pd.DataFrame, outcome: str, named: tuple[str, str], better: str) -> None:
    needed = [*named, outcome, *(["attempts"] if outcome == "hits" else [])]
    absent = [name for name in needed if name not in table]
    if absent:
        raise ColumnError("individual change needs a column the table lacks", absent)
    if better not in BETTER:
        raise InputError("'better' must say which direction is better", [better], "lower or higher")


def _summed(rows: pd.DataFrame, outcome: str, participant: str) -> pd.DataFrame:
    values = pd.Series(numbers(rows, outcome), index=rows.index)
    attempts = pd.Series(
        numbers(rows, "attempts") if outcome == "hits" else 1.0, index=rows.index, dtype=float
    )
    use = values.notna() & attempts.notna()
    grouped = pd.DataFrame({"value": values, "n": attempts})[use].groupby(rows[participant][use])
    return pd.DataFrame(
        {
            "n": grouped["n"].sum(),
            "sum": grouped["value"].sum(),
            "mean": grouped["value"].mean(),
            "sd": grouped["value"].std(ddof=1),
        }
    )


def _judge_hits(both: pd.DataFrame, level: float, day_to_day: float) -> pd.DataFrame:
    known = both[["n_first", "n_second"]].fillna(0).gt(0).all(axis=1)
    rows = both[known]
    hits = rows["sum_first"].to_numpy(), rows["sum_second"].to_numpy()
    attempts = rows["n_first"].to_numpy(), rows["n_second"].to_numpy()
    change = hit_change(hits, attempts, level=level, day_to_day=day_to_day)
    down, up = hit_limits(hits[0], *attempts, level=level, day_to_day=day_to_day)
    frame = pd.DataFrame(
        {**vars(change), "hits_down": down, "hits_up": up, "basis": OWN_HITS}, index=rows.index
    ).reindex(both.index)
    for test in ("first", "second"):
        frame[test] = both[f"sum_{test}"] / both[f"n_{test}"]
        frame[f"n_{test}"] = both[f"n_{test}"].astype("Int64")
    return frame


def _judge_trials(both: pd.DataFrame, level: float, day_to_day: float) -> pd.DataFrame:
    trials = tuple(both[f"n_{test}"].fillna(0).to_numpy() for test in ("first", "second"))
    sds = both["sd_first"].to_numpy(), both["sd_second"].to_numpy()
    own = (trials[0] >= FEWEST_TRIALS) & (trials[1] >= FEWEST_TRIALS)
    means = both["mean_first"].to_numpy(), both["mean_second"].to_numpy()
    change = mean_change(means, sds, (trials[0], trials[1]), level=level, day_to_day=day_to_day)
    pooled, df = _pooled(sds, trials)
    group = mean_change(
        means,
        (np.full(len(both), pooled), np.full(len(both), pooled)),
        (np.where(trials[0] > 0, trials[0], np.nan), np.where(trials[1] > 0, trials[1], np.nan)),
        level=level,
        day_to_day=day_to_day,
        df=df,
    )
    basis = np.where(own, OWN_TRIALS, GROUP_TRIALS).astype(object)
    frame = pd.DataFrame(
        {name: np.where(own, vars(change)[name], vars(group)[name]) for name in vars(change)},
        index=both.index,
    ).assign(hits_down=np.nan, hits_up=np.nan)
    frame["basis"] = pd.Series(basis, index=both.index).where(np.isfinite(frame["conf_low"]))
    for test in ("first", "second"):
        frame[test] = both[f"mean_{test}"]
        frame[f"n_{test}"] = both[f"n_{test}"].astype("Int64")
    return frame


def _pooled(
    sds: tuple[np.ndarray, np.ndarray], trials: tuple[np.ndarray, ...]
) -> tuple[float, float]:
    """Pool the trials' SD over people and tests, with its degrees of freedom."""
    sd, n = np.concatenate(sds), np.concatenate(trials)
    known = n >= 2
    df = float((n[known] - 1).sum())
    if df == 0:
        return float("nan"), float("nan")
    return float(np.sqrt((sd[known] ** 2 * (n[known] - 1)).sum() / df)), df


def _verdicts(people: pd.DataFrame, better: str) -> list[str]:
    sign = 1 if better == "higher" else -1
    words = {0: WITHIN_NOISE, 1: BETTER_NOW, -1: WORSE_NOW}
    return [
        words[int(sign * row.exceeds)] if np.isfinite(row.conf_low) else UNKNOWN
        for row in people.itertuples()
    ]
