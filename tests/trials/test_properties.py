"""Whatever a file holds: every row is in the table or in the list of what was set aside."""

import csv
import io
import string

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import motorlearn as ml
from motorlearn.design import ImportRecipe
from motorlearn.exceptions import FileError, MotorlearnError
from motorlearn.trials import import_trials, table_bytes
from motorlearn.trials.reading.values import read_number, to_numbers

QUIET = settings(
    max_examples=60,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
HEADING = ["participant", "group", "hits", "attempts", "note"]
TEXT = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), max_size=12)
CELL = st.one_of(
    TEXT,
    st.sampled_from(["", " ", "p1", "P01", "Mean", "12/20", "60 %", "1,5", "1.5", "abs", "=1+1"]),
    st.sampled_from(['say "x"', "a;b", "a,b", "two\nlines", "\u00a01", "participant", "hits"]),
    st.integers(-5, 30).map(str),
)
ROWS = st.lists(st.lists(CELL, min_size=0, max_size=6), min_size=1, max_size=25)


def written(rows, separator):
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, delimiter=separator, lineterminator="\r\n")
    writer.writerows([HEADING, *rows])
    return buffer.getvalue().encode("utf-8")


@QUIET
@given(rows=ROWS, separator=st.sampled_from([",", ";", "\t"]))
def test_every_row_is_in_the_table_or_set_aside_never_both_never_neither(tmp_path, rows, separator):
    file = tmp_path / "t.csv"
    file.write_bytes(written(rows, separator))
    expected = len(list(csv.reader(io.StringIO(file.read_text("utf-8"), newline="")))) - 1
    recipe = ImportRecipe(file="t.csv", separator=separator, heading_row=1, decimal=".")
    try:
        trials = import_trials(file, recipe.model_copy(update={"mode": "lenient"}))
    except FileError as problem:
        assert "no rows" in str(problem)
        return
    inside, aside = trials.rows.tolist(), trials.set_aside["row"].tolist()
    last = max([*inside, *aside])
    assert sorted(inside + aside) == list(range(2, last + 1))
    assert len(inside) == len(trials.table)
    assert last <= expected + 1
    assert not any(any(cell.strip() for cell in row) for row in rows[last - 1 :])


@QUIET
@given(rows=ROWS)
def test_reading_raises_nothing_but_errors_of_ours_and_changes_are_logged(tmp_path, rows):
    file = tmp_path / "t.csv"
    file.write_bytes(written(rows, ","))
    try:
        trials = ml.read_trials(file)
    except MotorlearnError:
        return
    raw = list(csv.reader(io.StringIO(file.read_bytes().decode("utf-8"), newline="")))
    logged = set(zip(trials.changes["row"], trials.changes["column"], strict=True))
    for row, value in zip(trials.rows, trials.table.get("hits", []), strict=False):
        cells = raw[row - 1]
        text = cells[2].strip() if len(cells) > 2 else ""
        if np.isnan(value) and text:
            assert (row, "hits") in logged


@QUIET
@given(
    people=st.lists(
        st.text(string.ascii_letters + string.digits, min_size=1, max_size=8),
        min_size=1,
        max_size=20,
    ),
    data=st.data(),
)
def test_what_is_written_reads_back(tmp_path, people, data):
    size = len(people)
    number = st.floats(allow_nan=True, allow_infinity=False)
    table = pd.DataFrame(
        {
            "participant": people,
            "trial": data.draw(st.lists(st.integers(1, 10**6), min_size=size, max_size=size)),
            "x": data.draw(st.lists(number, min_size=size, max_size=size)),
        }
    )
    (tmp_path / "t.csv").write_bytes(table_bytes(table))
    back = ml.read_trials(tmp_path / "t.csv").table
    assert back["participant"].tolist() == table["participant"].tolist()
    np.testing.assert_array_equal(back["trial"], table["trial"])
    np.testing.assert_array_equal(back["x"], table["x"])


@given(value=st.floats(allow_nan=False, allow_infinity=False, width=32), mark=st.sampled_from(",."))
def test_a_number_is_read_whatever_its_decimal_mark(value, mark):
    text = f"{value:.4f}".replace(".", mark)
    read, rule = read_number(text, mark)
    assert (read, rule) == (float(f"{value:.4f}"), "number stored as text")


@given(text=st.text(max_size=30), mark=st.sampled_from(",."))
def test_any_text_is_read_or_named(text, mark):
    value, rule = read_number(text, mark)
    assert rule
    assert np.isnan(value) or np.isfinite(value)


@pytest.mark.parametrize(
    ("text", "mark", "value"),
    [
        ("1,234.5", ".", 1234.5),
        ("1.234,5", ",", 1234.5),
        ("-12'345,25", ",", -12345.25),
        ("1.234.567,5", ",", 1234567.5),
        ("1 234,5", ",", 1234.5),
    ],
)
def test_a_number_with_both_marks_is_read_without_the_separator(text, mark, value):
    assert read_number(text, mark) == (value, "thousands separator")


def test_a_number_beyond_all_limits_is_missing_and_named():
    values, findings = to_numbers(pa.chunked_array([["1.5", "1e999", "-1e400", ""]]))
    np.testing.assert_array_equal(values, [1.5, np.nan, np.nan, np.nan])
    assert [(found.rule, found.texts) for found in findings] == [
        ("impossible value", ("1e999", "-1e400"))
    ]
