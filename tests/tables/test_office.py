"""Documents that say nothing of who made them and when, and are the same bytes every time."""

import io
import re
import time
import zipfile

import docx
import openpyxl
import pandas as pd
import pytest

from motorlearn.plan.sheets.workbooks import SheetForm, workbook_bytes
from motorlearn.tables import Column, Table
from motorlearn.tables.excel import to_excel
from motorlearn.tables.office import neutral_office


def document(title="A study of rings & <pushes>"):
    made = docx.Document()
    made.core_properties.title, made.core_properties.author = title, "Ada Lovelace"
    made.add_paragraph("text")
    buffer = io.BytesIO()
    made.save(buffer)
    return neutral_office(buffer.getvalue())


def workbook():
    rows = pd.DataFrame({"a": [1.5, 2.5]})
    return to_excel([Table("t", "Title", (Column("a", kind="number"),), rows)])


def form():
    return workbook_bytes([SheetForm("trials", pd.DataFrame({"participant": ["p1"]}))])


@pytest.mark.parametrize("make", [document, workbook, form])
def test_the_same_content_gives_the_same_bytes(make):
    first = make()
    time.sleep(2.1)  # an archive counts in steps of two seconds
    assert make() == first


@pytest.mark.parametrize("make", [document, workbook, form])
def test_nothing_tells_who_made_it_and_when(make):
    with zipfile.ZipFile(io.BytesIO(make())) as archive:
        told = archive.read("docProps/core.xml") + archive.read("docProps/app.xml")
        assert not [name for name in archive.namelist() if "thumbnail" in name]
        assert b"thumbnail" not in archive.read("_rels/.rels")
        assert {entry.date_time[0] for entry in archive.infolist()} == {2000}
    assert not re.search(rb"Lovelace|openpyxl|docx|Microsoft|Normal|20(?!00-01-01)\d\d-", told)


def test_it_opens_again_with_its_title_and_content():
    read = docx.Document(io.BytesIO(document()))
    assert read.core_properties.title == "A study of rings & <pushes>"
    assert [paragraph.text for paragraph in read.paragraphs] == ["text"]
    sheet = openpyxl.load_workbook(io.BytesIO(workbook())).active
    assert [cell.value for cell in sheet["A"]] == ["Title", "a", 1.5, 2.5]
