"""Writers of a table: hand answers, escaping, RFC 4180."""

import csv
import io

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motorlearn.exceptions import ColumnError
from motorlearn.tables import Column, Table, to_csv, to_html, to_markdown, to_text


def table_of(values):
    return Table("t", "Title", (Column("a", "A"), Column("b", "B", "number", "cm", 1)),
                 pd.DataFrame({"a": values, "b": range(len(values))}))  # fmt: skip


def test_headings_carry_units_and_numbers_their_decimals():
    assert table_of(["x"]).headings == ["A", "B (cm)"]
    assert table_of(["x"]).cells() == [["x", "0.0"]]
    assert table_of(["x"]).cells(",") == [["x", "0,0"]]


def test_a_column_without_values_is_named():
    with pytest.raises(ColumnError, match="'c'"):
        Table("t", "T", (Column("c"),), pd.DataFrame({"a": [1]}))


@given(
    st.lists(
        st.text(alphabet=st.characters(codec="utf-8", exclude_characters="\r\x00")), min_size=1
    )
)
def test_csv_reads_back_and_no_cell_starts_a_formula(values):
    rows = list(csv.reader(io.StringIO(to_csv(table_of(values)), newline="")))
    assert [row[0].removeprefix("'") for row in rows[1:]] == [v.removeprefix("'") for v in values]
    assert not any(cell[:1] in tuple("=+-@\t") and cell for row in rows for cell in row)


def test_csv_holds_raw_numbers_and_leaves_a_gap_empty():
    columns = (Column("a", "A", "number", "", 1), Column("p", kind="p"), Column("n", kind="df"))
    rows = pd.DataFrame({"a": [-0.12345, None], "p": [1e-7, 0.5], "n": [3.0, 4.0]})
    table = Table("t", "T", columns, rows)
    assert to_csv(table).splitlines() == ["A,p,n", "-0.12345,1e-07,3", ",0.5,4"]
    assert to_csv(table, decimal=",").splitlines()[1] == "-0,12345;1e-07;3"
    assert table.cells()[0] == ["−0.1", "< .001", "3"]


def test_html_escapes_what_it_is_given():
    page = to_html(table_of(["<script>alert(1)</script>"]))
    assert "<script>" not in page
    assert "&lt;script&gt;" in page


def test_markdown_keeps_a_pipe_inside_its_cell():
    assert "a\\|b" in to_markdown(table_of(["a|b"]))


def test_text_is_aligned():
    lines = to_text(table_of(["x", "longer"])).splitlines()
    assert lines[2].index("B (cm)") + len("B (cm)") == len(lines[4]) == len(lines[5])
