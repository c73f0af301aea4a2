"""What a workbook says beside its values: formulas, hidden and merged cells, comments, formats."""

import re
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
import pandas as pd
from openpyxl.cell import Cell
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from motorlearn.trials.checking.problems import problem_frame

_TEXT_NUMBER: Final = re.compile(r"\s*[+-]?\d+([.,]\d+)?\s*")


def number_texts(lines: Sequence[Sequence[object]], file: str, sheet: str) -> pd.DataFrame:
    """Find texts that look like numbers in columns where most cells are numbers."""
    width = max((len(line) for line in lines), default=0)
    numbers = np.zeros(width, dtype=int)
    texts: list[list[tuple[int, int, object]]] = [[] for _ in range(width)]
    for row, line in enumerate(lines, 1):
        for place, value in enumerate(line):
            if isinstance(value, int | float) and not isinstance(value, bool):
                numbers[place] += 1
            elif isinstance(value, str) and _TEXT_NUMBER.fullmatch(value):
                texts[place].append((row, place + 1, value))
    found = [
        entry
        for count, cells in zip(numbers, texts, strict=True)
        if count > len(cells)
        for entry in cells
    ]
    return _cell_marks(
        "number stored as text",
        found,
        file,
        sheet,
        severity="doubt",
        advice="the cell holds text that looks like a number; check it and its decimal mark",
    )


def formula_marks(
    cells: Sequence[Sequence[Cell]], values: Sequence[Sequence[object]], file: str, sheet: str
) -> list[pd.DataFrame]:
    """Find formulas, those without a stored value apart."""
    formulas = [
        (cell.row, cell.column, str(cell.value), value)
        for row, found in zip(cells, values, strict=True)
        for cell, value in zip(row, found, strict=True)
        if cell.data_type == "f"
    ]
    without = [(row, column, text) for row, column, text, value in formulas if value is None]
    stored = [(row, column, text) for row, column, text, value in formulas if value is not None]
    return [
        _cell_marks(
            "formula without a stored value",
            without,
            file,
            sheet,
            severity="error",
            advice="open the workbook in a spreadsheet, let it compute, and save it again; the "
            "cell was read as empty",
        ),
        _cell_marks(
            "value from a formula",
            stored,
            file,
            sheet,
            severity="note",
            advice="the stored value was read; formulas are never evaluated here",
        ),
    ]


def layout_marks(sheet: Worksheet, file: str) -> list[pd.DataFrame]:
    """Find hidden rows and columns and merged cells."""
    title = sheet.title
    rows = [
        (row, 1, "")
        for row, entry in sheet.row_dimensions.items()
        if entry.hidden and row <= sheet.max_row
    ]
    columns = [
        (1, place, "")
        for letters, entry in sheet.column_dimensions.items()
        if entry.hidden
        for place in range(entry.min or 1, min(entry.max or 1, sheet.max_column) + 1)
    ]
    merged = [(part.min_row, part.min_col, part.coord) for part in sheet.merged_cells.ranges]
    top = [entry for entry in merged if entry[0] <= 3]
    body = [entry for entry in merged if entry[0] > 3]
    look = {"severity": "doubt", "file": file, "sheet": title}
    return [
        _cell_marks("hidden row", rows, advice="it was read; unhide it and check", **look),
        _cell_marks("hidden column", columns, advice="it was read; unhide it and check", **look),
        _cell_marks(
            "merged cells",
            body,
            advice="only the first cell holds the value, the others were read as empty: unmerge "
            "and fill them in",
            **look,
        ),
        _cell_marks(
            "merged cells in the heading",
            top,
            file,
            title,
            severity="note",
            advice="the text was taken for all the columns beneath",
        ),
    ]


def comment_marks(cells: Sequence[Sequence[Cell]], file: str, sheet: str) -> list[pd.DataFrame]:
    """Find comments."""
    found = [
        (cell.row, cell.column, cell.comment.text) for row in cells for cell in row if cell.comment
    ]
    return [
        _cell_marks(
            "comment in a cell",
            found,
            file,
            sheet,
            severity="note",
            advice="a comment is not data; move what matters into a column of its own",
        )
    ]


def percent_marks(cells: Sequence[Sequence[Cell]], file: str, sheet: str) -> list[pd.DataFrame]:
    """Find numbers that are shown as percentages."""
    found = [
        (cell.row, cell.column, cell.value)
        for row in cells
        for cell in row
        if "%" in (cell.number_format or "") and isinstance(cell.value, int | float)
    ]
    return [
        _cell_marks(
            "cell shown as a percentage",
            found,
            file,
            sheet,
            severity="doubt",
            advice="the cell holds this share of 1 and shows it as a percentage; declare the "
            "notation in the import recipe",
        )
    ]


def _cell_marks(
    rule: str, found: Iterable[tuple[int, int, object]], file: str, sheet: str, **said: str
) -> pd.DataFrame:
    entries = list(found)
    return problem_frame(
        rule,
        file=file,
        sheet=sheet,
        row=[row for row, _, _ in entries],
        column=[f"cell [{get_column_letter(column)}]" for _, column, _ in entries],
        value=[value for _, _, value in entries],
        severity=said["severity"],
        advice=said["advice"],
    )
