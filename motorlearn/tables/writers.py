"""Light writers of a table: plain text, Markdown, HTML fragment and CSV."""

import csv
import html
import io
import numbers
import unicodedata
from typing import Final

from motorlearn.tables.model import Column, Table, is_missing

_BEGINS: Final = ("=", "+", "-", "@", "＝", "＋", "－", "＠", "﹦", "﹢", "﹣", "﹫")
_BREAKS: Final = ("\t", "\r", "\n")


def to_text(table: Table) -> str:
    """Write a table as aligned plain text."""
    lines = [table.headings, *table.cells()]
    widths = [max(len(line[i]) for line in lines) for i in range(len(table.columns))]
    numeric = [column.is_numeric for column in table.columns]
    body = [
        "  ".join(
            cell.rjust(width) if right else cell.ljust(width)
            for cell, width, right in zip(line, widths, numeric, strict=True)
        ).rstrip()
        for line in lines
    ]
    rule = "-" * max((len(line) for line in body), default=0)
    return "\n".join([table.title, rule, body[0], rule, *body[1:], rule, *table.notes])


def to_markdown(table: Table) -> str:
    """Write a table in Markdown, with its title above and its notes beneath."""
    marks = ["---:" if column.is_numeric else "---" for column in table.columns]
    lines = [table.headings, marks, *table.cells()]
    body = ["| " + " | ".join(_pipe_safe(cell) for cell in line) + " |" for line in lines]
    notes = [note for text in table.notes for note in ("", text)]
    return "\n".join([f"**{table.title}**", "", *body, *notes])


def to_html(table: Table) -> str:
    """Write a table as an HTML fragment with a caption and scoped headings, everything escaped."""
    head = "".join(
        f'<th scope="col"{_align(column.is_numeric)}>{html.escape(column.heading)}</th>'
        for column in table.columns
    )
    body = "".join(_html_row(table, line) for line in table.cells())
    notes = "".join(f"<p>{html.escape(note)}</p>" for note in table.notes)
    foot = (
        f'<tfoot><tr><td colspan="{len(table.columns)}">{notes}</td></tr></tfoot>' if notes else ""
    )
    caption = f"<caption>{html.escape(table.title)}</caption>"
    return (
        f'<table class="ml-table">{caption}<thead><tr>{head}</tr></thead>'
        f"<tbody>{body}</tbody>{foot}</table>"
    )


def to_csv(table: Table, *, decimal: str = ".") -> str:
    """Write the raw values of a table as CSV (RFC 4180) that a spreadsheet will not run.

    Numbers keep every digit, so that a reader can compute with them; what is missing is empty.
    With a decimal comma the fields are parted by semicolons.
    """
    buffer = io.StringIO()
    writer = csv.writer(buffer, delimiter=";" if decimal == "," else ",", lineterminator="\r\n")
    writer.writerow(spreadsheet_safe(heading) for heading in table.headings)
    columns = [
        [_raw(column, value, decimal) for value in table.rows[column.name].tolist()]
        for column in table.columns
    ]
    writer.writerows(zip(*columns, strict=True))
    return buffer.getvalue()


def _raw(column: Column, value: object, decimal: str) -> str:
    if is_missing(value):
        return ""
    if not column.is_numeric:
        raw = str(value) if column.kind == "text" else column.write(value, decimal)
        return spreadsheet_safe(raw)
    if isinstance(value, numbers.Integral):
        return str(int(value))
    number = float(value)  # type: ignore[arg-type]
    if number.is_integer() and abs(number) < 1e15:
        return str(int(number))
    return repr(number).replace(".", decimal)


def spreadsheet_safe(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet would take for a formula.

    Examples
    --------
    >>> spreadsheet_safe("=1+1"), spreadsheet_safe("12/20"), spreadsheet_safe(" ＝1")
    ("'=1+1", '12/20', "' ＝1")
    """
    # Blanks, signs that are not seen and a byte order mark are passed over by some spreadsheets.
    first = next((sign for sign in text if unicodedata.category(sign)[0] not in "ZC"), "")
    return "'" + text if first in _BEGINS or text[:1] in _BREAKS else text


def _html_row(table: Table, line: list[str]) -> str:
    cells = "".join(
        f"<td{_align(column.is_numeric)}>{html.escape(cell)}</td>"
        for column, cell in zip(table.columns, line, strict=True)
    )
    return f"<tr>{cells}</tr>"


def _align(numeric: bool) -> str:
    return ' style="text-align:right"' if numeric else ""


def _pipe_safe(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")
