"""Blank workbooks: validation lists, frozen panes, print layout, and nothing a spreadsheet runs."""

import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd
from openpyxl import Workbook
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Alignment, Border, Font, NamedStyle, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from motorlearn.plan.sheets.sheet_rows import with_rows
from motorlearn.tables.office import neutral_office
from motorlearn.tables.writers import spreadsheet_safe

_HEAD = PatternFill("solid", fgColor="DDE6EE")
_ENTRY = PatternFill("solid", bgColor="FFFBE6")
_THIN = Side(style="thin", color="999999")
_EDGE = Border(left=_THIN, right=_THIN, top=_THIN, bottom=_THIN)
_HEADING = "motorlearn heading"
_LONGEST_HEADING = 200
_LONGEST_LIST = 250
"""A list of choices written into a cell rule may hold 255 characters."""


@dataclass(frozen=True)
class Rule:
    """What may be typed in a column.

    Parameters
    ----------
    choices : tuple of str
        The only values, where there are few.
    low, high : float, optional
        Limits of a number.
    whole : bool
        Whether the number is whole.
    hint : str
        Shown when the cell is chosen.
    """

    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    whole: bool = False
    hint: str = ""

    @property
    def limits(self) -> str:
        """Limits in words; empty where there are none."""
        if self.low is not None and self.high is not None:
            return f"{self.low:g} to {self.high:g}"
        if self.low is not None:
            return f"{self.low:g} or more"
        return "" if self.high is None else f"{self.high:g} or less"


@dataclass(frozen=True)
class SheetForm:
    """A sheet to be filled in.

    Parameters
    ----------
    title : str
        Name of the sheet.
    rows : DataFrame
        What is printed already; empty cells are to be filled in.
    entry : tuple of str
        Columns to be filled in.
    rules : mapping of str to Rule
        What may be typed, by column.
    heading : str
        Line at the top of each printed page.
    """

    title: str
    rows: pd.DataFrame
    entry: tuple[str, ...] = ()
    rules: Mapping[str, Rule] = field(default_factory=dict)
    heading: str = ""


def workbook_bytes(forms: Sequence[SheetForm]) -> bytes:
    """Write forms as one XLSX workbook, one sheet each."""
    book = Workbook()
    book.remove(book.active)
    book.add_named_style(_heading())
    rows = {}
    for number, form in enumerate(forms, start=1):
        _fill(book.create_sheet(sheet_name(form.title)), form)
        rows[f"xl/worksheets/sheet{number}.xml"] = with_rows(form.rows)
    buffer = io.BytesIO()
    book.save(buffer)
    return neutral_office(buffer.getvalue(), rows)


def _heading() -> NamedStyle:
    """Look of the headings, said once for all sheets of a workbook."""
    return NamedStyle(
        _HEADING,
        font=Font(bold=True),
        fill=_HEAD,
        border=_EDGE,
        alignment=Alignment(wrap_text=True, vertical="top"),
    )


def sheet_name(title: str) -> str:
    """Make a title that spreadsheets accept as the name of a sheet."""
    return re.sub(r"[\[\]:*?/\\']", "_", title)[:31] or "sheet"


def _fill(sheet: Worksheet, form: SheetForm) -> None:
    names = [str(name) for name in form.rows.columns]
    sheet.append([spreadsheet_safe(name) for name in names])
    last = len(form.rows) + 1
    for column, name in enumerate(names, start=1):
        letter = get_column_letter(column)
        head = sheet.cell(1, column)
        head.style = _HEADING
        shown = max((len(str(value)) for value in form.rows[name].unique()), default=0)
        sheet.column_dimensions[letter].width = min(max(len(name), shown, 6) + 2, 30)
        cells = f"{letter}2:{letter}{last}"
        if name in form.entry and last > 1:
            # One rule for the column; a style for each cell would take a hundred times as long.
            look = FormulaRule(formula=["TRUE"], fill=_ENTRY, border=_EDGE)
            sheet.conditional_formatting.add(cells, look)
        if name in form.rules and last > 1:
            _validate(sheet, cells, name, form.rules[name])
    _print_layout(sheet, form, len(names), last)


def _print_layout(sheet: Worksheet, form: SheetForm, columns: int, last: int) -> None:
    sheet.freeze_panes = "B2"
    sheet.print_title_rows = "1:1"
    sheet.print_area = f"A1:{get_column_letter(columns)}{last}"
    sheet.page_setup.orientation = "landscape" if columns > 8 else "portrait"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    if form.heading:
        sheet.oddHeader.left.text = form.heading.replace("&", "and")[:_LONGEST_HEADING]
    sheet.oddFooter.right.text = "page &P of &N"


def _validate(sheet: Worksheet, cells: str, name: str, rule: Rule) -> None:
    listed = ",".join(rule.choices)
    if rule.choices and len(listed) <= _LONGEST_LIST and not any("," in c for c in rule.choices):
        check = DataValidation(type="list", formula1=f'"{listed}"')
        wanted = f"one of {', '.join(rule.choices)}"
    elif rule.limits:
        check = _number_check(rule)
        wanted = f"a {'whole ' if rule.whole else ''}number, {rule.limits}"
    else:
        return
    check.allow_blank = True
    check.errorTitle, check.error = name[:30], f"Type {wanted}."[:250]
    check.promptTitle, check.prompt = name[:30], (rule.hint or f"{wanted}.")[:250]
    check.showErrorMessage = check.showInputMessage = True
    sheet.add_data_validation(check)
    check.add(cells)


def _number_check(rule: Rule) -> DataValidation:
    limits = [f"{limit:g}" for limit in (rule.low, rule.high) if limit is not None]
    operator = "between"
    if len(limits) == 1:
        operator = "greaterThanOrEqual" if rule.high is None else "lessThanOrEqual"
    return DataValidation(
        type="whole" if rule.whole else "decimal",
        operator=operator,
        formula1=limits[0],
        formula2=limits[1] if len(limits) == 2 else None,
    )
