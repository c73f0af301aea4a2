"""What reading gives: checked trials, and a whole study."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.design.schema import plan_table
from motorlearn.digits import count
from motorlearn.exceptions import InputError
from motorlearn.tables import Column, Table, to_html
from motorlearn.vocabulary import CHANGE_COLUMNS, PROBLEM_COLUMNS


def no_problems() -> pd.DataFrame:
    """Give the empty list of problems."""
    return pd.DataFrame(columns=list(PROBLEM_COLUMNS))


def no_changes() -> pd.DataFrame:
    """Give the empty change log."""
    return pd.DataFrame(columns=list(CHANGE_COLUMNS))


def nothing_set_aside() -> pd.DataFrame:
    """Give the empty list of rows that are not in the table."""
    return pd.DataFrame(columns=["file", "sheet", "row", "reason", "content"])


def nothing_excluded() -> pd.DataFrame:
    """Give the empty list of exclusions that the plan declares."""
    return pd.DataFrame(columns=list(EXCLUDED_COLUMNS))


def nothing_replaced() -> pd.DataFrame:
    """Give the empty list of cells that replacement rules of the plan changed."""
    return pd.DataFrame(columns=list(REPLACED_COLUMNS))


def set_aside_file(file: str, name: str, reason: str) -> pd.DataFrame:
    """List a whole file of many that is not in the table."""
    row = (file, name, pd.NA, reason, "the whole file")
    return pd.DataFrame([row], columns=["file", "sheet", "row", "reason", "content"])


EXCLUDED_COLUMNS = ("rule", "reason", "where", "people", "rows")
REPLACED_COLUMNS = ("line", "participant", "phase", "column", "before", "after", "rule", "reason")


@dataclass(frozen=True)
class Trials:
    """Trials as they were read, and everything that should be known about them.

    Parameters
    ----------
    table : DataFrame
        One row per trial, or per set of attempts, in standard columns; further columns of the file
        are kept behind them. Nothing is dropped from it silently.
    problems : DataFrame
        ``file, sheet, row, column, value, rule, severity, advice``; severity is ``error``,
        ``doubt`` or ``note``.
    changes : DataFrame
        ``file, sheet, row, column, before, after, rule``: every value that was altered on the way.
    units : mapping of str to str
        Unit of each kind of quantity or column that has one.
    set_aside : DataFrame
        ``file, sheet, row, reason, content``: rows of the file that are not in the table, such as
        blank rows and rows of totals.
    rows : ndarray of int
        Row of the file for each row of the table.
    excluded : DataFrame
        ``rule, reason, where, people, rows``: what each exclusion of the plan took out of the
        scores; its rows are in the table, with the reason in ``void``.
    replaced : DataFrame
        ``line, participant, phase, column, before, after, rule, reason``: every cell that a
        replacement rule of the plan changed; ``line`` is the label of the row in the table.
    """

    table: pd.DataFrame
    problems: pd.DataFrame = field(default_factory=no_problems)
    changes: pd.DataFrame = field(default_factory=no_changes)
    units: Mapping[str, str] = field(default_factory=dict)
    set_aside: pd.DataFrame = field(default_factory=nothing_set_aside)
    rows: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=np.int64), repr=False)
    excluded: pd.DataFrame = field(default_factory=nothing_excluded, repr=False)
    replaced: pd.DataFrame = field(default_factory=nothing_replaced, repr=False)

    def __repr__(self) -> str:
        return f"Trials: {_size(self.table)}; {_found(self.problems)}. .table holds the rows."

    def _repr_html_(self) -> str:
        counts = self.table.groupby("phase", sort=False, observed=True) if _phased(self) else None
        rows = pd.DataFrame({"phase": ["all"], "rows": [len(self.table)]})
        if counts is not None:
            rows = counts.size().rename("rows").reset_index()
        columns = (Column("phase"), Column("rows", kind="count"))
        return to_html(Table("trials", "Trials by phase", columns, rows, (repr(self),)))


@dataclass(frozen=True)
class Study:
    """A study: its plan, its trials, and who took part.

    Parameters
    ----------
    design : Design
        The plan.
    trials : Trials
        What was read, with problems and changes.
    participants : DataFrame or None
        One row per allocated person: ``participant, group`` and further columns.
    ratings : DataFrame or None
        One row per rater and item: ``participant, phase, item, rater, score`` and further columns.
    problems : DataFrame
        Problems of all files together.
    folder : Path or None
        Where the study was read from.
    sessions : DataFrame or None
        What was noted at sessions: one row per person and session with ``present``, pain, fatigue
        and the criteria met, where there is such a file.
    questionnaires : mapping of str to DataFrame
        Answers by the name of the questionnaire in the plan.
    """

    design: Design
    trials: Trials
    participants: pd.DataFrame | None = None
    ratings: pd.DataFrame | None = None
    problems: pd.DataFrame = field(default_factory=no_problems)
    folder: Path | None = None
    sessions: pd.DataFrame | None = None
    questionnaires: Mapping[str, pd.DataFrame] = field(default_factory=dict, repr=False)

    def __repr__(self) -> str:
        return (
            f"Study {self.design.study.title!r}: {_size(self.trials.table)}; "
            f"{_found(self.problems)}. See .design, .trials, .participants, .problems."
        )

    def _repr_html_(self) -> str:
        plan = plan_table(self.design)
        return to_html(replace(plan, notes=(repr(self),)))


def study_or_refuse(found: object) -> Study:
    """The study itself; anything else, such as the name of its folder, is refused.

    Raises
    ------
    InputError
        If it is no study that was read or simulated.

    Examples
    --------
    >>> study_or_refuse("my-study")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    motorlearn.exceptions.InputError: this is no study ('my-study'); read it first: ...
    """
    if isinstance(found, Study):
        return found
    given = str(found) if isinstance(found, str | Path) else type(found).__name__
    raise InputError("this is no study", [given], "read it first: study = ml.read_study(folder)")


def _phased(trials: Trials) -> bool:
    return "phase" in trials.table and len(trials.table) > 0


def _size(table: pd.DataFrame) -> str:
    people = (
        f"{count(table['participant'].nunique(), 'person')}, " if "participant" in table else ""
    )
    return f"{people}{count(len(table), 'row')}"


def _found(problems: pd.DataFrame) -> str:
    counts = problems["severity"].value_counts() if len(problems) else {}
    return ", ".join(count(n, name) for name, n in counts.items()) or "no problems"
