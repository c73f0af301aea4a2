"""Rows of long sheets, put into a workbook as the text it holds.

openpyxl makes an object of every cell and writes it alone. Long sheets have a hundred thousand
cells of a few kinds, so their rows are written column by column; everything else of the workbook,
its headings, rules, widths and print layout, is openpyxl's.
"""

import re
from collections.abc import Callable
from itertools import chain, repeat
from typing import Final
from xml.sax.saxutils import escape

import pandas as pd
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.utils import get_column_letter

from motorlearn.tables.writers import spreadsheet_safe

_END: Final = b"</sheetData>"
_DIMENSION: Final = re.compile(rb'<dimension ref="[^"]*" ?/>')
_FIRST: Final = 2
"""Number of the first row below the headings."""


def with_rows(frame: pd.DataFrame) -> Callable[[bytes], bytes]:
    """Give what puts the rows of a table below the headings of a sheet.

    Texts stand in their cells, as openpyxl writes them too; empty cells are left out.
    """
    rows = _rows(frame).encode("utf-8")
    last = f"A1:{get_column_letter(max(frame.shape[1], 1))}{len(frame) + 1}".encode("ascii")

    def put(sheet: bytes) -> bytes:
        sized = _DIMENSION.sub(b'<dimension ref="' + last + b'"/>', sheet, count=1)
        return sized.replace(_END, rows + _END, 1)

    return put


def _rows(frame: pd.DataFrame) -> str:
    numbers = range(_FIRST, _FIRST + len(frame))
    columns = [
        _cells(get_column_letter(place), frame.iloc[:, place - 1], numbers)
        for place in range(1, frame.shape[1] + 1)
    ]
    begun = (f'<row r="{number}">' for number in numbers)
    filled = [column for column in columns if column is not None]
    return "".join(chain.from_iterable(zip(begun, *filled, repeat("</row>"), strict=False)))


def _cells(letter: str, values: pd.Series, numbers: range) -> list[str] | None:
    """Cells of a column, one text a row; nothing where all are empty."""
    listed = values.tolist()
    kinds = {value: _content(value) for value in dict.fromkeys(listed)}
    if not any(kinds.values()):
        return None
    return [
        f'<c r="{letter}{number}{kinds[value]}' if kinds[value] else ""
        for value, number in zip(listed, numbers, strict=True)
    ]


def _content(value: object) -> str:
    """What follows the place of a cell; nothing where the cell is empty."""
    if value is None or value is pd.NA or value == "" or value != value:
        return ""
    if isinstance(value, str):
        text = escape(ILLEGAL_CHARACTERS_RE.sub("", spreadsheet_safe(value)))
        kept = ' xml:space="preserve"' if text != text.strip() else ""
        return f'" t="inlineStr"><is><t{kept}>{text}</t></is></c>'
    return f'"><v>{value}</v></c>'
