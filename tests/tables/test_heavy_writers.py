"""Excel, LaTeX, Word and styled HTML writers say what the light writers say."""

import io
import re

import docx
import openpyxl
import pandas as pd
import pytest
from docx.oxml.ns import qn

from motorlearn.tables import Column, Table, to_csv
from motorlearn.tables.display import to_great_table, to_styled_html
from motorlearn.tables.excel import to_excel
from motorlearn.tables.latex import latex_safe, to_latex
from motorlearn.tables.word import add_table, column_shares

ROWS = pd.DataFrame(
    {
        "group": ["blocked", "=1+1", None],
        "n": [24, 23, 0],
        "mean": [25.64, -0.004, float("nan")],
        "share": [0.5, 0.333, 1.0],
        "df": [61.0, 88.1028, float("inf")],
        "p": [0.0821, 0.00002, 0.9999],
        "ok": [True, False, True],
    }
)
TABLE = Table(
    "contrasts",
    "Groups & tests, 50 % of x_1",
    (
        Column("group"),
        Column("n", kind="count"),
        Column("mean", kind="number", unit="cm", decimals=1),
        Column("share", kind="percent", decimals=0),
        Column("df", "df", "df"),
        Column("p", kind="p"),
        Column("ok", kind="flag"),
    ),
    ROWS,
    ("A note with < and ².",),
)


@pytest.fixture(scope="module")
def sheet():
    return openpyxl.load_workbook(io.BytesIO(to_excel([TABLE])))["contrasts"]


def test_excel_holds_raw_numbers(sheet):
    assert sheet["C3"].value == 25.64
    assert sheet["F4"].value == 0.00002
    assert sheet["E4"].value == 88.1028


def test_excel_shows_as_many_decimals_as_the_others(sheet):
    assert sheet["C3"].number_format == "0.0"
    assert sheet["E4"].number_format == "0.0"
    assert sheet["E3"].number_format == "0"
    assert sheet["D3"].number_format == "0 %"
    assert "< .001" in sheet["F3"].number_format


def test_excel_writes_shares_of_variance_as_a_reader_writes_them():
    rows = pd.DataFrame({"eta": [0.0421, 0.0002, 0.0, -0.012]})
    table = Table("anova", "Effects", (Column("eta", "η²", "share"),), rows)
    assert table.cells() == [[".042"], ["< .001"], [".000"], ["−.012"]]
    found = openpyxl.load_workbook(io.BytesIO(to_excel([table])))["anova"]
    assert [found.cell(row, 1).value for row in (3, 4, 5, 6)] == rows["eta"].tolist()
    shown = [found.cell(row, 1).number_format for row in (3, 4, 5, 6)]
    assert shown == [".000", '"< .001"', ".000", ".000"]


def test_excel_never_runs_a_text(sheet):
    assert sheet["A4"].value == "=1+1"
    assert sheet["A4"].data_type == "s"


def test_excel_shows_what_is_missing_and_the_notes(sheet):
    assert [sheet["A5"].value, sheet["C5"].value, sheet["E5"].value] == ["–", "–", "∞"]
    assert sheet["A1"].value == TABLE.title and sheet["A6"].value == TABLE.notes[0]


def test_excel_sheets_have_different_names():
    long = [Table("a" * 40 + end, "t", TABLE.columns, ROWS) for end in ("one", "two", "three")]
    names = openpyxl.load_workbook(io.BytesIO(to_excel(long))).sheetnames
    assert len(set(names)) == 3 and max(map(len, names)) <= 31


def test_a_workbook_without_tables_opens():
    assert openpyxl.load_workbook(io.BytesIO(to_excel([]))).sheetnames == ["empty"]


def test_latex_escapes_and_counts_columns():
    text = to_latex(TABLE, decimal=",")
    assert r"\caption{Groups \& tests, 50 \% of x\_1}" in text
    assert r"\begin{tabular}{lrrrrrl}" in text
    assert text.count(r"\\") == 1 + len(ROWS)
    assert r"blocked & 24 & 25,6 & 50 \% & 61 & ,082 & yes \\" in text
    assert r"\textless{} ,001" in text


def test_latex_leaves_nothing_dangerous():
    nasty = r"\input{x} & % $ # _ { } ~ ^"
    safe = latex_safe(nasty)
    stripped = re.sub(r"\\(textbackslash|textasciitilde|textasciicircum)\{\}|\\[&%$#_{}]", "", safe)
    assert not re.search(r"[\\&%$#_{}~^]", stripped)


@pytest.fixture(scope="module")
def word():
    document = docx.Document()
    add_table(document, TABLE)
    buffer = io.BytesIO()
    document.save(buffer)
    return docx.Document(buffer).tables[0]


def test_word_has_the_cells_of_every_other_writer(word):
    cells = [[cell.text for cell in row.cells] for row in word.rows]
    assert cells == [TABLE.headings, *TABLE.cells()]
    assert to_csv(TABLE).count("\r\n") == len(cells)


def test_word_marks_its_header_row_and_describes_itself(word):
    header = word.rows[0]._tr.trPr
    assert header.find(qn("w:tblHeader")) is not None
    assert word.rows[1]._tr.trPr.find(qn("w:tblHeader")) is None
    assert all(row._tr.trPr.find(qn("w:cantSplit")) is not None for row in word.rows)
    properties = word._tbl.tblPr
    assert properties.find(qn("w:tblCaption")).get(qn("w:val")) == TABLE.title
    assert "3 rows" in properties.find(qn("w:tblDescription")).get(qn("w:val"))


def test_word_keeps_the_order_that_the_schema_wants(word):
    order = ["tblW", "jc", "tblLayout", "tblCellMar", "tblLook", "tblCaption", "tblDescription"]
    found = [element.tag.split("}")[1] for element in word._tbl.tblPr]
    assert [name for name in found if name != "tblStyle"] == order


def test_word_columns_fill_the_page():
    shares = column_shares([TABLE.headings, *TABLE.cells()])
    assert sum(shares) == pytest.approx(1.0)
    assert shares[0] > shares[1]
    assert column_shares([["only headings", "n"]])[0] > 0.5


def test_styled_html_has_the_same_cells():
    page = to_styled_html(TABLE)
    for line in TABLE.cells():
        for cell in line:
            assert cell.replace("<", "&lt;").replace(">", "&gt;") in page
    assert "25,6" in to_great_table(TABLE, decimal=",").as_raw_html()
    assert page == to_styled_html(TABLE)


def test_styled_html_escapes():
    nasty = Table(
        "x", "t", (Column("group"),), pd.DataFrame({"group": ["<script>alert(1)</script>"]})
    )
    assert "<script>alert" not in to_styled_html(nasty)
