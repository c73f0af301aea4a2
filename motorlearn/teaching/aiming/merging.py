"""Many seats become one class: what fits is kept, what does not is set aside and named."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import pandas as pd

from motorlearn.exceptions import FileError, InputError
from motorlearn.files import new_folder, write_bytes, write_text
from motorlearn.results import Result, nobody_left_out
from motorlearn.rows import LEFT_OUT
from motorlearn.tables import Column, Table
from motorlearn.teaching.aiming.programme import make_programme, plan_text
from motorlearn.teaching.aiming.pushes import ClassFrame, fault, read_pushes
from motorlearn.teaching.aiming.sitting import COLUMNS
from motorlearn.trials import no_problems
from motorlearn.trials.sharing.data_package import table_bytes
from motorlearn.vocabulary import PROBLEM_COLUMNS

PATTERN: Final = "class-experiment-S*.csv"
CELLS: Final = (
    "participant", "group", "phase", "session", "block", "radial_error", "hits", "attempts",
    "device",
)  # fmt: skip
"""Columns of a class of which some seats gave a code: a row for each block and test."""
_PLACE: Final = list(CELLS[:5])

Entry = tuple[str, str, int | None, str, str, str, str, str]
"""The file, then the fault in it."""


def _no_cells() -> pd.DataFrame:
    return pd.DataFrame(columns=list(CELLS))


@dataclass(frozen=True)
class ClassTrials(Result):
    """Trials of a whole class, and everything that was found wrong on the way.

    Parameters
    ----------
    table : DataFrame
        Every push of every seat that was kept, in the standard columns.
    participants : DataFrame
        ``participant, group, pushes, complete``.
    problems : DataFrame
        ``file, sheet, row, column, value, rule, severity, advice``.
    left_out : DataFrame
        ``participant, group, reason, rows``: files that were set aside.
    cells : DataFrame
        Seats that gave a code: a row for each block and test, with its mean ``radial_error``,
        ``hits`` and ``attempts``; empty where every seat gave a file.
    """

    table: pd.DataFrame
    participants: pd.DataFrame
    problems: pd.DataFrame
    left_out: pd.DataFrame
    cells: pd.DataFrame = field(default_factory=_no_cells)

    def tables(self) -> list[Table]:
        """Who is in, and what was found."""
        counts = (
            self.participants.groupby("group", sort=True)
            .agg(seats=("participant", "size"), complete=("complete", "sum"))
            .reset_index()
        )
        names = ("file", "value", "rule", "severity", "advice")
        return [
            Table(
                "class",
                "Seats by group",
                (Column("group"), Column("seats", kind="count"), Column("complete", kind="count")),
                counts,
            ),
            Table(
                "class-problems",
                "What was found in the files",
                tuple(Column(name) for name in names),
                self.problems,
            ),
        ]


def merge_class(folder: str | Path, *, class_seed: int) -> ClassTrials:
    """Merge the files of many seats and check each against the programme of its seat.

    A file that cannot be read, is not of this class, holds pushes that were not planned, or claims
    a seat that another file claims too is set aside and listed; two copies of one file count once,
    and of two states of one sitting the fuller one.

    Parameters
    ----------
    folder : path-like
        Folder that holds files named ``class-experiment-S001.csv`` and the like, also in folders
        within it.
    class_seed : int
        Seed that the class shared.

    Returns
    -------
    ClassTrials

    Raises
    ------
    FileError
        If the folder holds no such file.
    """
    files = sorted(Path(folder).rglob(PATTERN))
    if not files:
        raise FileError(
            "the folder holds no file of the class experiment",
            [str(folder)],
            f"collect the files named {PATTERN} in it",
        )
    named = {file.relative_to(folder).as_posix(): file for file in files}
    return merge_files(named, ClassFrame(class_seed))


def merge_files(
    files: Mapping[str, Path],
    room: ClassFrame,
    *,
    both: bool = False,
    coded: Mapping[str, pd.DataFrame] | None = None,
    found: Sequence[Entry] = (),
) -> ClassTrials:
    """Merge named files, and seats that gave codes.

    Parameters
    ----------
    files : mapping of str to path
        Files by the name they are called in what is found.
    room : ClassFrame
        The class.
    both : bool
        Whether two people on one seat are both kept, the second as ``S007-2``.
    coded : mapping of str to DataFrame
        Cells of seats that gave a code only, by the code's name.
    found : sequence of Entry
        What was found already.

    Returns
    -------
    ClassTrials
    """
    entries, claims = list(found), dict[str, list[tuple[str, pd.DataFrame]]]()
    for name, file in files.items():
        table, faults = read_pushes(file, room)
        entries += [(name, *each) for each in faults]
        if table is not None:
            claims.setdefault(str(table["participant"].iloc[0]), []).append((name, table))
    for name, cells in (coded or {}).items():
        claims.setdefault(str(cells["participant"].iloc[0]), []).append((name, cells))
    kept = []
    for claim in claims.values():
        people, faults_of_claim = _people(claim, both=both)
        kept += people
        entries += faults_of_claim
    return _merged(kept, entries)


def _people(
    claim: list[tuple[str, pd.DataFrame]], *, both: bool
) -> tuple[list[pd.DataFrame], list[Entry]]:
    """Tell the people apart who claim one seat: copies and earlier states are one person."""
    people: list[tuple[str, pd.DataFrame]] = []
    entries: list[Entry] = []
    for name, table in sorted(claim, key=lambda each: (-_made(each[1]), "trial" not in each[1])):
        same = next((who for who, fuller in people if _is_state(table, fuller)), None)
        if same is None:
            people.append((name, table))
            continue
        full = any(_made(table) == _made(fuller) for who, fuller in people if who == same)
        rule = "copy of another file" if full else "earlier state of another file"
        entries.append((name, *fault(rule, "note", "counted once", value=f"as {same}")))
    if len(people) == 1:
        return [people[0][1]], entries
    if both:
        advice = "both are kept, the later with -2 behind its seat; say so in the report"
        entries += _rivals(people, "doubt", advice)
        return [_renamed(table, number) for number, (_, table) in enumerate(people, 1)], entries
    advice = "both are set aside; take the wrong one away, or keep both people with --both"
    return [], [*entries, *_rivals(people, "error", advice)]


def _rivals(people: list[tuple[str, pd.DataFrame]], severity: str, advice: str) -> list[Entry]:
    names = [name for name, _ in people]
    return [
        (
            name,
            *fault(
                "two students on one seat",
                severity,
                advice,
                column="participant",
                value=f"{table['participant'].iloc[0]}, also "
                + ", ".join(other for other in names if other != name),
            ),
        )
        for name, table in people
    ]


def _made(table: pd.DataFrame) -> int:
    return int(table["attempts"].sum()) if "attempts" in table else len(table)


def _is_state(table: pd.DataFrame, fuller: pd.DataFrame) -> bool:
    """Whether a table is the same sitting as a fuller one, then or earlier."""
    if "attempts" not in table:
        return "attempts" not in fuller and table.equals(fuller.iloc[: len(table)])
    cells = to_cells(fuller.iloc[: _made(table)]) if "attempts" not in fuller else fuller
    if len(table) != len(cells) or _made(table) != _made(cells):
        return False
    near = (table["radial_error"] - cells["radial_error"]).abs() <= 0.006 * cells[
        "radial_error"
    ] + 0.1
    return bool(near.all() and (table["hits"].to_numpy() == cells["hits"].to_numpy()).all())


def to_cells(table: pd.DataFrame) -> pd.DataFrame:
    """Put the pushes of a seat or more together: a row for each block of practice and each test."""
    cells = table.groupby(_PLACE, sort=False, as_index=False).agg(
        radial_error=("radial_error", "mean"),
        hits=("hit", "sum"),
        attempts=("hit", "size"),
        device=("device", "first"),
    )
    return cells.round({"radial_error": 1})[list(CELLS)]


def _renamed(table: pd.DataFrame, number: int) -> pd.DataFrame:
    return table if number == 1 else table.assign(participant=table["participant"] + f"-{number}")


def _merged(kept: list[pd.DataFrame], found: Iterable[Entry]) -> ClassTrials:
    problems = pd.DataFrame(list(found), columns=list(PROBLEM_COLUMNS)) if found else no_problems()
    aside = problems[problems["severity"] == "error"]
    left_out = LEFT_OUT.frame(
        [
            LEFT_OUT.row(participant=_seat_in(file), reason=rule)
            for file, rule in aside[["file", "rule"]].to_numpy()
        ]
    )
    pushes = [table for table in kept if "attempts" not in table]
    coded = [table for table in kept if "attempts" in table]
    table = pd.concat(pushes, ignore_index=True) if pushes else pd.DataFrame(columns=list(COLUMNS))
    cells = pd.concat(coded, ignore_index=True) if coded else _no_cells()
    whole = len(make_programme(1, class_seed=0).pushes)
    people = pd.DataFrame(
        sorted((*each[["participant", "group"]].iloc[0], _made(each)) for each in kept),
        columns=["participant", "group", "pushes"],
    )
    people["complete"] = people["pushes"] == whole
    left = left_out if len(aside) else nobody_left_out()
    return ClassTrials(table, people, problems, left, cells)


def _seat_in(name: str) -> str:
    """Read the seat in the name of a file, where it has one."""
    seat = re.search(r"S\d{3}", name)
    return seat.group() if seat else name


def write_class_study(
    merged: ClassTrials,
    folder: str | Path,
    *,
    retention_days: float | None = None,
    beside: Mapping[str, bytes] | None = None,
) -> Path:
    """Write the class's study: plan, trials and participants, ready for ``ml.read_study``.

    Where a seat gave a code only, the whole study holds one row for each block and test, with its
    mean radial error and its hits; the single pushes stand in ``pushes.csv`` beside it.

    Parameters
    ----------
    merged : ClassTrials
        The class.
    folder : path-like
        New folder, or one that this function made earlier.
    retention_days : float, optional
        Days from practice to the retention test, as the class had it.
    beside : mapping of str to bytes, optional
        More files to put into the folder, by their names.

    Raises
    ------
    InputError
        If no seat was kept.
    FileError
        If the folder exists and is somebody else's work.
    """
    if merged.participants.empty:
        reasons = sorted(set(merged.left_out["reason"]))
        raise InputError("no seat was kept, so there is no study to write", reasons)
    coded = not merged.cells.empty
    with new_folder(folder, mark=".class-experiment") as work:
        write_text(work / "study.toml", plan_text(retention_days, cells=coded))
        for name, content in (beside or {}).items():
            (work / name).parent.mkdir(parents=True, exist_ok=True)
            write_bytes(work / name, content)
        trials = merged.table
        if coded:
            write_bytes(work / "pushes.csv", table_bytes(trials))
            parts = [to_cells(trials)] if len(trials) else []
            trials = pd.concat([*parts, merged.cells], ignore_index=True)
        write_bytes(work / "trials.csv", table_bytes(trials))
        people = merged.participants[["participant", "group"]]
        write_bytes(work / "participants.csv", table_bytes(people))
    return Path(folder)
