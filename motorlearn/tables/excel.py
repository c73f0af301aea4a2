"""Tables as an Excel workbook: raw values, shown with the decimals that every other format has."""

import io
import numbers
from collections.abc import Sequence

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from motorlearn.digits import MINUS
from motorlearn.tables.model import Column, Table
from motorlearn.tables.office import neutral_office

_RULE = Border(bottom=Side(style="thin"))
_WIDEST = 44
_EXACT = 10**15  # a spreadsheet keeps fifteen digits


def to_excel(tables: Sequence[Table]) -> bytes:
    """Write tables as one workbook, a sheet each: title, headings, values, notes.

    Numbers are stored raw, so that a reader can compute with them; the format of each cell shows
    as many decimals as the other writers. Texts are stored as texts, whatever they begin with.
    """
    book = Workbook()
    book.remove(book.active)
    for table in tables:
        _sheet(book.create_sheet(_sheet_name(table.name, book.sheetnames)), table)
    if not tables:
        book.create_sheet("empty")
    buffer = io.BytesIO()
    book.save(buffer)
    return neutral_office(buffer.getvalue())


def _sheet_name(name: str, taken: Sequence[str]) -> str:
    short = name[:31]
    number = 2
    while short in taken:
        short = f"{name[:28]}-{number}"
        number += 1
    return short


def _sheet(sheet: Worksheet, table: Table) -> None:
    _text(sheet.cell(1, 1), table.title).font = Font(bold=True)
    for place, column in enumerate(table.columns, 1):
        cell = _text(sheet.cell(2, place), column.heading)
        cell.font, cell.border = Font(bold=True), _RULE
        cell.alignment = Alignment(horizontal="right" if column.is_numeric else "left")
    written = table.cells()
    for place, column in enumerate(table.columns, 1):
        for row, value in enumerate(table.rows[column.name], 3):
            _value(sheet.cell(row, place), value, written[row - 3][place - 1], column)
    for row, note in enumerate(table.notes, 3 + len(written)):
        _text(sheet.cell(row, 1), note).font = Font(italic=True)
    for place, heading in enumerate(table.headings, 1):
        longest = max([len(heading), *(len(line[place - 1]) for line in written)])
        sheet.column_dimensions[get_column_letter(place)].width = min(longest + 2, _WIDEST)
    sheet.freeze_panes = "A3"


def _value(cell: Cell, value: object, written: str, column: Column) -> None:
    if not column.is_numeric or written in ("–", "∞", "−∞"):
        _text(cell, written)
        return
    if isinstance(value, numbers.Integral) and abs(int(value)) > _EXACT:
        _text(cell, str(int(value))).alignment = Alignment(horizontal="right")
        return
    cell.value = float(value)  # type: ignore[arg-type]
    cell.number_format = _format(written, column)
    cell.alignment = Alignment(horizontal="right")


def _format(written: str, column: Column) -> str:
    """Number format that shows what the other writers show."""
    if column.kind == "p":
        return '[<0.001]"< .001";[>0.999]"> .999";.000'
    if written[0] in "<>":
        return f'"{written}"'
    lead, _, decimals = written.removesuffix(" %").partition(".")
    whole = "0" if lead.strip(MINUS) else ""
    digits = f"{whole}." + "0" * len(decimals) if decimals.isdigit() else "0"
    return digits + (" %" if column.kind == "percent" else "")


def _text(cell: Cell, text: str) -> Cell:
    cell.value = text
    cell.data_type = "s"
    return cell
