"""One file of many as it was opened, and what is doubtful about the files as such."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import pyarrow as pa

from motorlearn.design import ImportRecipe
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.containers.grid import Grid
from motorlearn.trials.reading.headings import Headings

RAGGED: Final = "row with another number of fields"
TWO_FILES: Final = "two files of the same"
_UNCERTAIN: Final = "decimal mark uncertain"


@dataclass(frozen=True)
class Piece:
    """One file that is read: its headings, its body, and where the body stood."""

    name: str
    headings: Headings
    grid: Grid
    parts: Mapping[str, str]
    keep: np.ndarray
    aside: pd.DataFrame

    @property
    def filled(self) -> dict[str, pa.ChunkedArray]:
        """Columns under their headings; one without heading and cells is none."""
        start = self.headings.line + 1
        found = {}
        for place, (heading, top) in enumerate(
            zip(self.headings.originals, self.grid.line(self.headings.line), strict=True)
        ):
            column = self.grid.columns[place].slice(start)
            if top.strip() or any(text.strip() for text in column.to_pylist()):
                found[heading] = column.filter(pa.array(self.keep))
        return found


def marks_of(pieces: Sequence[Piece], label: str, recipe: ImportRecipe) -> pd.DataFrame:
    """Doubts about cells, each under its file; what is said of many files is said once."""
    sure = any("uncertain" not in piece.grid.evidence.get("decimal mark", "") for piece in pieces)
    frames = [p.grid.marks.assign(file=label, sheet=p.name) for p in pieces if len(p.grid.marks)]
    found = gather(frames)
    if found.empty:
        return found
    if sure or recipe.decimal:
        found = found[found["rule"] != _UNCERTAIN]
    if recipe.short_rows == "empty":
        found = short_rows(found, label, {p.name: len(p.headings.originals) for p in pieces})
    whole = found["row"].isna()
    once = [
        _alike(part, label)
        for _, part in found[whole].groupby(["rule", "severity", "column", "advice"], sort=False)
    ]
    return gather([found[~whole], *once])


def short_rows(found: pd.DataFrame, label: str, headings: Mapping[str, int]) -> pd.DataFrame:
    """Rows with fewer fields than headings become one note: their values at the end are missing."""
    width = found["value"].str.extract(r"^(\d+) fields ", expand=False).astype("float")
    short = (found["rule"] == RAGGED) & (width <= found["sheet"].map(headings))
    if not short.any():
        return found
    note = problem_frame(
        "rows without their last values",
        severity="note",
        file=label,
        value=f"{int(short.sum())} rows of {found.loc[short, 'sheet'].nunique()} files",
        advice="read as missing, as the import recipe says (short_rows)",
    )
    return gather([found[~short], note])


def _alike(part: pd.DataFrame, label: str) -> pd.DataFrame:
    if len(part) == 1:
        return part
    value = f"{len(part)} files, the first {part['sheet'].iloc[0]}"
    return part.head(1).assign(file=label, sheet="", value=value)


def refusals(refused: Mapping[str, str], label: str) -> pd.DataFrame:
    return gather(
        [
            problem_frame(
                "file set aside",
                severity="error",
                file=label,
                sheet=name,
                value=name,
                advice=reason,
            )
            for name, reason in refused.items()
        ]
    )


def named_twice(pieces: Sequence[Piece], label: str) -> pd.DataFrame:
    """Two files whose names say the same."""
    said: dict[tuple[tuple[str, str], ...], list[str]] = {}
    for piece in pieces:
        if piece.parts:
            said.setdefault(tuple(sorted(piece.parts.items())), []).append(piece.name)
    return gather(
        [
            problem_frame(
                TWO_FILES,
                severity="error",
                file=label,
                sheet=names[-1],
                value=" and ".join(names),
                advice="both are "
                + ", ".join(f"{part} {value}" for part, value in key)
                + ": keep one of them, or say in its name what sets it apart",
            )
            for key, names in said.items()
            if len(names) > 1
        ]
    )


def other_decimal_mark(pieces: Sequence[Piece], point: str, label: str) -> pd.DataFrame:
    other = [
        piece.name
        for piece in pieces
        if piece.grid.decimal != point
        and "uncertain" not in piece.grid.evidence.get("decimal mark", "uncertain")
    ]
    if not other:
        return gather([])
    word = "point" if point == "." else "comma"
    return problem_frame(
        "files with another decimal mark",
        severity="doubt",
        file=label,
        sheet=other[0],
        value=f"{len(other)} of {len(pieces)} files: {', '.join(other[:5])}",
        advice=f"most files have a decimal {word}; numbers of these were read with it where they "
        "could be: save them alike",
    )


def rows_set_aside(pieces: Sequence[Piece], label: str) -> pd.DataFrame:
    rows = [piece.aside for piece in pieces if len(piece.aside)]
    if not rows:
        return gather([])
    frames = []
    for reason, part in pd.concat(rows, ignore_index=True).groupby("reason", sort=False):
        blank = reason == "blank row"
        frames.append(
            problem_frame(
                "row set aside",
                severity="note" if blank else "doubt",
                file=label,
                sheet=str(part["sheet"].iloc[0]),
                row=int(part["row"].iloc[0]),
                value=f"{len(part)} rows of {part['sheet'].nunique()} files",
                advice=f"{reason}: not in the table",
            )
        )
    return gather(frames)
