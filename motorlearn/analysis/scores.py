"""How an outcome of the plan comes from the columns of a study."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from motorlearn.analysis.allocated import kept_columns
from motorlearn.analysis.times import Timed, timed
from motorlearn.design import Design, Outcome, TimeRules, target_of_rows
from motorlearn.design.outcomes import VARIABILITY
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.measures import registered_measures, score_trials
from motorlearn.measures.registry import measures_for
from motorlearn.trials import counted_rows
from motorlearn.vocabulary import PRACTICE_PHASE

HITS = "hits"
RATES = ("hit", "hit_rate")
MEAN_OF = {"mean_radial_error": "radial_error", "mean_time": "time"}
"""Measures that are the mean of a column of trials."""


@dataclass(frozen=True)
class OutcomeScores:
    """Rows of a study with the columns that one outcome is made from.

    Parameters
    ----------
    table : DataFrame
        Trials with a column ``stage``; for hits with ``hits`` and ``attempts`` in every row.
    outcome : Outcome
        The outcome with the unit and the label that its scores really have.
    column : str
        Column that holds the score, or name of the measure.
    attempts : str or None
        Column of attempts, where the score is hits among attempts.
    out_of : float or None
        Hits are told as hits of so many; None for a rate and for everything else.
    by_trial : bool
        Whether rows are trials, so that the spread within participants is known.
    measured : bool
        Whether the score is computed from all trials of a cell and is no mean of trials.
    kept : tuple of str
        Columns beside person and group that every score keeps, such as that of the class.
    timed : Timed or None
        Rules of the plan for a time, as they were applied.
    """

    table: pd.DataFrame
    outcome: Outcome
    column: str
    attempts: str | None = None
    out_of: float | None = None
    by_trial: bool = True
    measured: bool = False
    kept: tuple[str, ...] = ()
    timed: Timed | None = None

    @property
    def of_single_trials(self) -> bool:
        """Whether every row that is present holds a score of its own."""
        return not self.measured or (self.timed is not None and not self.timed.rules.contrast)

    def cells(self, by: Sequence[str]) -> pd.DataFrame:
        """Scores of cells: the columns of ``by``, ``score``, ``n_trials``."""
        if self.measured and self.timed is not None:
            return self.timed.cells(self.table[self.present()], by)
        if self.measured:
            own = [name for name in registered_measures() if name == self.column]
            used = self.table[self.present()] if own else self.table
            found = score_trials(used, list(by), registered=own)
            if self.column not in found:
                raise InputError(
                    "a measure of this analysis is no longer registered",
                    [self.column],
                    "register it again with register_measure",
                )
            counts = found["n"].astype("float64") if own else self._trials(found)
            cells = found[list(by)].assign(score=found[self.column], n_trials=counts)
            return cells[cells["score"].notna()].reset_index(drop=True)
        used = self.table[self.present()]
        grouped = used.groupby(list(by), sort=True, observed=True, dropna=False)
        if self.attempts:
            sums = grouped[[self.column, self.attempts]].sum().astype("float64").reset_index()
            rate = sums[self.column] / sums[self.attempts] * (self.out_of or 1.0)
            return sums.assign(score=rate, n_trials=sums[self.attempts])[[*by, "score", "n_trials"]]
        found = grouped[self.column].agg(score="mean", n_trials="count").astype("float64")
        return found.reset_index()

    @staticmethod
    def _trials(found: pd.DataFrame) -> pd.Series:
        counts = [name for name in ("n_landing", "n_error", "n_time", "attempts") if name in found]
        return found[counts[0] if counts else "n"].astype("float64")

    def present(self) -> pd.Series:
        """Rows that count and hold a value; a measure counts every row that counts."""
        counts = pd.Series(counted_rows(self.table), index=self.table.index)
        everyone = self.measured and self.timed is None
        return counts if everyone else counts & self.table[self.column].notna()

    @cached_property
    def stage_rows(self) -> pd.DataFrame:
        """Rows from which groups are compared at every part of the study."""
        return self.rows(["participant", "group", *self.kept, "stage"])

    @cached_property
    def blocks(self) -> list[str]:
        """Columns that number the blocks of practice, where they are filled."""
        named = [name for name in ("session", "block") if name in self.table]
        return [name for name in named if self.table[name].notna().any()]

    @cached_property
    def practice_rows(self) -> pd.DataFrame:
        """Rows of practice that carry a block; none where nothing numbers the blocks."""
        if not self.blocks:
            return self.table.iloc[:0]
        rows = self.rows(["participant", "group", *self.kept, "phase", *self.blocks])
        rows = rows[rows["phase"] == PRACTICE_PHASE].dropna(subset=self.blocks)
        counts = pd.Series(counted_rows(rows), index=rows.index)
        return rows[counts.groupby([rows[name] for name in self.blocks]).transform("any")]

    @cached_property
    def block_cells(self) -> pd.DataFrame:
        """Participants' scores by block of practice and by test."""
        practised = self.table["phase"] == PRACTICE_PHASE
        keys = {
            name: pd.Series(self.table.get(name, np.nan), index=self.table.index).where(practised)
            for name in ("session", "block")
        }
        keyed = replace(self, table=self.table.assign(**keys))
        return keyed.cells(["participant", "group", *self.kept, "stage", "session", "block"])

    @cached_property
    def task_cells(self) -> list[pd.DataFrame]:
        """Participants' scores by part of the study: over tasks, and by task if there are some."""
        by = ["participant", "group", *self.kept, "stage"]
        several = "task" in self.table and self.table["task"].nunique() > 1
        several = several and (self.timed is None or self.timed.rules.contrast != "task")
        return [self.cells(by), *([self.cells([*by, "task"])] if several else [])]

    def rows(self, by: Sequence[str]) -> pd.DataFrame:
        """Rows that a comparison takes: trials, or one score for each cell of a measure."""
        if not self.measured:
            return self.table
        by = [name for name in by if name in self.table]
        return self.cells(by).rename(columns={"score": self.column})


ERRORS_OF_TRIALS = {"constant_error": 1, "absolute_error": 0}
"""Errors of a cell that are means of trials: of signed (1) or absolute (0) errors."""


def scores_of(table: pd.DataFrame, outcome: Outcome, design: Design) -> OutcomeScores:
    """Find how an outcome comes from the columns of a table.

    ``hits`` and ``hit`` (or ``hit_rate``) come from hits among attempts, from 0/1 rows, or from
    both: the former are told as hits of so many, the latter as a rate. A column of the outcome's
    name is averaged over trials; the name of a measure is computed from the trials of each cell.

    Raises
    ------
    ColumnError
        If neither a column nor a measure has that name.
    InputError
        If the column holds nothing that counts.
    """
    if outcome.column:
        found = scores_of_column(table, outcome, design)
    elif outcome.name == HITS or outcome.name in RATES:
        found = _hits(table, outcome, design)
    else:
        found = _values(table, outcome)
    if outcome.times is not None:
        found = _by_rules(found, outcome.times)
    if not found.present().any():
        raise InputError(
            f"outcome {outcome.name!r} has no value that counts",
            None,
            f"fill the column {found.column!r}, or look at the column 'void'",
        )
    if found.measured and found.column in VARIABILITY:
        _refuse_single_trials(found)
    return replace(found, kept=kept_columns(found.table, design))


def _refuse_single_trials(found: OutcomeScores) -> None:
    counted = found.table[found.present()]
    if counted.groupby(["participant", "stage"], observed=True).size().max() < 2:
        raise InputError(
            f"outcome {found.outcome.name!r} says how variable a person is, and nobody has two "
            "trials at a test",
            remedy="record several trials of each person at every test",
        )


def _by_rules(found: OutcomeScores, rules: TimeRules) -> OutcomeScores:
    """Times as the rules of the plan leave and summarise them."""
    if found.measured or found.attempts is not None:
        raise InputError(
            "rules for times need a column with the time of every trial",
            [found.outcome.name],
            "name the column of times in outcomes.column",
        )
    table, applied = timed(found.table, found.column, rules)
    told = found.outcome
    if rules.contrast:
        raw = rules.scale == "raw"
        pair = f"{rules.first} {'less' if raw else 'by'} {rules.second}"
        name = told.words
        update = {"label": f"{name}, {pair}", "unit": told.unit if raw else ""}
        told = told.model_copy(update=update)
    return replace(found, table=table, outcome=told, timed=applied, measured=not rules.is_plain)


def scores_of_column(table: pd.DataFrame, outcome: Outcome, design: Design) -> OutcomeScores:
    """Scores from the column that the outcome names: its mean, or errors from a target."""
    if outcome.column not in table:
        raise ColumnError(
            f"outcome {outcome.name!r} comes from a column that the trials do not have",
            [outcome.column],
            f"they have {', '.join(str(name) for name in table)}",
        )
    values = pd.to_numeric(table[outcome.column], errors="coerce").astype("float64")
    if not outcome.has_target:
        return OutcomeScores(table.assign(**{outcome.column: values}), outcome, outcome.column)
    measure = outcome.measure or "absolute_error"
    error = values - target_of_rows(table, outcome, design)
    told = outcome.label or f"{measure.replace('_', ' ')} of {outcome.name.replace('_', ' ')}"
    named = outcome.model_copy(update={"label": told})
    if measure in ERRORS_OF_TRIALS:
        shown = error if ERRORS_OF_TRIALS[measure] else error.abs()
        return OutcomeScores(table.assign(**{measure: shown}), named, measure)
    others = [name for name in ("hit", HITS, "x", "y", "radial_error") if name in table]
    own = table.drop(columns=others).assign(error=error)
    return OutcomeScores(own, named, measure, by_trial=False, measured=True)


def _values(table: pd.DataFrame, outcome: Outcome) -> OutcomeScores:
    name = outcome.name
    if name in registered_measures():
        measures_for(table, [name])
    column = name if name in table else MEAN_OF.get(name, name)
    if column == "radial_error" and column not in table and {"x", "y"} <= set(table):
        table = table.assign(radial_error=np.hypot(table["x"], table["y"]))
    if column in table:
        return OutcomeScores(table, outcome, column)
    if name not in _measures(table):
        raise ColumnError(
            f"outcome {name!r} of the plan is no column of the trials and no known score",
            [name],
            "name a column of the trials, register a measure of your own, or name one that they "
            "allow: "
            f"{', '.join(_measures(table)) or 'none of them does'}",
        )
    return OutcomeScores(table, outcome, name, by_trial=False, measured=True)


def _measures(table: pd.DataFrame) -> list[str]:
    """Names of the measures that the columns of these trials allow, registered ones first."""
    own = [name for name in registered_measures() if name not in table]
    own = [measure.name for measure in measures_for(table, own)]
    try:
        return [*own, *score_trials(table.head(2), [], registered=())] if len(table) else []
    except InputError:
        return own


def _hits(table: pd.DataFrame, outcome: Outcome, design: Design) -> OutcomeScores:
    counts = {"hits", "attempts"} <= set(table)
    if outcome.name in table and not counts and "hit" not in table:
        return OutcomeScores(table, _named(outcome), outcome.name, by_trial=False)
    if not counts and "hit" not in table:
        raise ColumnError(
            f"outcome {outcome.name!r} has no column in the trials",
            [outcome.name],
            "add 'hit' with 1 and 0 for every trial, or 'hits' and 'attempts'",
        )
    table = table.assign(**hits_and_attempts(table))
    if outcome.name in RATES:
        return OutcomeScores(table, _named(outcome), HITS, "attempts", by_trial=False)
    whole = _whole(table, outcome, design)
    share = f" of {whole:g}"
    told = (outcome.label or HITS).removesuffix(share) + share
    counted = outcome.model_copy(update={"label": told, "unit": ""})
    return OutcomeScores(table, counted, HITS, "attempts", whole, by_trial=False)


def hits_and_attempts(table: pd.DataFrame) -> dict[str, pd.Series]:
    """Hits and attempts of every row: as counted, else one attempt for each hit or miss."""
    none = pd.Series(np.nan, index=table.index)
    hits, attempts = (
        table[name].astype("float64") if {HITS, "attempts"} <= set(table) else none
        for name in (HITS, "attempts")
    )
    if "hit" not in table:
        return {HITS: hits, "attempts": attempts.where(hits.notna())}
    single = table["hit"].astype("float64")
    counted = hits.notna() & attempts.notna()
    ones = pd.Series(1.0, index=table.index).where(single.notna())
    return {HITS: hits.where(counted, single), "attempts": attempts.where(counted, ones)}


def _whole(table: pd.DataFrame, outcome: Outcome, design: Design) -> float:
    """The number that hits are told of: as declared, else as planned, else as usually made."""
    if outcome.high is not None and outcome.high > 1:
        return float(outcome.high)
    primary = design.primary
    tests = [test for test in design.tests if primary is None or test.phase == primary.phase]
    planned = {test.trials for test in tests or design.tests}
    if len(planned) == 1:
        return float(planned.pop())
    made = table[counted_rows(table)].groupby(["participant", "stage"])["attempts"].sum()
    return float(made[made > 0].mode().iloc[0]) if (made > 0).any() else 1.0


def _named(outcome: Outcome) -> Outcome:
    """The mean of hits and misses is a rate, whatever the trials are called."""
    if outcome.label in ("", "hit", "hits"):
        outcome = outcome.model_copy(update={"label": "hit rate"})
    return outcome.model_copy(update={"unit": ""})
