"""Files of the class experiment: one per seat, then one study of the whole class."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.exceptions import FileError, InputError
from motorlearn.files import new_folder, write_bytes, write_text
from motorlearn.results import Result, nobody_left_out
from motorlearn.rows import LEFT_OUT
from motorlearn.tables import Column, Table
from motorlearn.teaching.aiming.floor import Rest
from motorlearn.teaching.aiming.programme import SEATS, make_programme, target_radius
from motorlearn.teaching.aiming.sitting import COLUMNS, Landing, Sitting
from motorlearn.trials import no_problems
from motorlearn.trials.sharing.data_package import table_bytes
from motorlearn.vocabulary import PROBLEM_COLUMNS

PATTERN: Final = "class-experiment-S*.csv"
_LARGEST: Final = 1_000_000
_WHOLE = ("session", "block", "trial", "hit", "feedback", "class_seed")
_NUMBERS: Final = ("session", "block", "trial", "hit", "x", "y", "radial_error", "class_seed")

Fault = tuple[str, int | None, str, str, str, str, str]
"""Participant, row, column, value, rule, severity, advice."""
Entry = tuple[str, str, int | None, str, str, str, str, str]
"""The file, then the fault in it."""


def save_sitting(sitting: Sitting, folder: str | Path) -> Path:
    """Write what a seat has done so far as CSV in the standard columns, whole or not at all.

    Raises
    ------
    FileError
        If the folder does not exist or cannot be written.
    """
    path = sitting_file(folder, sitting.programme.participant)
    if sitting.consent:
        return write_bytes(path, table_bytes(sitting.records()))
    path.unlink(missing_ok=True)
    return path


def sitting_file(folder: str | Path, participant: str) -> Path:
    """Give the path of a seat's file; its name holds the seat and nothing about the person."""
    return Path(folder) / f"class-experiment-{participant}.csv"


def resume_sitting(folder: str | Path, seat: int, *, class_seed: int, now: float) -> Sitting:
    """Take up a sitting where its file ends; the pause since then counts by the file's date.

    Parameters
    ----------
    folder : path-like
        Folder of the seat's file.
    seat, class_seed : int
        Seat and class.
    now : float
        Time in seconds since 1970.

    Raises
    ------
    FileError
        If there is no such file, or it is not what this seat was to do.
    """
    programme = make_programme(seat, class_seed=class_seed)
    file = sitting_file(folder, programme.participant)
    if not file.is_file():
        raise FileError("this seat has no file to take up", [str(file)], "start without resume")
    table, faults = _read(file, class_seed)
    if table is None:
        raise FileError(f"the file of this seat {_rules(faults)}", [str(file)], "ask the lecturer")
    landings = tuple(
        Landing(Rest(row.x, row.y, ((0.0, 0.0),)), row.speed, row.time, row.device, row.elapsed)
        for row in table.itertuples(index=False)
    )
    started = file.stat().st_mtime - landings[-1].elapsed
    return Sitting(programme, consent=True, started=min(started, now), landings=landings)


def _rules(faults: list[Fault]) -> str:
    return "cannot be taken up: " + ", ".join(fault[4] for fault in faults)


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
    """

    table: pd.DataFrame
    participants: pd.DataFrame
    problems: pd.DataFrame
    left_out: pd.DataFrame

    def tables(self) -> list[Table]:
        """Who is in, and what was found."""
        counts = (
            self.participants.groupby("group", sort=True)
            .agg(seats=("participant", "size"), complete=("complete", "sum"))
            .reset_index()
        )
        found = (Column("file"), Column("rule"), Column("severity"), Column("advice"))
        return [
            Table(
                "class",
                "Seats by group",
                (Column("group"), Column("seats", kind="count"), Column("complete", kind="count")),
                counts,
            ),
            Table("class-problems", "What was found in the files", found, self.problems),
        ]


def merge_class(folder: str | Path, *, class_seed: int) -> ClassTrials:
    """Merge the files of many seats and check each against the programme of its seat.

    A file that cannot be read, is not of this class, holds pushes that were not planned, or claims
    a seat that another file claims too is set aside and listed; two copies of one file count once.

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
    found: list[Entry] = []
    kept: dict[str, list[tuple[str, pd.DataFrame]]] = {}
    for file in files:
        name = file.relative_to(folder).as_posix()
        table, faults = _read(file, class_seed)
        found += [(name, *fault) for fault in faults]
        if table is not None:
            kept.setdefault(str(table["participant"].iloc[0]), []).append((name, table))
    tables = []
    for entries in kept.values():
        found += _claims(entries)
        if all(entry[1].equals(entries[0][1]) for entry in entries):
            tables.append(entries[0][1])
    return _merged(tables, found)


def write_class_study(merged: ClassTrials, folder: str | Path) -> Path:
    """Write the class's study: plan, trials and participants, ready for ``ml.read_study``.

    Raises
    ------
    InputError
        If no seat was kept.
    FileError
        If the folder exists and is somebody else's work.
    """
    if merged.table.empty:
        raise InputError("no seat was kept, so there is no study to write")
    plan = (Path(__file__).parent / "study.toml").read_text(encoding="utf-8")
    with new_folder(folder, mark=".class-experiment") as work:
        write_text(work / "study.toml", plan)
        write_bytes(work / "trials.csv", table_bytes(merged.table))
        people = merged.participants[["participant", "group"]]
        write_bytes(work / "participants.csv", table_bytes(people))
    return Path(folder)


def _read(file: Path, class_seed: int) -> tuple[pd.DataFrame | None, list[Fault]]:
    """Read one file; give the table, or None, and the faults found."""
    if file.stat().st_size > _LARGEST:
        return None, [_fault("", "", "file too large", "error", "ask the seat for its own file")]
    try:
        table = pd.read_csv(file, dtype="str", keep_default_na=False, encoding="utf-8")
    except (UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError):
        return None, [_fault("", "", "cannot be read", "error", "ask the seat for its own file")]
    if list(table.columns) != list(COLUMNS) or table.empty:
        absent = ", ".join(sorted(set(COLUMNS) - set(table.columns))) or "no rows"
        advice = "take the file as the experiment wrote it"
        return None, [_fault("", absent, "columns changed", "error", advice)]
    numbers = table.drop(columns=["participant", "group", "phase", "task", "device"]).apply(
        pd.to_numeric, errors="coerce"
    )
    if numbers[list(_NUMBERS)].isna().any(axis=None):
        column = str(numbers[list(_NUMBERS)].isna().any().idxmax())
        return None, [_fault(column, "", "not a number", "error", "ask the seat for its own file")]
    for column in _WHOLE:
        if not (np.isfinite(numbers[column]) & (numbers[column] % 1 == 0)).all():
            advice = "ask the seat for its own file"
            return None, [_fault(column, "", "not a whole number", "error", advice)]
    table[numbers.columns] = numbers
    return _checked(table, class_seed)


def _checked(table: pd.DataFrame, class_seed: int) -> tuple[pd.DataFrame | None, list[Fault]]:
    person = str(table["participant"].iloc[0])
    seat = int(person[1:]) if person[1:].isdigit() else 0
    if person[:1] != "S" or not 1 <= seat <= SEATS or table["participant"].nunique() > 1:
        return None, [_fault("participant", person, "not one seat", "error", "ask whose it is")]
    if (table["class_seed"] != class_seed).any():
        other = str(int(table["class_seed"].iloc[0]))
        return None, [_fault("class_seed", other, "another class", "error", "check the class seed")]
    programme = make_programme(seat, class_seed=class_seed)
    planned = [(programme.group, p.phase, p.block, p.trial, p.task) for p in programme.pushes]
    made = list(
        table[["group", "phase", "block", "trial", "task"]].itertuples(index=False, name=None)
    )
    if made != planned[: len(made)]:
        row = next((i for i, pair in enumerate(zip(made, planned)) if pair[0] != pair[1]), 0)
        value = " ".join(str(part) for part in made[row])
        return None, [_fault("", value, "not as planned", "error", "ask what was done", row + 2)]
    distance = (table["x"] ** 2 + table["y"] ** 2) ** 0.5
    radius = target_radius()
    wrong = (distance - table["radial_error"]).abs() > 0.2
    wrong |= ((table["radial_error"] <= radius) != (table["hit"] == 1)) & (
        (table["radial_error"] - radius).abs() > 0.1
    )
    if wrong.any():
        row = int(wrong.to_numpy().argmax())
        advice = "the landing point contradicts the error or the hit; ask for the seat's own file"
        return None, [_fault("hit", "", "contradicts itself", "error", advice, row + 2)]
    missing = len(planned) - len(made)
    note = [
        _fault("", f"{missing} pushes", "not finished", "note", "tests not made count as missing")
    ]
    return table.astype(dict.fromkeys(_WHOLE, "int64")), note if missing else []


def _fault(
    column: str, value: str, rule: str, severity: str, advice: str, row: int | None = None
) -> Fault:
    return "", row, column, value, rule, severity, advice


def _claims(entries: list[tuple[str, pd.DataFrame]]) -> list[Entry]:
    first, *others = entries
    found = []
    for name, table in others:
        same = table.equals(first[1])
        rule = "copy of another file" if same else "two files of one seat"
        advice = "counted once" if same else "both are set aside; keep the right one"
        value = f"as {first[0]}"
        found.append((name, *_fault("", value, rule, "note" if same else "error", advice)))
    return found


def _merged(tables: list[pd.DataFrame], found: Iterable[Entry]) -> ClassTrials:
    problems = pd.DataFrame(list(found), columns=list(PROBLEM_COLUMNS)) if found else no_problems()
    aside = problems[problems["severity"] == "error"]
    left_out = LEFT_OUT.frame(
        [
            LEFT_OUT.row(participant=Path(file).stem[-4:], reason=rule)
            for file, rule in aside[["file", "rule"]].to_numpy()
        ]
    )
    table = pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=list(COLUMNS))
    whole = len(make_programme(1, class_seed=0).pushes)
    people = (
        table.groupby(["participant", "group"], sort=True).size().rename("pushes").reset_index()
    )
    people["complete"] = people["pushes"] == whole
    return ClassTrials(table, people, problems, left_out if len(aside) else nobody_left_out())
