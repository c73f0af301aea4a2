"""Signs nobody sees and labels nobody typed are listed; long messages are cut; digits are kept."""

import io
import zipfile

import numpy as np
import openpyxl
import pandas as pd
import pytest
from frictionless import Schema

import motorlearn as ml
from motorlearn.exceptions import visible
from motorlearn.tables import Column, Table, to_csv, to_html, to_text
from motorlearn.tables.excel import to_excel
from motorlearn.tables.writers import spreadsheet_safe
from motorlearn.trials import table_bytes, table_schema

BIG = ["9007199254740993", "9007199254740992"]


def read(folder, text, name="t.csv"):
    (folder / name).write_bytes(text.encode("utf-8", "surrogatepass"))
    return ml.read_trials(folder / name)


@pytest.mark.parametrize("sign", ["\x1b[31m", "\u202e", "\u200b", "\u2066", "\x07", "\u200f"])
@pytest.mark.parametrize("column", ["participant", "group", "phase"])
def test_signs_that_cannot_be_seen_are_listed_and_shown(tmp_path, sign, column):
    rows = [{"participant": f"p{i}", "group": "a", "phase": "pretest"} for i in (1, 2, 3)]
    rows[1][column] += sign + "x"
    lines = [",".join(row.values()) + ",1" for row in rows]
    trials = read(tmp_path, "participant,group,phase,hit\n" + "\n".join(lines))
    found = trials.problems[trials.problems["rule"] == "sign that cannot be seen"]
    assert found["severity"].tolist() == ["error"] and found["column"].tolist() == [column]
    assert found["row"].tolist() == [3] and visible(sign) in found["value"].item()
    told = ml.trials.problem_list(trials.problems) + ml.trials.problem_page(trials.problems)
    assert sign not in told


def test_a_heading_and_a_file_name_with_such_signs_are_shown(tmp_path):
    trials = read(tmp_path, "participant,hit\u202e\x1b]0;\np1,1\n", "a\x1b[31m.csv")
    trials = read(tmp_path, "participant,hit\np1,7\n", "a\x1b[31m.csv")
    assert "\x1b" not in ml.trials.problem_list(trials.problems)


@pytest.mark.parametrize("length", [101, 30_000, 130_000])
def test_a_label_of_absurd_length_is_listed_in_a_short_message(tmp_path, length):
    trials = read(tmp_path, "participant,hit\n" + "".join(
        f"{sign * length},1\n" for sign in "abc"))  # fmt: skip
    found = trials.problems[trials.problems["rule"] == "label too long"]
    assert len(found) == 3
    assert trials.problems.map(lambda value: len(str(value))).max().max() <= 500


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("column", ["serial", "participant"])
def test_long_whole_numbers_keep_their_digits(tmp_path, separator, column):
    names = ["participant", "hit", "serial"]
    rows = [dict(zip(names, ["p1", "1", "1"])) | {column: number} for number in BIG]
    text = "\n".join(separator.join(row[name] for name in names) for row in rows)
    trials = read(tmp_path, separator.join(names) + "\n" + text)
    assert trials.table[column].tolist() == BIG


def test_long_whole_numbers_that_are_measurements_are_listed(tmp_path):
    trials = read(tmp_path, f"participant,time\np1,{BIG[0]}\np2,{BIG[1]}\np3,1e300\n")
    found = trials.problems[trials.problems["rule"] == "more digits than a number keeps"]
    assert found["value"].tolist() == [BIG[0]]


def test_they_keep_them_in_a_workbook_and_in_parquet_too(tmp_path):
    table = pd.DataFrame({"participant": ["p1", "p2"], "serial": [int(n) for n in BIG]})
    table.to_parquet(tmp_path / "t.parquet")
    assert ml.read_trials(tmp_path / "t.parquet").table["serial"].tolist() == BIG
    book = openpyxl.Workbook()
    for row in (["participant", "serial"], ["p1", 111], ["p2", 222]):
        book.active.append(row)
    book.save(tmp_path / "t.xlsx")  # the writer itself rounds, so the digits are put in afterwards
    with zipfile.ZipFile(tmp_path / "t.xlsx") as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    with zipfile.ZipFile(tmp_path / "t.xlsx", "w") as archive:
        for name, part in parts.items():
            part = part.replace(b">111<", f">{BIG[0]}<".encode())
            archive.writestr(name, part.replace(b">222<", f">{BIG[1]}<".encode()))
    assert ml.read_trials(tmp_path / "t.xlsx").table["serial"].tolist() == BIG


@pytest.mark.parametrize("separator", [";", "\t"])
@pytest.mark.parametrize("others", [["1,5"] * 9, []], ids=["decimal comma", "alone"])
def test_a_thousands_comma_is_never_taken_for_a_decimal_one_silently(tmp_path, separator, others):
    values = ["1,234", "1,234.5", *others]
    lines = "".join(f"p{i}{separator}{value}\n" for i, value in enumerate(values))
    trials = read(tmp_path, f"participant{separator}time\n{lines}")
    value = trials.table["time"].iloc[0]
    listed = trials.problems[trials.problems["rule"] == "ambiguous number"]
    assert value == 1234 or (np.isnan(value) and listed["value"].tolist() == ["1,234"])


@pytest.mark.parametrize(
    "text",
    ["=1", " =1", "\n=1", "\t=1", "\ufeff=1", "＝1", "　＋1", "－1", "＠x", "@x", "+1", "-1", "\r",
     "\n", "\u200b=1", "\xa0=1", "\u202e=1"],
)  # fmt: skip
def test_a_text_that_a_spreadsheet_would_run_is_kept_from_it(text):
    assert spreadsheet_safe(text) == "'" + text


@pytest.mark.parametrize("text", ["", "12/20", "p1 = first", " p", "–", "a\nb"])
def test_an_ordinary_text_stays(text):
    assert spreadsheet_safe(text) == text


def test_tables_show_every_digit_and_every_sign():
    rows = pd.DataFrame({"n": [int(BIG[0])], "who": ["p\u202e1\x01"]})
    table = Table("t", "a\x01b", (Column("n", kind="count"), Column("who")), rows, ["c\x02d"])
    assert to_csv(table).splitlines()[1] == f"{BIG[0]},p\u202e1\x01"  # raw values
    for text in (to_text(table), to_html(table)):
        assert BIG[0] in text and "\\u202e1\\x01" in text and "\x01" not in text
    sheet = openpyxl.load_workbook(io.BytesIO(to_excel([table]))).active
    assert [cell.value for cell in sheet[3]] == [BIG[0], "p\\u202e1\\x01"]


def test_moments_and_complex_numbers_are_written_as_what_they_are():
    frame = pd.DataFrame(
        {
            "when": pd.to_datetime(["2026-03-02 10:00", None]),
            "z": [1 + 2j, 3 - 1j],
            "n": np.array([2**60 + 1, 5]),
        }
    )
    text = table_bytes(frame).decode()
    assert text.splitlines()[1] == f"2026-03-02T10:00:00,(1+2j),{2**60 + 1}"
    fields = {field["name"]: field["type"] for field in table_schema(frame)["fields"]}
    assert fields == {"when": "datetime", "z": "string", "n": "integer"}
    schema = Schema.from_descriptor(table_schema(frame))
    assert schema.get_field("when").read_cell("2026-03-02T10:00:00")[1] is None
