"""Field sheets as workbooks: borders, page breaks, repeated headings, lists of choices."""

import io
from collections.abc import Sequence

from openpyxl import Workbook
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from motorlearn.plan.sheets.field_forms import BOX, NOTE, FieldForm
from motorlearn.plan.sheets.workbooks import sheet_name
from motorlearn.tables.office import neutral_office
from motorlearn.tables.writers import spreadsheet_safe

_LINE = Side(style="thin", color="777777")
_EDGE = Border(left=_LINE, right=_LINE, top=_LINE, bottom=_LINE)
_HEAD = PatternFill("solid", fgColor="DDE6EE")
_ENTRY = PatternFill("solid", fgColor="FFFBE6")
_BOX_WIDTH, _TALL = 4.2, 21.0
_LEFT_ALIGNED = Alignment(vertical="center")


def field_book(forms: Sequence[FieldForm]) -> bytes:
    """Write field sheets as one workbook, one page each, ready to type in and to print."""
    book = Workbook()
    book.remove(book.active)
    names: list[str] = []
    for form in forms:
        name = sheet_name(form.name)
        names.append(name if name not in names else f"{name[:27]} {len(names) + 1}")
        _write(book.create_sheet(names[-1]), form)
    buffer = io.BytesIO()
    book.save(buffer)
    return neutral_office(buffer.getvalue())


def _write(sheet: Worksheet, form: FieldForm) -> None:
    for word, value in form.facts:
        sheet.append([word, _typed(value)])
        place = sheet.cell(sheet.max_row, 2)
        sheet.cell(sheet.max_row, 1).font = Font(bold=True)
        if not value:
            place.fill = _ENTRY
            _merge(sheet, sheet.max_row, min(7, len(form.headings)))
    for word, text in form.told:
        sheet.append([word, spreadsheet_safe(text)])
        sheet.cell(sheet.max_row, 1).font = Font(color="555555")
        _merge(sheet, sheet.max_row, len(form.headings))
        sheet.row_dimensions[sheet.max_row].height = 15.0 * (1 + len(text) // 120)
    sheet.append([spreadsheet_safe(heading) for heading in form.headings])
    heading = sheet.max_row
    _headings(sheet, form, heading)
    for row in form.rows:
        sheet.append([_typed(cell) for cell in row])
    _body(sheet, form, heading)
    _rules(sheet, form, heading)
    _print(sheet, form, heading)


def _merge(sheet: Worksheet, row: int, last: int) -> None:
    sheet.merge_cells(start_row=row, end_row=row, start_column=2, end_column=max(last, 2))
    sheet.cell(row, 2).alignment = Alignment(wrap_text=True, vertical="top")


def _headings(sheet: Worksheet, form: FieldForm, row: int) -> None:
    wordy = any(k == BOX and len(h) > 5 for h, k in zip(form.headings, form.kinds, strict=True))
    for column, (heading, kind) in enumerate(zip(form.headings, form.kinds, strict=True), start=1):
        cell = sheet.cell(row, column)
        cell.font, cell.fill, cell.border = Font(bold=True), _HEAD, _EDGE
        cell.alignment = Alignment(wrap_text=True, vertical="center", horizontal="center")
        longest = max([len(heading), *(len(line[column - 1]) for line in form.rows)], default=6)
        narrow = _BOX_WIDTH if len(heading) <= 3 else 7.0 if not wordy else 14.0
        width = narrow if kind == BOX else 24.0 if kind == NOTE else max(longest + 2, 11)
        sheet.column_dimensions[get_column_letter(column)].width = min(width, 30)
    words = [len(word) for word, _ in (*form.facts, *form.told)]
    first = sheet.column_dimensions["A"]
    first.width = max(first.width, min(max(words, default=0) + 1, 26))
    sheet.row_dimensions[row].height = 45 if wordy else 20


def _body(sheet: Worksheet, form: FieldForm, heading: int) -> None:
    for line, row in enumerate(form.rows, start=heading + 1):
        sheet.row_dimensions[line].height = _TALL
        for column, kind in enumerate(form.kinds, start=1):
            cell = sheet.cell(line, column)
            cell.border = _EDGE
            cell.alignment = Alignment(horizontal="center", vertical="center")
            if not row[column - 1]:
                cell.fill = _ENTRY
            if kind == NOTE:
                cell.alignment = _LEFT_ALIGNED


def _rules(sheet: Worksheet, form: FieldForm, heading: int) -> None:
    last = heading + len(form.rows)
    by_choice: dict[tuple[str, ...], list[str]] = {}
    for name, choices in form.choices.items():
        letter = get_column_letter(form.headings.index(name) + 1)
        by_choice.setdefault(choices, []).append(f"{letter}{heading + 1}:{letter}{last}")
    for choices, places in by_choice.items():
        check = DataValidation(type="list", formula1=f'"{",".join(choices)}"', allow_blank=True)
        check.error = f"Type one of {', '.join(choices)}, or leave it empty."
        check.showErrorMessage = True
        check.errorStyle = "warning"
        for place in places:
            check.add(place)
        sheet.add_data_validation(check)


def _print(sheet: Worksheet, form: FieldForm, heading: int) -> None:
    sheet.freeze_panes = sheet.cell(heading + 1, 2)
    sheet.print_title_rows = f"{heading}:{heading}"
    sheet.print_area = f"A1:{get_column_letter(len(form.headings))}{heading + len(form.rows)}"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.page_margins.left = sheet.page_margins.right = 0.4
    sheet.oddHeader.left.text = form.title.replace("&", "and")[:200]
    sheet.oddFooter.right.text = "page &P of &N"


def _typed(value: str) -> object:
    if not value:
        return None
    return int(value) if value.isdigit() and not value.startswith("0") else spreadsheet_safe(value)
