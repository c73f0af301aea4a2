"""Workbooks as a grid of texts: what is hidden, merged, computed or noted in them is said aloud.

``.xlsx`` is read by openpyxl, which knows the address of everything; ``.xls`` and ``.ods`` by
calamine. Formulas are never evaluated: the value the spreadsheet stored is used.
"""

import datetime as dt
import io
import json
import re
import subprocess
import sys
import warnings
import zipfile
import zlib
from collections.abc import Sequence
from typing import Any, Final
from xml.etree.ElementTree import ParseError

import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
from openpyxl.cell import Cell
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from openpyxl.utils.exceptions import InvalidFileException
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from motorlearn.exceptions import FileError
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.containers import apart
from motorlearn.trials.containers.apart import read_back
from motorlearn.trials.containers.grid import Grid, refuse_vast_table
from motorlearn.trials.containers.markup import MOST_CELLS, vast_sheet
from motorlearn.trials.containers.safety import check_archive
from motorlearn.trials.containers.workbook_marks import (
    comment_marks,
    formula_marks,
    layout_marks,
    number_texts,
    percent_marks,
)

_DAMAGE: Final = (
    ArithmeticError,
    AttributeError,
    AssertionError,
    EOFError,
    InvalidFileException,
    LookupError,
    NotImplementedError,
    OSError,
    ParseError,
    RuntimeError,
    SyntaxError,
    TypeError,
    ValueError,
    zipfile.BadZipFile,
    zlib.error,
)
_ZEROS: Final = re.compile(r"0{2,}")


def read_workbook(content: bytes, file: str, sheet: str | int | None = None) -> Grid:
    """Read one sheet of an ``.xlsx`` workbook.

    Raises
    ------
    FileError
        If the workbook is damaged or unsafe, or has no such sheet.
    """
    check_archive(content, file)
    try:
        formulas = _loaded(content, stored=False)
        shown, others = _choose(formulas, file, sheet)
        _refuse_vast(shown, file)
        stored = shown
        if _has_formula(shown):
            stored = _loaded(content, stored=True)[shown.title]
        return _grid(formulas, shown, stored, others, file)
    except FileError:
        raise
    except _DAMAGE:
        return _values_only(content, file, sheet)


def read_sheets(content: bytes, file: str) -> list[Grid]:
    """Read every visible sheet of a workbook that is not empty, in their order.

    Raises
    ------
    FileError
        If the workbook is damaged or unsafe.
    """
    check_archive(content, file)
    try:
        formulas = _loaded(content, stored=False)
        values = formulas
        if any(_has_formula(part) for part in formulas.worksheets):
            values = _loaded(content, stored=True)
        seen = [part for part in formulas.worksheets if part.sheet_state == "visible"]
        for part in seen:
            _refuse_vast(part, file)
        return [
            _grid(formulas, part, values[part.title], [], file)
            for part in seen
            if any(cell.value is not None for line in part.iter_rows() for cell in line)
        ]
    except FileError:
        raise
    except _DAMAGE as problem:
        raise _damaged(file) from problem


def _loaded(content: bytes, *, stored: bool) -> Workbook:
    """Load a workbook with formulas, or with the values stored behind them; without chatter."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return openpyxl.load_workbook(io.BytesIO(content), data_only=stored, keep_links=False)


def read_old_workbook(content: bytes, file: str, sheet: str | int | None = None) -> Grid:
    """Read one sheet of an ``.xls`` or ``.ods`` workbook.

    Raises
    ------
    FileError
        If the workbook is damaged or has no such sheet.
    """
    if content.startswith(b"PK"):
        check_archive(content, file)
    return _values_only(content, file, sheet)


def _values_only(content: bytes, file: str, sheet: str | int | None) -> Grid:
    found = _read_apart(content, file, sheet)
    visible = found["visible"]
    name = _sheet_name(found["names"], visible or found["names"], file, sheet)
    if found.get("vast"):
        raise vast_sheet(file)
    cells = [[read_back(value) for value in json.loads(line)] for line in found["lines"]]
    lines = [[_text(value) for value in line] for line in cells]
    others = [other for other in visible if other != name] if sheet is None else []
    marks = [number_texts(cells, file, name), *_unread(others, file), _unseen(file, name)]
    return _build(lines, file, name, marks)


def _read_apart(content: bytes, file: str, sheet: str | int | None) -> dict[str, Any]:
    """Read a sheet in a process of its own: the reader may panic or ask for any memory."""
    wanted = [sys.executable, "-P", apart.__file__, json.dumps(sheet), str(MOST_CELLS)]
    try:
        done = subprocess.run(wanted, input=content, capture_output=True, timeout=2 * apart.SECONDS)
        head, *lines = done.stdout.splitlines() or [b""]
        found = json.loads(head) if done.returncode == 0 else {}
    except (OSError, ValueError, subprocess.TimeoutExpired):
        found = {}
    if not found:
        raise _damaged(file)
    return found | {"lines": lines}


def _unseen(file: str, sheet: str) -> pd.DataFrame:
    return problem_frame(
        "layout not looked at",
        severity="note",
        file=file,
        sheet=sheet,
        advice="only values were read: hidden and merged cells, comments and formulas cannot be "
        "seen in this workbook; save it as .xlsx from a spreadsheet to have them checked",
    )


def _choose(book: Workbook, file: str, sheet: str | int | None) -> tuple[Worksheet, list[str]]:
    visible = [part.title for part in book.worksheets if part.sheet_state == "visible"]
    names = [part.title for part in book.worksheets]
    name = _sheet_name(names, visible or names, file, sheet)
    chosen = book[name]
    if sheet is not None:
        return chosen, []
    filled = [part for part in book.worksheets if part.title in visible and part.max_row > 1]
    if filled and chosen not in filled:
        chosen = filled[0]
    return chosen, [part.title for part in filled if part is not chosen]


def _sheet_name(
    names: Sequence[str], visible: Sequence[str], file: str, sheet: str | int | None
) -> str:
    if not names:
        raise FileError("the workbook has no sheets", [file])
    if sheet is None:
        return visible[0]
    if isinstance(sheet, int) and not isinstance(sheet, bool) and 0 <= sheet < len(names):
        return names[sheet]
    if sheet in names:
        return str(sheet)
    raise FileError(
        f"{file} has no such sheet", [sheet], "its sheets are " + ", ".join(map(repr, names))
    )


class _Absent:
    """Stands for a cell that is not there."""

    value = comment = None
    data_type, number_format = "n", "General"


_ABSENT: Final = _Absent()


def _laid_out(sheet: Worksheet) -> list[list[Any]]:
    """Cells by row and column, without making those that are not there."""
    filled = sheet._cells
    columns = range(1, sheet.max_column + 1)
    return [
        [filled.get((row, column), _ABSENT) for column in columns]
        for row in range(1, sheet.max_row + 1)
    ]


def _grid(
    book: Workbook, shown: Worksheet, stored: Worksheet, others: list[str], file: str
) -> Grid:
    cells = _laid_out(shown)
    values = [[cell.value for cell in line] for line in _laid_out(stored)]
    lines = [
        [_shown_text(cell, value) for cell, value in zip(row, found, strict=True)]
        for row, found in zip(cells, values, strict=True)
    ]
    marks = [
        number_texts(values, file, shown.title),
        *formula_marks(cells, values, file, shown.title),
        *layout_marks(shown, file),
        *comment_marks(cells, file, shown.title),
        *percent_marks(cells, file, shown.title),
        *_unread(others, file),
    ]
    if book.epoch == CALENDAR_MAC_1904:
        marks.append(
            problem_frame(
                "dates counted from 1904",
                severity="note",
                file=file,
                sheet=shown.title,
                advice="dates were read by that calendar; check one of them",
            )
        )
    return _build(lines, file, shown.title, marks)


def _refuse_vast(sheet: Worksheet, file: str) -> None:
    if sheet.max_row * sheet.max_column > MOST_CELLS:
        raise vast_sheet(file)


def _build(lines: list[list[str]], file: str, sheet: str, marks: list[pd.DataFrame]) -> Grid:
    width = max((len(line) for line in lines), default=0)
    while width and not any(len(line) >= width and line[width - 1].strip() for line in lines):
        width -= 1
    while lines and not any(text.strip() for text in lines[-1]):
        lines.pop()
    if not lines or not width:
        raise FileError(f"sheet {sheet!r} of {file} is empty", remedy="name another sheet")
    refuse_vast_table(len(lines), width, file)
    padded = [(line + [""] * width)[:width] for line in lines]
    columns = tuple(
        pa.chunked_array([pa.array(list(column), pa.string())])
        for column in zip(*padded, strict=True)
    )
    rows = np.arange(1, len(lines) + 1)
    evidence = {"format": "workbook", "sheet": sheet}
    return Grid(file, columns, rows, sheet, True, gather(marks), evidence)


def _shown_text(cell: Cell, value: object) -> str:
    counted = isinstance(value, int) and not isinstance(value, bool) and value >= 0
    if counted and _ZEROS.fullmatch(cell.number_format or ""):
        return f"{value:0{len(cell.number_format)}d}"
    return _text(value)


def _text(value: object) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "TRUE" if value else "FALSE"
        case float():
            if value != value or value in (float("inf"), float("-inf")):
                return str(value)
            return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
        case dt.datetime():
            return value.date().isoformat() if value.time() == dt.time() else value.isoformat()
        case dt.date() | dt.time():
            return value.isoformat()
        case str():
            return value.encode("utf-8", "replace").decode("utf-8")
    return str(value)


def _has_formula(sheet: Worksheet) -> bool:
    return any(cell.data_type == "f" for cell in sheet._cells.values())


def _unread(others: Sequence[str], file: str) -> list[pd.DataFrame]:
    if not others:
        return []
    return [
        problem_frame(
            "sheet not read",
            severity="doubt",
            file=file,
            sheet=list(others),
            advice="only the first sheet with data is read; name another with sheet",
        )
    ]


def _damaged(file: str) -> FileError:
    return FileError(
        "the workbook cannot be read", [file], "open it in a spreadsheet and save it again"
    )
