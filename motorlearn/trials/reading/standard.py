"""From a grid of texts to a table in standard columns, with every doubt and change."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from motorlearn.exceptions import ColumnError
from motorlearn.trials.checking.problems import gather, problem_frame, split_column
from motorlearn.trials.containers.grid import Grid
from motorlearn.trials.reading import values as reading
from motorlearn.trials.reading.headings import Headings
from motorlearn.trials.reading.set_aside import content_of, set_aside_reasons
from motorlearn.trials.reading.sheet import Sheet
from motorlearn.trials.sharing.data_package import unit_of
from motorlearn.trials.sharing.privacy import personal_columns, privacy_problems, withhold
from motorlearn.trials.study import nothing_set_aside
from motorlearn.vocabulary import CHANGE_COLUMNS, COLUMNS, LEVEL_MAPPED, WHOLE_NUMBERS

_NUMERIC_KINDS = ("count", "flag", "number")
_MOST_LISTED = 1000
_COMMA, _AS_TEXT, _MANY_COMMAS = "other decimal mark", "number stored as text", 5


@dataclass(frozen=True)
class Standard:
    """What became of a grid: its sheet in standard columns, doubts, changes, rows set aside."""

    sheet: Sheet
    problems: pd.DataFrame
    changes: pd.DataFrame
    set_aside: pd.DataFrame
    units: Mapping[str, str]


def standardise(
    grid: Grid,
    headings: Headings,
    *,
    levels: Mapping[str, Mapping[Any, Any]] | None = None,
    units: Mapping[str, str] | None = None,
    missing: tuple[str, ...] = (),
    whole: tuple[Grid, tuple[int, ...]] | None = None,
) -> Standard:
    """Turn a grid into a table in standard columns.

    Parameters
    ----------
    grid : Grid
        The cells.
    headings : Headings
        Its headings.
    levels : mapping, optional
        Codes of a column to levels.
    units : mapping of str to str, optional
        Declared units.
    missing : tuple of str
        Further words for a missing number.
    whole : tuple, optional
        The grid that this one is a part of, and the places of its columns there; blank rows and
        letters are taken from it.

    Raises
    ------
    ColumnError
        If ``levels`` names a column that is not there.
    """
    levels = levels or {}
    absent = [name for name in levels if name not in headings.names]
    if absent:
        raise ColumnError(
            f"levels names a column that {grid.file} does not have",
            absent,
            "use the names of the table: " + ", ".join(headings.names),
        )
    places = tuple(range(len(headings.names))) if whole is None else whole[1]
    columns = [column.slice(headings.line + 1) for column in grid.columns]
    personal = personal_columns(headings.names, headings.originals, columns)
    apart = [name for name in personal if name != "participant"]
    hidden = {places[headings.names.index(name)] for name in apart}
    body, rows, aside = _body(grid, headings, grid if whole is None else whole[0], hidden)
    writer = _Writer(grid, headings, rows, places, missing)
    table = {
        name: writer.convert(name, column, levels.get(name))
        for name, column in zip(headings.names, body, strict=True)
        if name not in apart
    }
    known = {**headings.units, **(units or {})}
    letters = [split_column(writer.shown[name])[1] for name in apart]
    problems = [_said_once(withhold(grid.marks, letters), writer.commas), *writer.problems]
    problems += [*_unit_doubts(grid, headings, units or {}), _aside_problems(grid, aside)]
    problems += privacy_problems(personal, file=grid.file, sheet=grid.sheet, shown=writer.shown)
    changes = [_renamed(grid, headings), *writer.changes]
    frame = pd.DataFrame(table, index=pd.RangeIndex(len(rows)))[ordered_columns(list(table))]
    sheet = Sheet(frame, rows, grid.file, grid.sheet, writer.shown)
    return Standard(sheet, gather(problems), _joined_changes(changes), aside, known)


class _Writer:
    """Converts columns one after the other and keeps what was found on the way."""

    def __init__(
        self,
        grid: Grid,
        headings: Headings,
        rows: np.ndarray,
        places: Sequence[int],
        missing: tuple[str, ...],
    ) -> None:
        self.grid = grid
        self.rows = rows
        self.missing = frozenset(word.lower() for word in missing)
        self.problems: list[pd.DataFrame] = []
        self.commas: set[tuple[int, str]] = set()
        self.changes: list[pd.DataFrame] = []
        self.shown = {
            name: f"{original} [{grid.letter(place)}]" if grid.lettered else original
            for place, name, original in zip(
                places, headings.names, headings.originals, strict=True
            )
        }

    def convert(
        self, name: str, column: pa.ChunkedArray, levels: Mapping[object, object] | None
    ) -> pd.Series | np.ndarray:
        if levels is not None:
            column = self._levels(name, column, levels)
        meaning = COLUMNS.get(name)
        if meaning is None:
            numeric = reading.looks_numeric(column, self.grid.decimal)
            return self._numbers(name, column, "extra") if numeric else self._labels(name, column)
        if meaning.kind in _NUMERIC_KINDS:
            return self._numbers(name, column, meaning.kind)
        return self._labels(name, column)

    def _numbers(self, name: str, column: pa.ChunkedArray, kind: str) -> np.ndarray:
        plain = reading.read_flag if kind == "flag" else reading.read_number

        def read(text: str, decimal: str) -> tuple[float, str]:
            if text.strip().lower() in self.missing:
                return float("nan"), "word read as missing"
            return plain(text, decimal)

        counted = kind in ("count", "flag")
        values, findings = reading.to_numbers(column, self.grid.decimal, read=read, counted=counted)
        for finding in findings:
            self._note(name, finding)
        whole = kind != "number" and bool((values == np.round(values)).all())
        return values.astype(np.int64) if whole and _fits(values) else values

    def _labels(self, name: str, column: pa.ChunkedArray) -> pd.Series:
        if name in COLUMNS:
            column = self._whole_numbers(name, column)
        texts, altered = reading.to_labels(column)
        if len(altered):
            before = column.take(pa.array(altered)).to_pylist()
            after = texts.take(pa.array(altered)).to_pylist()
            self._change(name, altered, before, after, "outer spaces removed")
            self._spaces(name, altered, before)
        return texts.to_pandas().astype("str")

    def _whole_numbers(self, name: str, column: pa.ChunkedArray) -> pa.ChunkedArray:
        """Read ``1.000`` as ``1`` in a column of labels that holds nothing but such numbers."""
        plain = reading.without_empty_decimals(column)
        if plain is None:
            return column
        example = next(text for text in column.to_pylist() if text.strip())
        after = str(int(float(example)))
        self.changes.append(self._whole(name, example, after, WHOLE_NUMBERS))
        return plain

    def _spaces(self, name: str, lines: np.ndarray, before: list[str]) -> None:
        hard = [place for place, text in enumerate(before) if "\u00a0" in text]
        if hard:
            self.problems.append(
                problem_frame(
                    "non-breaking space",
                    severity="note",
                    file=self.grid.file,
                    sheet=self.grid.sheet,
                    row=self.rows[lines[hard]],
                    column=self.shown[name],
                    value=[before[place] for place in hard],
                    advice="removed at the ends of the text; it is invisible and breaks matching",
                )
            )

    def _levels(
        self, name: str, column: pa.ChunkedArray, levels: Mapping[object, object]
    ) -> pa.ChunkedArray:
        column, mapped, strange = reading.apply_levels(column, levels)
        for before, (after, _) in mapped.items():
            self.changes.append(self._whole(name, before, after, LEVEL_MAPPED))
        for text, count in strange.items():
            self.problems.append(
                problem_frame(
                    "code without a level",
                    severity="doubt",
                    file=self.grid.file,
                    sheet=self.grid.sheet,
                    column=self.shown[name],
                    value=text,
                    advice=f"levels does not say what this stands for ({count} rows)",
                )
            )
        return column

    def _note(self, name: str, finding: reading.Finding) -> None:
        severity, advice = reading.RULES[finding.rule]
        rows, texts = self.rows[finding.lines], list(finding.texts)
        if finding.rule == _COMMA:
            self.commas |= {(int(row), _letter(self.shown[name])) for row in rows}
            if len(texts) > _MANY_COMMAS:
                severity, advice = "note", f"read so in all {len(texts)} cells of the column"
                rows, texts = rows[:1], texts[:1]
        self.problems.append(
            problem_frame(
                finding.rule,
                severity=severity,
                file=self.grid.file,
                sheet=self.grid.sheet,
                row=rows,
                column=self.shown[name],
                value=texts,
                advice=advice,
            )
        )
        if finding.after is not None:
            self._change(name, finding.lines, finding.texts, finding.after, finding.rule)

    def _change(
        self,
        name: str,
        lines: np.ndarray,
        before: Iterable[object],
        after: Iterable[object],
        rule: str,
    ) -> None:
        if rule == "outer spaces removed" and len(lines) > _MOST_LISTED:
            self.changes.append(self._whole(name, "", "", f"{rule} ({len(lines)} cells)"))
            return
        frame = pd.DataFrame(
            {
                "file": self.grid.file,
                "sheet": self.grid.sheet,
                "row": pd.array(self.rows[lines], dtype="Int64"),
                "column": self.shown[name],
                "before": list(before),
                "after": list(after),
                "rule": rule,
            }
        )
        self.changes.append(frame)

    def _whole(self, name: str, before: str, after: str, rule: str) -> pd.DataFrame:
        row = (self.grid.file, self.grid.sheet, pd.NA, self.shown[name], before, after, rule)
        return pd.DataFrame([row], columns=list(CHANGE_COLUMNS)).astype({"row": "Int64"})


def _said_once(marks: pd.DataFrame, commas: set[tuple[int, str]]) -> pd.DataFrame:
    """Leave out that a number is stored as text where its comma is spoken of already."""
    again = [
        rule == _AS_TEXT and (row, _letter(column)) in commas
        for rule, row, column in marks[["rule", "row", "column"]].itertuples(index=False)
    ]
    return marks[~np.array(again, dtype=bool)]


def _letter(column: str) -> str:
    return split_column(str(column))[1] or str(column)


def _fits(values: np.ndarray) -> bool:
    return bool((np.abs(values) < 2**53).all())


def ordered_columns(names: Sequence[str]) -> list[str]:
    """Put standard columns first, in their order, and leave the others as they come."""
    standard = [name for name in COLUMNS if name in names]
    return standard + [name for name in names if name not in COLUMNS]


def _body(
    grid: Grid, headings: Headings, whole: Grid, hidden: set[int]
) -> tuple[list[pa.ChunkedArray], np.ndarray, pd.DataFrame]:
    """Cut off the heading and set blank, repeated and total rows aside."""
    start = headings.line + 1
    columns = [column.slice(start) for column in grid.columns]
    every = [column.slice(start) for column in whole.columns]
    rows = grid.rows[start:]
    reasons = set_aside_reasons(columns, every, headings)
    if not reasons:
        return columns, rows, nothing_set_aside()
    lines = np.array(sorted(reasons))
    told = [column for place, column in enumerate(every) if place not in hidden]
    aside = pd.DataFrame(
        {
            "file": grid.file,
            "sheet": grid.sheet,
            "row": rows[lines],
            "reason": [reasons[line] for line in lines.tolist()],
            "content": [content_of(told, line) for line in lines.tolist()],
        }
    )
    keep = np.ones(len(rows), dtype=bool)
    keep[lines] = False
    mask = pa.array(keep)
    return [column.filter(mask) for column in columns], rows[keep], aside


def _aside_problems(grid: Grid, aside: pd.DataFrame) -> pd.DataFrame:
    severity = np.where(aside["reason"] == "blank row", "note", "doubt")
    frames = [
        problem_frame(
            "row set aside",
            severity=weight,
            file=grid.file,
            sheet=grid.sheet,
            row=part["row"].to_numpy(),
            value=list(part["content"]),
            advice=[f"{reason}: not in the table" for reason in part["reason"]],
        )
        for weight, part in aside.groupby(severity)
    ]
    return gather(frames)


def _unit_doubts(grid: Grid, headings: Headings, units: Mapping[str, str]) -> list[pd.DataFrame]:
    return [
        problem_frame(
            "unit differs from the declared one",
            severity="error",
            file=grid.file,
            sheet=grid.sheet,
            column=headings.original(name),
            value=unit,
            advice=f"the declared unit is {unit_of(name, units)!r}; nothing was converted: declare "
            "a conversion in the import recipe, or correct the heading",
        )
        for name, unit in headings.units.items()
        if unit_of(name, units) not in ("", unit)
    ]


def _renamed(grid: Grid, headings: Headings) -> pd.DataFrame:
    rows = [
        (grid.file, grid.sheet, int(grid.rows[headings.line]), old, old, new, "column renamed")
        for old, new in zip(headings.originals, headings.names, strict=True)
        if old != new
    ]
    return pd.DataFrame(rows, columns=list(CHANGE_COLUMNS)).astype({"row": "Int64"})


def _joined_changes(changes: list[pd.DataFrame]) -> pd.DataFrame:
    filled = [frame for frame in changes if len(frame)]
    if not filled:
        return pd.DataFrame(columns=list(CHANGE_COLUMNS))
    return pd.concat(filled, ignore_index=True)
