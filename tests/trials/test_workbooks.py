"""Workbooks: what a spreadsheet hides, merges, computes, formats and mistakes."""

import datetime as dt
import io
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from openpyxl.comments import Comment
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from workbook_makers import HEADINGS, good_rows, write_ods

import motorlearn as ml
from motorlearn.exceptions import ColumnError, FileError
from motorlearn.trials.checking.problems import place


def book_of(*rows):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Log"
    for row in [HEADINGS, *rows]:
        sheet.append(row)
    return book, sheet


def read(folder, book, **options):
    file = folder / "log.xlsx"
    book.save(file)
    return ml.read_trials(file, **options)


def found(trials):
    return {place(entry): entry["rule"] for _, entry in trials.problems.iterrows()}


def test_a_clean_workbook_reads_like_the_same_text(tmp_path):
    book, _ = book_of(*good_rows())
    trials = read(tmp_path, book)
    assert trials.problems.empty
    text = tmp_path / "log.csv"
    text.write_text(
        "\n".join(",".join(str(v) for v in row) for row in [HEADINGS, *good_rows()]) + "\n"
    )
    assert ml.read_trials(text).table.equals(trials.table)
    assert trials.rows.tolist() == [2, 3, 4, 5, 6, 7]


def test_a_formula_without_a_stored_value_is_empty_and_an_error(tmp_path):
    book, sheet = book_of(*good_rows())
    sheet["D3"] = "=D2*2"
    trials = read(tmp_path, book)
    assert found(trials) == {"log.xlsx, Log!D3 (cell)": "formula without a stored value"}
    assert np.isnan(trials.table["x"][1])


def test_a_formula_with_a_stored_value_gives_that_value_and_is_noted(tmp_path):
    book, sheet = book_of(*good_rows())
    sheet["D3"] = "=1+1"
    book.save(tmp_path / "plain.xlsx")
    stored = _with_stored_value(tmp_path / "plain.xlsx", "D3", "7.25")
    (tmp_path / "log.xlsx").write_bytes(stored)
    trials = ml.read_trials(tmp_path / "log.xlsx")
    assert found(trials) == {"log.xlsx, Log!D3 (cell)": "value from a formula"}
    assert trials.table["x"][1] == 7.25


def _with_stored_value(path, cell, value):
    """Write a stored value behind a formula, as a spreadsheet does when it saves."""
    source, target = zipfile.ZipFile(path), io.BytesIO()
    with zipfile.ZipFile(target, "w") as copy:
        for name in source.namelist():
            content = source.read(name)
            if name.endswith("sheet1.xml"):
                before = content
                content = content.replace(b"<v></v>", b"<v>" + value.encode() + b"</v>")
                content = content.replace(b"<v />", b"<v>" + value.encode() + b"</v>")
                assert content != before
            copy.writestr(name, content)
    return target.getvalue()


@pytest.mark.parametrize("error", ["#DIV/0!", "#N/A", "#REF!", "#VALUE!", "#NAME?"])
def test_error_cells(tmp_path, error):
    book, sheet = book_of(*good_rows())
    sheet["D4"] = error
    trials = read(tmp_path, book)
    rule = "word read as missing" if error == "#N/A" else "error cell"
    assert found(trials) == {"log.xlsx, Log!D4 (x)": rule}
    assert np.isnan(trials.table["x"][2])


def test_a_date_where_a_decimal_was_typed(tmp_path):
    book, sheet = book_of(*good_rows())
    sheet["D4"] = dt.datetime(2026, 5, 1)
    trials = read(tmp_path, book)
    assert found(trials) == {"log.xlsx, Log!D4 (x)": "date among numbers"}
    assert trials.problems["value"][0] == "2026-05-01"
    assert "1 May" in trials.problems["advice"][0]


def test_a_clock_time_where_seconds_were_meant(tmp_path):
    book, sheet = book_of(*good_rows())
    sheet["D4"] = dt.time(0, 1, 30)
    assert found(read(tmp_path, book)) == {"log.xlsx, Log!D4 (x)": "clock time among numbers"}


def test_numbers_stored_as_text(tmp_path):
    book, sheet = book_of(*good_rows())
    sheet["D4"] = "4.5"
    sheet["D5"] = "6,0"
    trials = read(tmp_path, book)
    assert trials.table["x"].tolist() == [1.5, 3, 4.5, 6, 7.5, 9]
    rules = found(trials)
    assert rules["log.xlsx, Log!D4 (cell)"] == "number stored as text"
    assert rules["log.xlsx, Log!D5 (x)"] == "other decimal mark"


def test_hidden_rows_and_columns_are_read_and_said(tmp_path):
    book, sheet = book_of(*good_rows())
    sheet.row_dimensions[3].hidden = True
    sheet.column_dimensions["D"].hidden = True
    trials = read(tmp_path, book)
    assert found(trials) == {
        "log.xlsx, Log!A3 (cell)": "hidden row",
        "log.xlsx, Log!D1 (cell)": "hidden column",
    }
    assert len(trials.table) == 6


def test_merged_cells_in_the_body_are_not_filled_in(tmp_path):
    book, sheet = book_of(*good_rows())
    sheet.merge_cells("B4:B6")
    trials = read(tmp_path, book)
    assert found(trials)["log.xlsx, Log!B4 (cell)"] == "merged cells"
    assert trials.table["phase"].isna().sum() == 2


def test_comments_are_listed(tmp_path):
    book, sheet = book_of(*good_rows())
    sheet["D4"].comment = Comment("sun in the eyes", "tester")
    trials = read(tmp_path, book)
    assert trials.problems[["rule", "value"]].values.tolist() == [
        ["comment in a cell", "sun in the eyes"]
    ]


def test_dates_of_both_calendars_are_the_same_day(tmp_path):
    for name, epoch in (("1900", None), ("1904", CALENDAR_MAC_1904)):
        book, sheet = book_of(*good_rows())
        if epoch is not None:
            book.epoch = epoch
        sheet["E1"] = "date"
        for row in range(2, 8):
            sheet.cell(row, 5, dt.datetime(2026, 3, row))
        book.save(tmp_path / f"{name}.xlsx")
    old, new = (ml.read_trials(tmp_path / f"{name}.xlsx") for name in ("1904", "1900"))
    assert old.table["date"].tolist() == new.table["date"].tolist()
    assert old.table["date"][0] == "2026-03-02"
    assert old.problems["rule"].tolist() == ["dates counted from 1904"]


def test_leading_zeros_that_are_only_shown_and_those_that_are_typed(tmp_path):
    book, sheet = book_of(*[[i, "pretest", 1, 2.0 * i] for i in range(5, 9)])
    for row in range(2, 6):
        sheet.cell(row, 1).number_format = "000"
    sheet["A5"] = "008"
    trials = read(tmp_path, book)
    assert trials.table["participant"].tolist() == ["005", "006", "007", "008"]


def test_an_identifier_whose_leading_zero_was_eaten_is_a_near_duplicate(tmp_path):
    book, _ = book_of(*good_rows(2), ["007", "pretest", 1, 3], [7, "retention", 1, 4])
    trials = read(tmp_path, book)
    assert found(trials)["log.xlsx, Log!A4 (participant)"] == "near-duplicate identifiers"
    assert trials.table["participant"].tolist()[2:] == ["007", "7"]


def test_percentages_by_format_are_asked_about(tmp_path):
    book, sheet = book_of(*good_rows())
    sheet["D4"] = 0.6
    sheet["D4"].number_format = "0 %"
    trials = read(tmp_path, book)
    assert found(trials) == {"log.xlsx, Log!D4 (cell)": "cell shown as a percentage"}
    assert trials.table["x"][2] == 0.6


def test_trailing_blank_rows_and_blank_columns_do_not_matter(tmp_path):
    book, sheet = book_of(*good_rows())
    sheet.cell(40, 9).number_format = "0.00"
    sheet.cell(30, 2, " ")
    trials = read(tmp_path, book)
    assert len(trials.table) == 6
    assert "column 9" not in trials.table


def test_blank_rows_inside_are_set_aside(tmp_path):
    book, _ = book_of(*good_rows(2), [None, None, None, None], ["p9", "pretest", 1, 2])
    trials = read(tmp_path, book)
    assert trials.set_aside[["row", "reason"]].values.tolist() == [[4, "blank row"]]
    assert trials.rows.tolist() == [2, 3, 5]


def test_other_sheets_are_named_and_can_be_read(tmp_path):
    book, _ = book_of(*good_rows())
    second = book.create_sheet("Week 4")
    second.append(HEADINGS)
    second.append(["p1", "retention", 1, 2])
    hidden = book.create_sheet("Key")
    hidden.append(["participant", "secret"])
    hidden.append(["p1", "Ada"])
    hidden.sheet_state = "hidden"
    trials = read(tmp_path, book)
    assert trials.problems[["rule", "sheet"]].values.tolist() == [["sheet not read", "Week 4"]]
    assert "Ada" not in trials.problems.to_string()
    assert len(read(tmp_path, book, sheet="Week 4").table) == 1
    assert len(read(tmp_path, book, sheet=1).table) == 1
    with pytest.raises(FileError, match=r"no such sheet \('Week 9'\); its sheets are 'Log'"):
        read(tmp_path, book, sheet="Week 9")


def test_groups_coded_differently_in_two_sheets_are_found(tmp_path):
    book, sheet = book_of()
    sheet.delete_rows(1)
    sheet.append(["participant", "group", "phase", "trial", "x"])
    sheet.append(["p1", 1, "pretest", 1, 2])
    sheet.append(["p1", "B", "retention", 1, 3])
    sheet.append(["p2", 2, "pretest", 1, 2])
    trials = read(tmp_path, book)
    assert trials.problems[["rule", "value"]].values.tolist() == [
        ["participant in two groups", "p1 in 1"],
        ["participant in two groups", "p1 in B"],
    ]


def test_an_empty_workbook_and_one_without_participants(tmp_path):
    with pytest.raises(FileError, match="is empty"):
        read(tmp_path, openpyxl.Workbook())
    book, _ = book_of(*good_rows())
    book.active["A1"] = "who"
    with pytest.raises(ColumnError, match="no column 'participant'"):
        read(tmp_path, book)


def test_a_far_away_cell_does_not_make_an_absurd_table(tmp_path):
    book, sheet = book_of(*good_rows())
    sheet.cell(1_000_000, 16_000, "x")
    with pytest.raises(FileError, match="five million cells"):
        read(tmp_path, book)


def test_formulas_are_never_evaluated(tmp_path):
    book, sheet = book_of(*good_rows())
    sheet["A2"] = '=HYPERLINK("http://example.org","p1")'
    trials = read(tmp_path, book)
    assert "no participant" in set(trials.problems["rule"])


def _rezipped(path, **parts):
    target = io.BytesIO()
    with zipfile.ZipFile(path) as source, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as z:
        for name in source.namelist():
            z.writestr(name, parts.pop(name, source.read(name)))
        for name, content in parts.items():
            z.writestr(name, content)
    return target.getvalue()


def test_a_workbook_that_would_explode_is_refused_before_it_is_unpacked(tmp_path):
    book, _ = book_of(*good_rows())
    book.save(tmp_path / "a.xlsx")
    bomb = _rezipped(tmp_path / "a.xlsx", **{"xl/media/big.bin": bytes(60 << 20)})
    (tmp_path / "bomb.xlsx").write_bytes(bomb)
    assert len(bomb) < 200_000
    with pytest.raises(FileError, match="absurd size"):
        ml.read_trials(tmp_path / "bomb.xlsx")


def test_a_gzip_that_would_explode_is_refused(tmp_path):
    import gzip

    (tmp_path / "t.csv.gz").write_bytes(gzip.compress(bytes(60 << 20)))
    with pytest.raises(FileError, match="absurd size"):
        ml.read_trials(tmp_path / "t.csv.gz")


def test_entities_in_a_workbook_are_refused(tmp_path):
    book, _ = book_of(*good_rows())
    book.save(tmp_path / "a.xlsx")
    doctype = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "bbbb">]><sst>&b;</sst>'
    (tmp_path / "b.xlsx").write_bytes(
        _rezipped(tmp_path / "a.xlsx", **{"xl/sharedStrings.xml": doctype})
    )
    with pytest.raises(FileError, match="defines entities"):
        ml.read_trials(tmp_path / "b.xlsx")


@pytest.mark.parametrize("name", ["a.pkl", "a.pickle", "a.npy", "a.joblib", "a.RData", "a.mat"])
def test_files_that_can_hold_programs_are_refused(tmp_path, name):
    (tmp_path / name).write_bytes(b"\x80\x04\x95cos\nsystem\n(S'true'\ntR.")
    with pytest.raises(FileError, match="can hold programs"):
        ml.read_trials(tmp_path / name)


def test_an_open_document_reads_the_same(tmp_path):
    write_ods(tmp_path / "log.ods", [HEADINGS, *good_rows()])
    book, _ = book_of(*good_rows())
    expected = read(tmp_path, book)
    trials = ml.read_trials(tmp_path / "log.ods")
    assert trials.table.equals(expected.table)
    assert trials.rows.tolist() == expected.rows.tolist()
    assert trials.problems["rule"].tolist() == ["layout not looked at"]


@pytest.mark.parametrize("across", [True, False])
def test_repeated_cells_of_an_open_document_do_not_explode(tmp_path, across):
    write_ods(tmp_path / "log.ods", [HEADINGS, *good_rows()])
    wide = b'<table:table-cell table:number-columns-repeated="16000" '
    tall = b'<table:table-row table:number-rows-repeated="1000000">'
    with zipfile.ZipFile(tmp_path / "log.ods") as archive:
        content = archive.read("content.xml")
    if across:
        content = content.replace(b"<table:table-cell ", wide, 1)
    (tmp_path / "a.ods").write_bytes(
        _rezipped(
            tmp_path / "log.ods",
            **{"content.xml": content.replace(b"<table:table-row>", tall, 1)},
        )
    )
    if across:
        with pytest.raises(FileError, match="five million cells"):
            ml.read_trials(tmp_path / "a.ods")
    empty = content.replace(
        b"</table:table>", tall[:-1] + b"><table:table-cell/></table:table-row></table:table>"
    )
    if not across:
        (tmp_path / "b.ods").write_bytes(_rezipped(tmp_path / "log.ods", **{"content.xml": empty}))
        assert len(ml.read_trials(tmp_path / "b.ods").table) == 6


def test_a_merged_area_of_the_whole_sheet_is_refused(tmp_path):
    book, _ = book_of(*good_rows())
    book.save(tmp_path / "a.xlsx")
    with zipfile.ZipFile(tmp_path / "a.xlsx") as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml")
    merged = b'</sheetData><mergeCells count="1"><mergeCell ref="A9:XFD1048576"/></mergeCells>'
    sheet = sheet.replace(b"</sheetData>", merged)
    (tmp_path / "b.xlsx").write_bytes(
        _rezipped(tmp_path / "a.xlsx", **{"xl/worksheets/sheet1.xml": sheet})
    )
    with pytest.raises(FileError, match="merged areas"):
        ml.read_trials(tmp_path / "b.xlsx")


def test_a_workbook_of_a_statistics_package_with_a_dangling_drawing_is_read():
    """Written by openxlsx 4.2.5.2 for R; it names a drawing that is not in the archive."""
    trials = ml.read_trials(Path(__file__).parent / "files" / "openxlsx.xlsx")
    assert trials.table["participant"].tolist() == ["p1", "p2", "p3", "007", "p5"]
    np.testing.assert_array_equal(trials.table["x"], [1.5, 3, -4.25, np.nan, 1000000.125])
    assert trials.table["date"].tolist()[0] == "2026-03-02"
    assert trials.problems["rule"].tolist() == ["layout not looked at"]


def test_a_workbook_written_by_another_program_reads_the_same(tmp_path):
    """A minimal workbook written by hand to the standard, with inline strings and no styles."""
    sheet = "".join(
        "<row>"
        + "".join(
            f'<c t="inlineStr"><is><t>{v}</t></is></c>'
            if isinstance(v, str)
            else f"<c><v>{v}</v></c>"
            for v in row
        )
        + "</row>"
        for row in [HEADINGS, *good_rows()]
    )
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types"><Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Override '
        f'PartName="/xl/workbook.xml" ContentType="{kind}.sheet.main+xml"/><Override '
        f'PartName="/xl/worksheets/sheet1.xml" ContentType="{kind}.worksheet+xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{package}/relationships"><Relationship Id="rId1" '
        f'Type="{office}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{office}"><sheets><sheet '
        'name="Log" sheetId="1" r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}/relationships">'
        f'<Relationship Id="rId1" Type="{office}/worksheet" Target="worksheets/sheet1.xml"/>'
        "</Relationships>",
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{main}"><sheetData>{sheet}</sheetData>'
        "</worksheet>",
    }
    with zipfile.ZipFile(tmp_path / "other.xlsx", "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    book, _ = book_of(*good_rows())
    assert ml.read_trials(tmp_path / "other.xlsx").table.equals(read(tmp_path, book).table)


def test_nothing_is_left_beside_the_file_that_was_read(tmp_path):
    book, _ = book_of(*good_rows())
    read(tmp_path, book)
    assert [entry.name for entry in Path(tmp_path).iterdir()] == ["log.xlsx"]


TEXT = "number stored as text"


def test_a_column_of_decimal_commas_is_one_note_and_not_two_doubts_a_cell(tmp_path):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["participant", "phase", "trial", "time"])
    for trial in range(1, 31):
        value = 3 if trial % 2 else f"{trial % 3},5"
        sheet.append(["p1", "pretest", trial, value])
    sheet.append(["p1", "pretest", 31, 8])
    book.save(tmp_path / "timed.xlsx")
    trials = ml.read_trials(tmp_path / "timed.xlsx")
    assert trials.table["time"].tolist()[:4] == [3, 2.5, 3, 1.5]
    said = trials.problems[trials.problems["rule"].isin(["other decimal mark", TEXT])]
    assert said[["rule", "severity"]].values.tolist() == [["other decimal mark", "note"]]
