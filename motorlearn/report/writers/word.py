"""The report as a Word document with real styles, captions and cross-references."""

import datetime
import io
from collections.abc import Callable, Mapping
from typing import Any

import docx
from docx.document import Document as WordDocument
from docx.enum.style import WD_STYLE_TYPE
from docx.enum.text import WD_TAB_ALIGNMENT
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.oxml.shape import CT_Inline
from docx.shared import Cm, Pt, RGBColor
from docx.text.paragraph import Paragraph

from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.report.writers.contents import LIMITS_TOLD, NOUN, Document, Heading, Text, unbroken
from motorlearn.tables import Table
from motorlearn.tables.office import neutral_office
from motorlearn.tables.word import add_table

WIDTH = Cm(16)
_EPOCH = datetime.datetime(2000, 1, 1)
_SANS, _SERIF = "Arial", "Times New Roman"

LONGEST_PROPERTY = 255
"""Most signs of a property of a Word file; the title itself stands whole in the text."""


def to_word(document: Document, pictures: Mapping[str, bytes], made: Mapping[str, str]) -> bytes:
    """Write a document as DOCX.

    Parameters
    ----------
    document : Document
        The contents.
    pictures : mapping of str to bytes
        PNG of each figure by name.
    made : mapping of str to str
        How the report was made, shown at the end.
    """
    word = docx.Document()
    _set_up(word, document)
    word.add_paragraph(document.title, style="Title")
    word.add_paragraph(document.subtitle, style="Subtitle")
    writer = _Writer(word, document, pictures)
    writer.contents()
    for place, block in enumerate(document.blocks):
        if place == document.appendix:
            writer.begin_appendix()
        writer.add(block)
    word.add_heading("How this report was made", 1)
    for name, value in made.items():
        word.add_paragraph(f"{name}: {value}", style="List Bullet")
    buffer = io.BytesIO()
    word.save(buffer)
    return neutral_office(buffer.getvalue(), writer.parts)


def _set_up(word: WordDocument, document: Document) -> None:
    section = word.sections[0]
    section.page_width, section.page_height = Cm(21), Cm(29.7)
    section.left_margin = section.right_margin = Cm(2.5)
    section.top_margin = section.bottom_margin = Cm(2.5)
    update = OxmlElement("w:updateFields")  # page numbers are known to the word processor alone
    update.set(qn("w:val"), "true")
    word.settings.element.append(update)
    properties = word.core_properties
    properties.title = document.title[:LONGEST_PROPERTY]
    properties.language = "en-GB"
    properties.author, properties.comments = "", ""
    properties.created = properties.modified = _EPOCH
    _font(word.styles["Normal"], _SERIF, 11)
    for name, size in (("Title", 20), ("Subtitle", 12), ("Heading 1", 15), ("Heading 2", 12)):
        _font(word.styles[name], _SANS, size)
    _font(word.styles["Caption"], _SANS, 9)
    word.styles["Caption"].font.bold = False
    heading = word.styles.add_style("Contents heading", WD_STYLE_TYPE.PARAGRAPH)
    heading.base_style = word.styles["Normal"]
    _font(heading, _SANS, 12)
    for level in (1, 2):
        entry = word.styles.add_style(f"toc {level}", WD_STYLE_TYPE.PARAGRAPH)
        entry.base_style = word.styles["Normal"]
        entry.paragraph_format.left_indent = Cm(0.6 * (level - 1))
        entry.paragraph_format.space_after = Pt(2)
        entry.paragraph_format.tab_stops.add_tab_stop(WIDTH, WD_TAB_ALIGNMENT.RIGHT)
    for name in ("Caution", "Author remark", "Table note"):
        style = word.styles.add_style(name, WD_STYLE_TYPE.PARAGRAPH)
        style.base_style = word.styles["Normal"]
        _font(style, _SERIF, 9 if name == "Table note" else 11)
        if name != "Table note":
            style.paragraph_format.left_indent = Cm(0.6)


def _font(style: Any, name: str, points: float) -> None:
    style.font.name, style.font.size = name, Pt(points)
    style.font.color.rgb = RGBColor(0x22, 0x22, 0x22)
    fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
    for script in ("w:ascii", "w:hAnsi", "w:eastAsia", "w:cs"):
        fonts.set(qn(script), name)
    for theme in ("asciiTheme", "hAnsiTheme", "eastAsiaTheme", "cstheme"):
        fonts.attrib.pop(qn(f"w:{theme}"), None)


class _Writer:
    """Adds blocks to a Word document; counts bookmarks, which need numbers of their own.

    A picture's head stands for it until the document is packed (``parts`` gives it back): the
    library would sum all pictures again with each one and pack what does not get smaller.
    """

    def __init__(
        self, word: WordDocument, document: Document, pictures: Mapping[str, bytes]
    ) -> None:
        self.word, self.document, self.pictures = word, document, pictures
        self.numbers = document.numbers()
        self.bookmarks = 0
        self.parts: dict[str, Callable[[bytes], bytes]] = {}
        self.styles = {str(style.name): str(style.style_id) for style in word.styles}

    def _paragraph(self, style: str) -> Paragraph:
        """An empty paragraph; its style is set by identifier, since a look-up takes far longer."""
        paragraph = self.word.add_paragraph()
        if style != "Normal":
            paragraph._p.style = self.styles[style]
        return paragraph

    def add(self, block: Heading | Text | Drawing | Table) -> None:
        """Add one block."""
        match block:
            case Heading():
                paragraph = self._paragraph(f"Heading {block.level}")
                self._marked(paragraph, _mark(block), lambda: paragraph.add_run(block.text))
            case Text():
                self._text(block)
            case Drawing():
                self._figure(block)
            case Table():
                self._table(block)

    def begin_appendix(self) -> None:
        """Begin the appendix on a page of its own."""
        self.word.add_paragraph("Appendix", style="Title").paragraph_format.page_break_before = True
        self.word.add_paragraph(unbroken(LIMITS_TOLD))

    def contents(self) -> None:
        """Write the headings as a table of contents that Word can renew and number."""
        self._paragraph("Contents heading").add_run("Contents")
        headings = self.document.headings
        for place, heading in enumerate(headings):
            paragraph = self._paragraph(f"toc {heading.level}")
            if place == 0:
                _field_part(paragraph, "begin")
                _instruction(paragraph, 'TOC \\o "1-2" \\h')
                _field_part(paragraph, "separate")
            link = OxmlElement("w:hyperlink")
            link.set(qn("w:anchor"), _mark(heading))
            link.append(paragraph.add_run(heading.text)._r)
            paragraph._p.append(link)
            paragraph.add_run("\t")
            _field(paragraph, f"PAGEREF {_mark(heading)} \\h", "")
            if place == len(headings) - 1:
                _field_part(paragraph, "end")

    def _text(self, block: Text) -> None:
        style = {"item": "List Bullet", "caution": "Caution", "author": "Author remark"}
        label = {"caution": "Caution. ", "author": "For the author to write. "}
        paragraph = self._paragraph(style.get(block.kind, "Normal"))
        if block.kind in label:
            paragraph.add_run(label[block.kind]).bold = True
        self._linked(paragraph, block.text)

    def _linked(self, paragraph: Paragraph, text: str) -> None:
        for plain, reference in self.document.pieces(text):
            if plain:
                paragraph.add_run(unbroken(plain))
            if reference:
                kind, _, name = reference.partition(":")
                shown = f"{NOUN[kind]} {self.numbers[kind, name]}"
                _field(paragraph, f"REF {_bookmark(kind, name)} \\h", shown)

    def _figure(self, drawing: Drawing) -> None:
        paragraph = self.word.add_paragraph()
        paragraph.paragraph_format.keep_with_next = True
        picture, number = self.pictures[drawing.name], len(self.parts) + 1
        part = self.word.part
        link, image = part.get_or_add_image(io.BytesIO(_head(picture) + b"%d" % number))
        size = image.scaled_dimensions(WIDTH, None)
        inline = CT_Inline.new_pic_inline(number, link, image.filename, *size)
        paragraph.add_run()._r.add_drawing(inline)
        self.parts[str(part.related_parts[link].partname)[1:]] = lambda head: picture
        inline.docPr.set("descr", drawing.alt)
        inline.docPr.set("title", drawing.name)
        self._caption("fig", drawing.name, drawing.caption)

    def _table(self, table: Table) -> None:
        self._caption("tab", table.name, table.title).paragraph_format.keep_with_next = True
        add_table(self.word, table, decimal=self.document.decimal)
        for note in table.notes:
            self._linked(self._paragraph("Table note"), note)
        if not table.notes:
            self._paragraph("Table note")

    def _marked(self, paragraph: Paragraph, name: str, write: Callable[[], object]) -> None:
        """Put a bookmark about what is written."""
        self.bookmarks += 1
        start, end = OxmlElement("w:bookmarkStart"), OxmlElement("w:bookmarkEnd")
        for element in (start, end):
            element.set(qn("w:id"), str(self.bookmarks))
        start.set(qn("w:name"), name)
        paragraph._p.append(start)
        write()
        paragraph._p.append(end)

    def _caption(self, kind: str, name: str, text: str) -> Paragraph:
        paragraph = self._paragraph("Caption")

        def label() -> None:
            paragraph.add_run(f"{NOUN[kind]} ").bold = True
            number = str(self.numbers[kind, name])
            _field(paragraph, f"SEQ {NOUN[kind]} \\* ARABIC", number, bold=True)

        self._marked(paragraph, _bookmark(kind, name), label)
        paragraph.add_run(". ").bold = True
        self._linked(paragraph, text)
        return paragraph


def _head(picture: bytes) -> bytes:
    """Size and resolution of a PNG without its points: what stands before them, and the end."""
    at = len(b"\x89PNG\r\n\x1a\n")
    while picture[at + 4 : at + 8] not in (b"IDAT", b"IEND"):
        at += int.from_bytes(picture[at : at + 4], "big") + 12  # length, name, content, sum
    return picture[:at] + b"\0\0\0\0IEND\xaeB`\x82"


def _bookmark(kind: str, name: str) -> str:
    """Word allows forty letters, digits and underscores."""
    return f"{kind}_{name}".replace("-", "_")[:40]


def _mark(heading: Heading) -> str:
    """Name of the bookmark of a heading; Word hides names that begin like this."""
    return "_" + _bookmark("Toc", heading.anchor)[:39]


def _field(paragraph: Paragraph, instruction: str, shown: str, *, bold: bool = False) -> None:
    """Append a field with its present value, which a reader can update."""
    _field_part(paragraph, "begin")
    _instruction(paragraph, instruction)
    _field_part(paragraph, "separate")
    paragraph.add_run(shown).bold = bold or None
    _field_part(paragraph, "end")


def _field_part(paragraph: Paragraph, kind: str) -> None:
    element = OxmlElement("w:fldChar")
    element.set(qn("w:fldCharType"), kind)
    paragraph.add_run()._r.append(element)


def _instruction(paragraph: Paragraph, text: str) -> None:
    element = OxmlElement("w:instrText")
    element.set(qn("xml:space"), "preserve")
    element.text = f" {text} "
    paragraph.add_run()._r.append(element)
