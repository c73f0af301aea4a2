"""One file of the class experiment: read, mended where that is safe, held against its programme."""

import io
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.teaching.aiming.programme import (
    GAP_MINUTES,
    SEATS,
    Programme,
    class_plan,
    make_programme,
    target_radius,
)
from motorlearn.teaching.aiming.sitting import COLUMNS

LARGEST: Final = 1_000_000
"""Bytes of the largest file that is read."""
_WHOLE: Final = ("session", "block", "trial", "hit", "feedback", "class_seed")
_NUMBERS: Final = ("session", "block", "trial", "hit", "x", "y", "radial_error", "class_seed")
_MEASURED: Final = ("x", "y", "radial_error", "time", "speed", "elapsed")
_WORDS: Final = ("participant", "group", "phase", "task", "device")
_OWN_FILE: Final = "ask the seat for its own file"
_LEAP: Final = 3600.0
"""Seconds between two pushes of one day that are asked about."""

Fault = tuple[str, int | None, str, str, str, str, str]
"""Participant, row, column, value, rule, severity, advice."""


def fault(
    rule: str,
    severity: str,
    advice: str,
    *,
    column: str = "",
    value: str = "",
    row: int | None = None,
) -> Fault:
    """Say what is wrong in a file."""
    return "", row, column, value, rule, severity, advice


@dataclass(frozen=True)
class ClassFrame:
    """What files are held against: the class's seed, its seats, and its plan.

    Parameters
    ----------
    class_seed : int
        Seed that the class shared.
    seats : int
        Number of seats.
    retention_days : float or None
        Days from practice to the retention test.
    """

    class_seed: int
    seats: int = SEATS
    retention_days: float | None = None

    @property
    def plan(self) -> Design:
        """The plan of the class."""
        return class_plan(self.retention_days)

    def programme(self, seat: int) -> Programme:
        """Give what a seat was to do."""
        return make_programme(seat, class_seed=self.class_seed, plan=self.plan)


def read_pushes(file: Path, room: ClassFrame) -> tuple[pd.DataFrame | None, list[Fault]]:
    """Read one file; give its pushes, or None where it must be set aside, and the faults found.

    A last line that was cut off is left out and named; everything else that does not fit sets the
    file aside.
    """
    if file.stat().st_size > LARGEST:
        return None, [fault("file too large", "error", _OWN_FILE)]
    return parse_pushes(file.read_bytes(), room)


def parse_pushes(content: bytes, room: ClassFrame) -> tuple[pd.DataFrame | None, list[Fault]]:
    """Read the content of one file, as :func:`read_pushes` does."""
    try:
        text, cut = _whole_lines(content.decode("utf-8-sig"))
        table = pd.read_csv(io.StringIO(text), dtype="str", keep_default_na=False, sep=_sign(text))
    except (UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError):
        return None, [fault("cannot be read", "error", _OWN_FILE)]
    if list(table.columns) != list(COLUMNS) or table.empty:
        absent = ", ".join(sorted(set(COLUMNS) - set(table.columns))) or "no rows"
        advice = "take the file as the experiment wrote it"
        return None, [fault("columns changed", "error", advice, value=absent)]
    table = table[list(COLUMNS)].fillna("")
    numbers = table.drop(columns=list(_WORDS))
    numbers = numbers.apply(lambda column: pd.to_numeric(_points(column, text), errors="coerce"))
    wrong = _unfit(numbers)
    if wrong:
        return None, wrong
    table[numbers.columns] = numbers
    kept, faults = _checked(table, room)
    return kept, [*_half(cut, len(table)), *faults]


def _whole_lines(text: str) -> tuple[str, str]:
    """Split off a last line that was cut: one without its end, or without all of its fields."""
    lines = text.splitlines()
    fields = len(COLUMNS)
    if len(lines) < 2 or not text.strip():
        return text, ""
    last = lines[-1]
    ended = text.endswith(("\n", "\r"))
    sign = _sign(text)
    short = last.count(sign) + 1 < fields
    torn = not ended and last.split(sign)[-1] != lines[1].split(sign)[-1]
    return ("\n".join(lines[:-1]) + "\n", last) if short or torn else (text, "")


def _sign(text: str) -> str:
    """Find what stands between fields: a spreadsheet may have put semicolons there."""
    return ";" if text.partition("\n")[0].count(";") > text.partition("\n")[0].count(",") else ","


def _points(column: pd.Series, text: str) -> pd.Series:
    return column.str.replace(",", ".", regex=False) if _sign(text) == ";" else column


def _half(cut: str, pushes: int) -> list[Fault]:
    if not cut:
        return []
    advice = f"the {pushes} whole pushes before it are kept; {_OWN_FILE} again"
    return [fault("half a file", "doubt", advice, value=cut[:60], row=pushes + 2)]


def _unfit(numbers: pd.DataFrame) -> list[Fault]:
    """Find a number that is none, or is not whole where it must be."""
    missing = numbers[list(_NUMBERS)].isna().any()
    if missing.any():
        return [fault("not a number", "error", _OWN_FILE, column=str(missing.idxmax()))]
    for column in _WHOLE:
        if not (np.isfinite(numbers[column]) & (numbers[column] % 1 == 0)).all():
            return [fault("not a whole number", "error", _OWN_FILE, column=column)]
    return []


def _checked(table: pd.DataFrame, room: ClassFrame) -> tuple[pd.DataFrame | None, list[Fault]]:
    """Hold pushes against the programme of their seat and against themselves."""
    person = str(table["participant"].iloc[0])
    seat = int(person[1:]) if person[1:].isascii() and person[1:].isdigit() else 0
    if person[:1] != "S" or not 1 <= seat <= SEATS or table["participant"].nunique() > 1:
        advice = "ask whose it is"
        return None, [fault("not one seat", "error", advice, column="participant", value=person)]
    if (table["class_seed"] != room.class_seed).any():
        other = str(int(table["class_seed"].iloc[0]))
        advice = f"check the class seed; this class has {room.class_seed}"
        return None, [fault("another class", "error", advice, column="class_seed", value=other)]
    if seat > room.seats:
        advice = f"the class has {room.seats} seats; ask whose it is"
        return None, [fault("no such seat", "error", advice, column="participant", value=person)]
    programme = room.programme(seat)
    wrong = [*_unplanned(table, programme), *_contradictions(table)]
    if wrong:
        return None, wrong[:1]
    table = table.astype(dict.fromkeys(_WHOLE, "int64") | dict.fromkeys(_MEASURED, "float64"))
    return table, [*_unfinished(table, programme), *_jumps(table, programme, room)]


def _unplanned(table: pd.DataFrame, programme: Programme) -> list[Fault]:
    columns = ["group", "phase", "session", "block", "trial", "task"]
    planned = [
        (programme.group, p.phase, p.session, p.block, p.trial, p.task) for p in programme.pushes
    ]
    made = list(table[columns].itertuples(index=False, name=None))
    if made == planned[: len(made)]:
        return []
    row = next((i for i, pair in enumerate(zip(made, planned)) if pair[0] != pair[1]), 0)
    value = " ".join(f"{part:g}" if isinstance(part, float) else str(part) for part in made[row])
    return [fault("not as planned", "error", "ask what was done", value=value, row=row + 2)]


def _contradictions(table: pd.DataFrame) -> list[Fault]:
    distance, radius = np.hypot(table["x"], table["y"]), target_radius()
    wrong = (distance - table["radial_error"]).abs() > 0.2
    wrong |= ((table["radial_error"] <= radius) != (table["hit"] == 1)) & (
        (table["radial_error"] - radius).abs() > 0.1
    )
    if not wrong.any():
        return []
    advice = f"the landing point contradicts the error or the hit; {_OWN_FILE}"
    row = int(wrong.to_numpy().argmax()) + 2
    return [fault("contradicts itself", "error", advice, column="hit", row=row)]


def _unfinished(table: pd.DataFrame, programme: Programme) -> list[Fault]:
    missing = len(programme.pushes) - len(table)
    advice = "tests not made count as missing"
    return [fault("not finished", "note", advice, value=f"{missing} pushes")] if missing else []


def _jumps(table: pd.DataFrame, programme: Programme, room: ClassFrame) -> list[Fault]:
    """Find times that run backwards, leap, or put the delayed test where it was not planned."""
    steps = table["elapsed"].diff().to_numpy(float)
    first = next(i for i, push in enumerate(programme.pushes) if push.phase == "retention")
    found = []
    for row in np.flatnonzero(steps < 0)[:1]:
        found.append((row, "the clock of the device was put back", steps[row]))
    leaps = np.flatnonzero(steps > _LEAP)
    found += [(row, "a long break", steps[row]) for row in leaps if row != first]
    faults = [
        fault(
            "times that jump",
            "doubt",
            f"{why} before this push; errors and hits stand, seconds since the start do not",
            column="elapsed",
            value=_span(seconds),
            row=int(row) + 2,
        )
        for row, why, seconds in found[:3]
    ]
    if len(table) <= first or not np.isfinite(steps[first]) or steps[first] < 0:
        return faults
    return [*faults, *delay_faults(steps[first] / 60, room, row=first + 2)]


def delay_faults(
    minutes: float, room: ClassFrame, *, slack: float = 0.02, row: int | None = None
) -> Iterable[Fault]:
    """Find a retention test that came at another time than planned; slack is a share."""
    if room.retention_days is None:
        low, high = GAP_MINUTES, 1440.0
        planned = f"{GAP_MINUTES:g} minutes to a day"
    else:
        low, high = (max(0.0, room.retention_days + shift) * 1440 for shift in (-2, 2))
        planned = f"{room.retention_days:g} days, give or take two"
    if low * (1 - slack) <= minutes <= high * (1 + slack):
        return []
    advice = f"planned: {planned} after the last push before it; say so in the report"
    value = _span(minutes * 60)
    return [
        fault("retention at another time", "doubt", advice, column="elapsed", value=value, row=row)
    ]


def _span(seconds: float) -> str:
    for size, unit in ((86400, "days"), (3600, "h"), (60, "min")):
        if abs(seconds) >= 2 * size:
            return f"{seconds / size:.1f} {unit}"
    return f"{seconds:.0f} s"
