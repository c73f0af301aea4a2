"""Tables in a Word document, with a header row and a description that a screen reader finds."""

from copy import deepcopy
from typing import cast

from docx.document import Document
from docx.enum.style import WD_STYLE_TYPE
from docx.enum.table import WD_TABLE_ALIGNMENT
from docx.enum.text import WD_ALIGN_PARAGRAPH
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.oxml.text.run import CT_R
from docx.shared import Cm, Length, Pt
from docx.styles.style import ParagraphStyle
from docx.table import Table as WordTable
from docx.table import _Cell

from motorlearn.tables.model import Table

PAGE = Cm(16)
LETTERS = 96
"""Letters of nine points that fit beside each other on a page."""
LINE = 32
"""Letters of a text that a column is widened for; longer texts are folded."""


def add_table(document: Document, table: Table, *, decimal: str = ".") -> WordTable:
    """Append a table without its title and notes to a Word document.

    The first row is marked as a heading that repeats on every page; no row is cut between pages;
    title and shape are stored as caption and description for readers who cannot see the table.
    """
    lines = table.cells(decimal)
    made: WordTable = document.add_table(rows=1, cols=len(table.columns))
    made.alignment = WD_TABLE_ALIGNMENT.LEFT
    points = 9 if len(table.columns) <= 8 else 7.5
    style, letters = _cell_style(document, points), LETTERS * 9 / points
    _set_widths(made, column_shares([table.headings, *lines], letters))
    for cell, column in zip(made.rows[0].cells, table.columns, strict=True):
        _shape_cell(cell, style, right=column.is_numeric)
    made._tbl.tr_lst[0].get_or_add_trPr().append(OxmlElement("w:cantSplit"))
    made._tbl.extend([deepcopy(made._tbl.tr_lst[0]) for _ in lines])
    for row, texts in zip(made._tbl.tr_lst, [table.headings, *lines], strict=True):
        for cell, text in zip(row.tc_lst, texts, strict=True):
            _write(cell.p_lst[0].r_lst[0], text)
    for cell in made.rows[0].cells:
        cell.paragraphs[0].runs[0].bold = True
    made._tbl.tr_lst[0].get_or_add_trPr().append(OxmlElement("w:tblHeader"))
    _rules(made)
    _describe(made, table.title, f"{len(lines)} rows; columns: {', '.join(table.headings)}.")
    return made


def column_shares(lines: list[list[str]], letters: float = LETTERS) -> list[float]:
    """Share of the page that each column gets: its longest word whole, then room for its text.

    Examples
    --------
    >>> [round(share, 2) for share in column_shares([["n", "note"], ["24", 9 * "a text "]], 30)]
    [0.15, 0.85]
    """
    words: list[float] = []
    wishes: list[float] = []
    for texts in zip(*lines, strict=True):
        word = max((len(part) for text in texts for part in text.split()), default=1)
        text = max(min(len(text), LINE) for text in texts[1:]) if len(texts) > 1 else 0
        words.append(word + 2.5)
        wishes.append(max(text - word, 0))
    room = letters - sum(words)
    if sum(wishes) > room > 0:
        wishes = [wish * room / sum(wishes) for wish in wishes]
    needs = [word + wish for word, wish in zip(words, wishes, strict=True)]
    return [need / sum(needs) for need in needs]


def _set_widths(made: WordTable, shares: list[float]) -> None:
    made.autofit = False
    margins = OxmlElement("w:tblCellMar")
    for side in ("left", "right"):
        margin = OxmlElement(f"w:{side}")
        margin.set(qn("w:w"), "45")
        margin.set(qn("w:type"), "dxa")
        margins.append(margin)
    look = made._tbl.tblPr.find(qn("w:tblLook"))  # the schema wants margins before it
    look.addprevious(margins)
    widths = [Length(int(PAGE * share)) for share in shares]
    for column, width in zip(made.columns, widths, strict=True):
        column.width = width
    for cell, width in zip(made.rows[0].cells, widths, strict=True):
        cell.width = width


def _cell_style(document: Document, points: float) -> str:
    """Identifier of the style of cells in this size of letters, made where it is not there yet."""
    name = f"Table cell {points:g}"
    styles = document.styles
    known = styles.element.get_by_id(name.replace(" ", ""))  # names are looked through far longer
    if known is not None:
        return str(known.styleId)
    style = cast(ParagraphStyle, styles.add_style(name, WD_STYLE_TYPE.PARAGRAPH))
    style.base_style = styles["Normal"]
    style.font.size = Pt(points)
    style.paragraph_format.space_before = style.paragraph_format.space_after = Pt(1)
    return str(style.style_id)


def _shape_cell(cell: _Cell, style: str, *, right: bool) -> None:
    """Give an empty cell its paragraph, which every cell of its column copies."""
    paragraph = cell.paragraphs[0]
    paragraph._p.style = style  # by its identifier: looking a style up takes far longer
    if right:
        paragraph.alignment = WD_ALIGN_PARAGRAPH.RIGHT
    paragraph.add_run()


def _write(run: CT_R, text: str) -> None:
    """Write into an empty run; tabs and new lines, which have elements of their own, are rare."""
    if not text.isprintable():
        run.text = text
    elif text:
        run.add_t(text)


def _rules(made: WordTable) -> None:
    """Lines above and below the headings and below the last row, none between columns."""
    for cell in made.rows[0].cells:
        _border(cell, top=12, bottom=6)
    for cell in made.rows[-1].cells:
        _border(cell, bottom=12, **({"top": 6} if len(made.rows) == 1 else {}))


def _border(cell: _Cell, **sides: int) -> None:
    properties = cell._tc.get_or_add_tcPr()
    borders = OxmlElement("w:tcBorders")
    for side in ("top", "bottom"):
        if side in sides:
            line = OxmlElement(f"w:{side}")
            for name, value in (("val", "single"), ("sz", str(sides[side])), ("color", "222222")):
                line.set(qn(f"w:{name}"), value)
            borders.append(line)
    properties.append(borders)


def _describe(made: WordTable, caption: str, description: str) -> None:
    for tag, text in (("w:tblCaption", caption), ("w:tblDescription", description)):
        element = OxmlElement(tag)
        element.set(qn("w:val"), text)
        made._tbl.tblPr.append(element)
