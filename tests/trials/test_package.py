"""The data package that is written: outside validation, units, sums, cells that stay text."""

import csv
import hashlib
import io
import json

import numpy as np
import pandas as pd
import pytest
from frictionless import Package

from motorlearn.exceptions import InputError
from motorlearn.trials import data_package, table_bytes, table_schema


@pytest.fixture
def trials():
    return pd.DataFrame(
        {
            "participant": ["p01", "p01", "007"],
            "group": ["blocked", "blocked", "random"],
            "trial": [1, 2, 1],
            "hit": [1.0, np.nan, 0.0],
            "x": [-3.5, np.nan, 0.25],
            "note": ["fine", 'said "ouch", twice', "=1+1"],
        }
    )


def package_in(folder, frames, **options):
    for name, frame in frames.items():
        (folder / f"{name}.csv").write_bytes(table_bytes(frame))
    descriptor = data_package(frames, name="ring-push", folder=folder, **options)
    (folder / "datapackage.json").write_text(json.dumps(descriptor), encoding="utf-8")
    return descriptor


def test_frictionless_accepts_the_package(tmp_path, trials):
    people = pd.DataFrame({"participant": ["p01", "007"], "group": ["blocked", "random"]})
    package_in(
        tmp_path,
        {"trials": trials, "participants": people},
        title="Ring push",
        units={"length": "cm"},
        licence="CC0-1.0",
        created="2026-03-02T12:00:00Z",
    )
    report = Package(str(tmp_path / "datapackage.json")).validate()
    assert report.valid, report.flatten(["message"])
    assert len(report.tasks) == 2


def test_frictionless_rejects_a_value_that_breaks_the_schema(tmp_path, trials):
    descriptor = package_in(tmp_path, {"trials": trials})
    spoiled = (tmp_path / "trials.csv").read_text().replace("p01,blocked,1,1", "p01,blocked,1,7")
    (tmp_path / "trials.csv").write_text(spoiled)
    for key in ("bytes", "hash"):
        del descriptor["resources"][0][key]
    (tmp_path / "datapackage.json").write_text(json.dumps(descriptor))
    report = Package(str(tmp_path / "datapackage.json")).validate()
    assert "constraint-error" in [row[0] for row in report.flatten(["type"])]


def test_sums_and_sizes_are_those_of_the_files(tmp_path, trials):
    resource = package_in(tmp_path, {"trials": trials})["resources"][0]
    content = (tmp_path / "trials.csv").read_bytes()
    assert resource["bytes"] == len(content)
    assert resource["hash"] == "sha256:" + hashlib.sha256(content).hexdigest()


def test_units_follow_the_quantity_or_the_column(trials):
    fields = table_schema(trials, units={"length": "cm", "note": "words"})["fields"]
    assert {f["name"]: f.get("unit") for f in fields}["x"] == "cm"
    assert fields[-1]["unit"] == "words"
    assert "unit" not in fields[3]


def test_written_table_reads_back_and_is_never_run_by_a_spreadsheet(trials):
    rows = list(csv.reader(io.StringIO(table_bytes(trials).decode("utf-8"), newline="")))
    assert rows[1] == ["p01", "blocked", "1", "1", "-3.5", "fine"]
    assert rows[2] == ["p01", "blocked", "2", "", "", 'said "ouch", twice']
    assert rows[3] == ["007", "random", "1", "0", "0.25", "'=1+1"]


def test_a_name_outside_the_standard_is_refused(trials):
    with pytest.raises(InputError, match="Ring Push"):
        data_package({"trials": trials}, name="Ring Push")


def test_cells_are_written_as_pandas_writes_them():
    frame = pd.DataFrame(
        {
            "speed": [1.0, np.nan, 1e-300],
            "short": np.array([0.1, 2, np.nan], dtype="float32"),
            "far": [np.inf, -np.inf, 0.1 + 0.2],
            "mass": pd.array([1.5, None, 2], dtype="Float64"),
            "count": pd.array([1, None, 3], dtype="Int64"),
            "remark": ["a,b", 'said "x"\nand went', None],
        }
    )
    assert table_bytes(frame).decode() == frame.to_csv(index=False, lineterminator="\r\n")
    alone = frame[["remark"]].iloc[2:]
    assert table_bytes(alone).decode() == alone.to_csv(index=False, lineterminator="\r\n")
