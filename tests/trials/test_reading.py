"""Reading text files: what is understood, missing or refused, and what keeps its shape."""

import gzip

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.exceptions import ColumnError, FileError
from motorlearn.vocabulary import CHANGE_COLUMNS, PROBLEM_COLUMNS

PLAIN = """participant,group,phase,block,trial,hit,x,y
p01,blocked,pretest,1,1,1,3.5,-4
p01,blocked,pretest,1,2,,,
007,random,pretest,1,1,0,30,1.25
007,random,pretest,1,2,1,-2,0
"""


def written(folder, text, name="trials.csv", encoding="utf-8"):
    file = folder / name
    file.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return file


def rules(trials):
    return list(trials.problems["rule"])


def test_a_clean_file_has_no_problems_and_keeps_its_values(tmp_path):
    trials = ml.read_trials(written(tmp_path, PLAIN), units={"length": "cm"})
    assert rules(trials) == []
    assert list(trials.problems.columns) == list(PROBLEM_COLUMNS)
    assert list(trials.changes.columns) == list(CHANGE_COLUMNS)
    assert len(trials.changes) == 0
    assert trials.units == {"length": "cm"}
    table = trials.table
    assert table["participant"].tolist() == ["p01", "p01", "007", "007"]
    assert table["trial"].tolist() == [1, 2, 1, 2]
    assert table["trial"].dtype == np.int64
    assert table["x"].tolist()[::2] == [3.5, 30.0]
    assert np.isnan(table["hit"][1]) and np.isnan(table["y"][1])
    assert trials.rows.tolist() == [2, 3, 4, 5]


def test_integer_codes_are_mapped_and_the_mapping_is_logged(tmp_path):
    text = "id,stage,n,k\n1,1,20,12\n2,2,20,9\n2,7,20,8\n"
    trials = ml.read_trials(
        written(tmp_path, text),
        columns={"id": "participant", "stage": "phase", "n": "attempts", "k": "hits"},
        levels={"phase": {1: "pretest", 2: "acquisition"}},
    )
    assert trials.table["phase"].tolist() == ["pretest", "acquisition", "7"]
    assert trials.table["participant"].tolist() == ["1", "2", "2"]
    assert trials.table["hits"].tolist() == [12, 9, 8]
    logged = trials.changes.set_index("rule")
    assert logged.loc["column renamed", "before"].tolist() == ["id", "stage", "n", "k"]
    assert logged.loc["level mapped", "after"].tolist() == ["pretest", "acquisition"]
    assert set(rules(trials)) == {"code without a level", "unknown phase"}


def test_levels_apply_to_numbers_too(tmp_path):
    text = "participant,hit\np1,y\np2,n\n"
    trials = ml.read_trials(written(tmp_path, text), levels={"hit": {"y": 1, "n": 0}})
    assert trials.table["hit"].tolist() == [1, 0]


def test_leading_zeros_and_letters_like_missing_words_stay_identifiers(tmp_path):
    text = "participant,hit\n007,1\nNA,0\n1e3,1\n"
    trials = ml.read_trials(written(tmp_path, text))
    assert trials.table["participant"].tolist() == ["007", "NA", "1e3"]
    assert rules(trials) == ["identifier like a missing value"]


def test_leading_zeros_of_further_columns_stay(tmp_path):
    trials = ml.read_trials(written(tmp_path, "participant,hit,school\np1,1,007\np2,0,012\n"))
    assert trials.table["school"].tolist() == ["007", "012"]


@pytest.mark.parametrize(
    ("separator", "decimal"), [(",", "."), (";", ","), (";", "."), ("\t", ","), ("|", ".")]
)
def test_separator_and_decimal_mark_are_found(tmp_path, separator, decimal):
    lines = ["participant,hit,x,note"] + [f"p{i},1,{i}.25,a b" for i in range(1, 9)]
    text = "\n".join(lines).replace(",", separator).replace(".", decimal)
    trials = ml.read_trials(written(tmp_path, text))
    assert trials.table["x"].tolist() == [i + 0.25 for i in range(1, 9)]
    said = ["decimal comma found"] if decimal == "," else []
    assert rules(trials) == ["outcome never varies", *said]


def test_a_mark_that_may_separate_thousands_is_asked_about(tmp_path):
    trials = ml.read_trials(written(tmp_path, "participant;x\np1;1.500\np2;2.500\n"))
    assert rules(trials) == ["decimal mark uncertain"]
    trials = ml.read_trials(written(tmp_path, "participant;x\np1;1.500\np2;2.25\n"))
    assert rules(trials) == []
    trials = ml.read_trials(written(tmp_path, 'participant,x\np1,"1,500"\np2,7.5\n'))
    assert rules(trials) == ["ambiguous number"]
    assert np.isnan(trials.table["x"][0])


@pytest.mark.parametrize(
    ("encoding", "doubted"),
    [
        ("utf-8", False),
        ("utf-8-sig", False),
        ("utf-16", False),
        ("utf-16-le", False),
        ("utf-16-be", False),
        ("utf-32", False),
        ("latin-1", True),
        ("cp1252", True),
    ],
)
def test_encodings(tmp_path, encoding, doubted):
    text = "participant,hit,note\np1,1,très bien à gauche\np2,0,Größe\n"
    trials = ml.read_trials(written(tmp_path, text, encoding=encoding))
    assert trials.table["note"].tolist() == ["très bien à gauche", "Größe"]
    assert ("encoding guessed" in rules(trials)) == doubted
    assert next(iter(trials.table.columns)) == "participant"


def test_gzip_reads_the_same(tmp_path):
    file = written(tmp_path, gzip.compress(PLAIN.encode()), "trials.csv.gz")
    expected = ml.read_trials(written(tmp_path, PLAIN)).table
    pd.testing.assert_frame_equal(ml.read_trials(file).table, expected)


def test_parquet_reads_the_same(tmp_path):
    expected = ml.read_trials(written(tmp_path, PLAIN)).table
    expected.to_parquet(tmp_path / "trials.parquet")
    trials = ml.read_trials(tmp_path / "trials.parquet")
    pd.testing.assert_frame_equal(trials.table, expected)
    assert rules(trials) == []


RFC_4180 = {
    "no line break at the end": ("a,b\r\n1,2", [["1", "2"]]),
    "line breaks of a spreadsheet": ("a,b\r\n1,2\r\n", [["1", "2"]]),
    "quoted fields": ('a,b\r\n"x y","z"\r\n', [["x y", "z"]]),
    "line break inside quotes": ('a,b\r\n"x\r\ny",z\r\n', [["x\r\ny", "z"]]),
    "comma inside quotes": ('a,b\r\n"x,y",z\r\n', [["x,y", "z"]]),
    "doubled quotes": ('a,b\r\n"x""y",z\r\n', [['x"y', "z"]]),
    "spaces belong to a field": ("a,b\r\n x y ,z\r\n", [["x y", "z"]]),
    "old line breaks": ("a,b\r1,2\r3,4\r", [["1", "2"], ["3", "4"]]),
}


@pytest.mark.parametrize("case", RFC_4180)
def test_rfc_4180(tmp_path, case):
    text, expected = RFC_4180[case]
    trials = ml.read_trials(written(tmp_path, text), columns={"a": "participant", "b": "task"})
    assert trials.table[["participant", "task"]].values.tolist() == expected


def test_rows_of_another_length_are_kept_and_reported(tmp_path):
    text = "participant,hit,x\np1,1,2\np2,0\np3,1,4,extra\n\np4,0,5\n"
    trials = ml.read_trials(written(tmp_path, text))
    assert trials.table["participant"].tolist() == ["p1", "p2", "p3", "p4"]
    assert trials.table["column 4"].tolist()[2] == "extra"
    found = trials.problems[trials.problems["rule"] == "row with another number of fields"]
    assert found["row"].tolist() == [3, 4]
    assert trials.set_aside[["row", "reason"]].values.tolist() == [[5, "blank row"]]
    assert trials.rows.tolist() == [2, 3, 4, 6]


def test_title_rows_above_the_heading_are_passed_over(tmp_path):
    text = "Ring push study,,\nWeek 2,,\nparticipant,hits,attempts\np1,12,20\np2,9,20\n"
    trials = ml.read_trials(written(tmp_path, text))
    assert trials.table["hits"].tolist() == [12, 9]
    assert trials.rows.tolist() == [4, 5]


def test_two_heading_rows_are_joined(tmp_path):
    text = ",,week 2,,week 4,\nparticipant,group,hits,of,hits,of\np1,a,12,20,14,20\n"
    trials = ml.read_trials(written(tmp_path, text))
    assert list(trials.table.columns)[2:] == [
        "week 2 hits",
        "week 2 of",
        "week 4 hits",
        "week 4 of",
    ]
    assert trials.table["week 4 hits"].tolist() == [14]


def test_headings_are_read_whatever_their_case_and_unit(tmp_path):
    text = "Participant,Phase,X (cm),Radial error [cm]\np1,pretest,3,5\np2,pretest,4,6\n"
    trials = ml.read_trials(written(tmp_path, text))
    assert list(trials.table.columns) == ["participant", "phase", "x", "radial_error"]
    assert trials.units == {"x": "cm", "radial_error": "cm"}
    assert trials.changes["after"].tolist() == ["participant", "phase", "x", "radial_error"]


def test_a_unit_that_differs_is_asked_not_converted(tmp_path):
    text = "participant,x (m)\np1,0.3\np2,0.4\n"
    trials = ml.read_trials(written(tmp_path, text), units={"length": "cm"})
    assert trials.table["x"].tolist() == [0.3, 0.4]
    assert rules(trials) == ["unit differs from the declared one"]


def test_trailing_totals_and_repeated_headings_are_set_aside(tmp_path):
    text = (
        "participant,group,hits,attempts\np1,a,12,20\nparticipant,group,hits,attempts\n"
        "SD,b,9,20\np2,b,10,20\nMean,,10.3,20\nSD,,1.5,0\n\n"
    )
    trials = ml.read_trials(written(tmp_path, text))
    assert trials.table["participant"].tolist() == ["p1", "SD", "p2"]
    aside = trials.set_aside.set_index("row")["reason"].to_dict()
    assert aside == {3: "heading repeated", 6: "row of totals", 7: "row of totals"}


REFUSED = {
    "missing": (None, FileError, "there is no such file"),
    "empty": (b"", FileError, "empty"),
    "only blanks": (b" \r\n \n", FileError, "empty"),
    "not text": (bytes(range(256)) * 20, FileError, "not text"),
    "no rows": (b"participant,hit\n", FileError, "no rows"),
    "unknown separator": (b"participant!hit\np1!1\n", ColumnError, "only one column"),
    "no participant": (b"id,hit\np1,1\n", ColumnError, "columns={'id': 'participant'}"),
    "twice the same": (b"participant,hit,Hit\np1,1,0\n", ColumnError, "more than one column"),
    "damaged gzip": (b"\x1f\x8b\x08\x00garbage", FileError, "damaged"),
    "damaged workbook": (b"PK\x03\x04garbage", FileError, "damaged"),
    "damaged old workbook": (b"\xd0\xcf\x11\xe0garbage", FileError, "cannot be read"),
    "damaged Parquet": (b"PAR1garbage", FileError, "damaged"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_read_is_refused_with_its_reason(tmp_path, case):
    content, kind, words = REFUSED[case]
    file = tmp_path / "trials.csv" if content is None else written(tmp_path, content)
    with pytest.raises(kind) as caught:
        ml.read_trials(file)
    assert words in str(caught.value)
    assert str(caught.value).endswith(".")


def test_a_column_named_in_columns_must_be_there(tmp_path):
    with pytest.raises(ColumnError, match="did you mean 'participant'"):
        ml.read_trials(written(tmp_path, PLAIN), columns={"participnat": "participant"})
    with pytest.raises(ColumnError, match="levels"):
        ml.read_trials(written(tmp_path, PLAIN), levels={"phases": {1: "pretest"}})


def test_a_misspelt_file_name_gets_a_suggestion(tmp_path):
    written(tmp_path, PLAIN)
    with pytest.raises(FileError, match=r"did you mean 'trials\.csv'"):
        ml.read_trials(tmp_path / "Trials.csv")


def test_a_hundred_thousand_rows_keep_every_row_and_value(tmp_path):
    rng = np.random.default_rng(4)
    n = 100_000
    table = pd.DataFrame(
        {
            "participant": [f"p{i // 100:04d}" for i in range(n)],
            "phase": "acquisition",
            "trial": np.arange(n) % 100 + 1,
            "x": rng.normal(0, 15, n),
        }
    )
    table.to_csv(tmp_path / "t.csv", index=False)
    trials = ml.read_trials(tmp_path / "t.csv")
    pd.testing.assert_frame_equal(trials.table, table, check_dtype=False)
    assert rules(trials) == []
