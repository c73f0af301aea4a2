"""Rows are made by name and the columns of a result are declared once."""

import math

import numpy as np
import pandas as pd
import pytest

from motorlearn.compare import comparison, participants
from motorlearn.exceptions import ColumnError
from motorlearn.rows import Schema
from motorlearn.tables import Column

ERRORS = Schema(
    (
        Column("group"),
        Column("n", kind="count"),
        Column("mean", "mean error", "significant", unit="mm", decimals=3),
        Column("p", kind="p"),
        Column("kept", kind="flag"),
    ),
    shown=("mean", "group"),
)
DECLARED = {
    name: value
    for module in (comparison, participants)
    for name, value in vars(module).items()
    if isinstance(value, Schema)
}


def test_what_is_not_named_is_filled_by_kind():
    row = ERRORS.row(mean=31.5)
    assert (row["group"], row["n"], row["mean"], row["kept"]) == ("", 0, 31.5, False)
    assert math.isnan(row["p"])
    assert type(row["n"]) is int and type(row["kept"]) is bool


def test_an_unknown_name_is_refused_and_the_known_ones_are_told():
    with pytest.raises(ColumnError, match=r"'meen'.*group, n, mean, p, kept") as caught:
        ERRORS.row(meen=31.5, group="random")
    assert caught.value.values == ("meen",)
    with pytest.raises(ColumnError, match="sd"):
        ERRORS.frame([ERRORS.row() | {"sd": 2.0}])
    with pytest.raises(ColumnError, match="phase"):
        ERRORS.renamed(phase="block")


def test_a_declaration_must_hold_together():
    with pytest.raises(ColumnError, match="twice"):
        Schema((Column("group"), Column("group", kind="count")))
    with pytest.raises(ColumnError, match="sd"):
        Schema((Column("group"),), shown=("sd",))


def test_order_is_that_of_the_declaration_however_a_row_was_named():
    frame = ERRORS.frame([ERRORS.row(kept=True, p=0.04, group="random", n=12), {"p": 0.5, "n": 3}])
    assert tuple(ERRORS.row(kept=True, group="random")) == ERRORS.names == tuple(frame)
    assert frame["n"].tolist() == [12, 3]
    assert frame["group"].tolist() == ["random", ""]
    assert frame.index.tolist() == [0, 1]


def test_an_empty_frame_has_the_types_of_a_full_one():
    types = {"n": np.int64, "mean": np.float64, "p": np.float64, "kept": np.bool_}
    for frame in (ERRORS.frame(), ERRORS.frame([ERRORS.row(group="random", mean=31, p=1)])):
        assert frame[list(types)].dtypes.to_dict() == types
    assert len(ERRORS.frame()) == 0
    assert ERRORS.frame()["group"].dtype == object


def test_labels_are_kept_as_they_are():
    assert pd.api.types.is_integer_dtype(ERRORS.frame([{"group": 1}, {"group": 2}])["group"])
    beside = ERRORS.frame([{"group": None}, {"group": 2}])["group"]
    assert beside.tolist() == [None, 2] and type(beside[1]) is int


def test_a_table_shows_what_is_shown_in_its_own_order():
    frame = ERRORS.frame([ERRORS.row(group="random", mean=31.512)])
    table = ERRORS.table("errors", "Errors", frame, ["Of twelve people."])
    assert table.headings == ["mean error (mm)", "group"]
    assert table.cells() == [["31.5", "random"]]
    assert tuple(table.notes) == ("Of twelve people.",)
    assert ERRORS.renamed(group="team").shown == ("mean", "team")
    assert len(Schema(ERRORS.columns).table("all", "All", frame).columns) == 5


@pytest.mark.parametrize("name", DECLARED)
def test_an_empty_row_of_every_comparison_holds_no_number(name):
    schema = DECLARED[name]
    row = schema.frame([schema.row()]).iloc[0]
    assert tuple(row.index) == schema.names
    for column in schema.columns:
        empty = {"text": "", "count": 0, "flag": False}.get(column.kind)
        assert math.isnan(row[column.name]) if empty is None else row[column.name] == empty


def test_the_comparisons_are_declared():
    assert {"CONTRAST", "MEAN", "ADJUSTED", "OMNIBUS", "ANOVA", "INTERACTION", "PAIRED"} < set(
        DECLARED
    )
