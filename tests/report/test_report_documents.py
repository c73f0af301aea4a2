"""Word, JSON and page of the same report hold the same numbers and stay usable by ear."""

import csv
import html
import io
import json
import re

import docx
import openpyxl
import pytest
from docx.oxml.ns import qn

from motorlearn.compare import PhaseComparison


@pytest.fixture(scope="module")
def word(folder):
    return docx.Document(folder / "report.docx")


def text_of(paragraph):
    """Visible text of a paragraph, values of fields included."""
    return "".join(node.text or "" for node in paragraph._p.iter(qn("w:t")))


def plain_page(folder):
    page = (folder / "report.html").read_text("utf-8")
    main = page.split("<main>")[1].split("</main>")[0]
    bare = re.sub(r"<[^<>]*>", "", re.sub(r'src="[^"]*"', "", main))
    return re.sub(r"\s+", " ", html.unescape(bare))


def test_word_and_csv_hold_the_same_tables(word, folder, agrees):
    written = {}
    for path in (folder / "tables").glob("*.csv"):
        rows = list(csv.reader(io.StringIO(path.read_text("utf-8"))))
        written.setdefault((tuple(rows[0]), len(rows)), []).append(rows[1:])
    in_word = [[[cell.text for cell in row.cells] for row in table.rows] for table in word.tables]
    assert sum(map(len, written.values())) == len(in_word)
    for rows in in_word:
        alike = written[tuple(rows[0]), len(rows)]
        assert any(_same(rows[1:], other, agrees) for other in alike), rows[0]


def _same(shown, raw, agrees):
    lines = zip(shown, raw, strict=True)
    return all(agrees(*pair) for pairs in lines for pair in zip(*pairs, strict=True))


def test_word_and_page_hold_the_same_numbers(word, folder):
    page = plain_page(folder)
    started = False
    for paragraph in word.paragraphs:
        started |= paragraph.style.name == "Heading 1"
        if paragraph.text == "How this report was made":
            break
        if started and paragraph.style.name in ("Normal", "Caption", "List Bullet"):
            text = re.sub(r"\s+", " ", text_of(paragraph)).strip()
            assert text.replace("Caution. ", "") in page


def test_word_uses_real_styles(word):
    styles = {paragraph.style.name for paragraph in word.paragraphs}
    assert {"Title", "Heading 1", "Heading 2", "Caption", "List Bullet", "Caution"} <= styles
    assert word.core_properties.title and word.core_properties.language == "en-GB"


def test_every_picture_has_its_alternative_text(word):
    described = [shape._inline.docPr.get("descr") for shape in word.inline_shapes]
    assert len(described) >= 8
    assert all(text and len(text) > 60 for text in described)


def test_every_table_has_a_header_row(word):
    for table in word.tables:
        assert table.rows[0]._tr.trPr.find(qn("w:tblHeader")) is not None
        assert table._tbl.tblPr.find(qn("w:tblCaption")).get(qn("w:val"))


def test_cross_references_lead_to_captions(word):
    marks = {mark.get(qn("w:name")) for mark in word.element.iter(qn("w:bookmarkStart"))}
    fields = [node.text for node in word.element.iter(qn("w:instrText"))]
    wanted = {text.split()[1] for text in fields if text.split()[0] == "REF"}
    assert wanted and wanted <= marks
    assert len(marks) == len(list(word.element.iter(qn("w:bookmarkStart"))))
    assert sum("SEQ Figure" in text for text in fields) == len(word.inline_shapes)
    assert sum("SEQ Table" in text for text in fields) == len(word.tables)


def test_the_contents_lead_to_every_heading(word):
    entries = [p for p in word.paragraphs if p.style.name.startswith("toc ")]
    headings = [p for p in word.paragraphs if p.style.name in ("Heading 1", "Heading 2")]
    shown = [p.text for p in headings if p.text != "How this report was made"]
    assert [text_of(entry) for entry in entries] == shown
    marks = {mark.get(qn("w:name")) for mark in word.element.iter(qn("w:bookmarkStart"))}
    links = [link.get(qn("w:anchor")) for link in word.element.iter(qn("w:hyperlink"))]
    assert len(set(links)) == len(shown) and set(links) <= marks
    fields = [node.get(qn("w:fldCharType")) for node in word.element.iter(qn("w:fldChar"))]
    assert fields.count("begin") == fields.count("separate") == fields.count("end")
    assert any(
        (node.text or "").split()[:1] == ["TOC"] for node in word.element.iter(qn("w:instrText"))
    )


def test_a_number_is_not_parted_from_its_sign_of_unit(word, folder):
    page = (folder / "report.html").read_text("utf-8").split("<main>")[1]
    text = re.sub(r"<t[dh].*?</t[dh]>|<img[^>]*>", "", page, flags=re.DOTALL)
    assert re.search(r"\d\u00a0%", text) and not re.search(r"\d %", text)
    assert not any(re.search(r"\d %", p.text) for p in word.paragraphs)


def test_the_json_reads_back_into_results(folder):
    stored = json.loads((folder / "results.json").read_text("utf-8"))
    text = json.dumps(stored["results"]["radial_error: comparison"])
    comparison = PhaseComparison.from_json(text)
    row = comparison.contrasts.query("phase == 'retention' and adjusted and group == 'random'")
    said = next(s for s in stored["sentences"] if "times as large after random" in s)
    assert f"{row['estimate'].iloc[0]:.2f} times" in said
    assert comparison.recipe.options["baseline"] == "pretest"


def test_every_sentence_of_the_json_is_on_the_page(folder):
    stored = json.loads((folder / "results.json").read_text("utf-8"))
    page = plain_page(folder)
    assert all(re.sub(r"\s+", " ", sentence) in page for sentence in stored["sentences"])


def test_the_workbook_has_a_sheet_for_every_table(folder):
    book = openpyxl.load_workbook(folder / "tables" / "tables.xlsx")
    titles = {sheet["A1"].value for sheet in book}
    word = docx.Document(folder / "report.docx")
    described = {
        table._tbl.tblPr.find(qn("w:tblCaption")).get(qn("w:val")) for table in word.tables
    }
    assert titles == described


def test_every_table_comes_as_latex_and_styled_page(folder):
    for path in (folder / "tables").glob("*.csv"):
        assert (path.with_suffix(".tex")).read_text("utf-8").startswith(r"\begin{table}")
        assert "<table" in (path.with_suffix(".html")).read_text("utf-8")
