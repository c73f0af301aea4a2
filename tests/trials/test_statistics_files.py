"""Files of SPSS and Stata read as the same table as a text file, labels and missing codes named."""

import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.exceptions import FileError
from motorlearn.trials.containers import statistics
from motorlearn.trials.containers.opening import open_grid

pyreadstat = pytest.importorskip("pyreadstat")

TRIALS = pd.DataFrame(
    {
        "participant": ["P01", "P01", "P02", "P02"],
        "group": [1.0, 1.0, 2.0, 2.0],
        "phase": [1.0, 2.0, 1.0, 2.0],
        "trial": [1.0, 1.0, 1.0, 1.0],
        "hit": [0.0, 1.0, 1.0, 0.0],
        "error": [0.1, 12.0, 99.0, None],
    }
)
LABELS = {
    "group": {1: "blocked", 2: "random"},
    "phase": {1: "pretest", 2: "retention"},
    "hit": {0: "missed", 1: "hit"},
}
EXPECTED = {
    "group": ["blocked", "blocked", "random", "random"],
    "phase": ["pretest", "retention", "pretest", "retention"],
    "hit": [0, 1, 1, 0],
}


@pytest.fixture(params=[".sav", ".dta"])
def path(request, tmp_path):
    file = tmp_path / f"trials{request.param}"
    if request.param == ".sav":
        missing = {"error": [99]}
        pyreadstat.write_sav(
            TRIALS, str(file), variable_value_labels=LABELS, missing_ranges=missing
        )
    else:
        table = TRIALS.replace({"error": {99.0: None}})
        pyreadstat.write_dta(table, str(file), variable_value_labels=LABELS)
    return file


def test_the_table_is_that_of_the_labels(path):
    table = ml.read_trials(path).table
    for name, values in EXPECTED.items():
        assert table[name].astype(type(values[0])).tolist() == values
    assert table["error"].isna().tolist() == [False, False, True, True]
    assert table["error"][:2].tolist() == [0.1, 12.0]


def test_what_was_done_is_in_the_evidence(path):
    evidence = open_grid(path).evidence
    assert evidence["labels of group"] == "1 = blocked, 2 = random"
    assert "labels of hit" not in evidence
    if path.suffix == ".sav":
        assert evidence["declared missing in error"] == "99"


def test_a_rating_with_labels_stays_a_number(tmp_path):
    file = tmp_path / "ratings.sav"
    pyreadstat.write_sav(
        pd.DataFrame({"score": [1.0, 2.0, 3.0]}),
        str(file),
        variable_value_labels={"score": {1: "poor", 2: "fair", 3: "good"}},
        variable_measure={"score": "ordinal"},
    )
    assert open_grid(file).columns[0].to_pylist() == ["score", "1", "2", "3"]


def test_a_damaged_file_is_refused_in_words(path):
    path.write_bytes(path.read_bytes()[:40])
    with pytest.raises(FileError, match="damaged"):
        ml.read_trials(path)


def test_without_the_extra_the_remedy_is_named(path, monkeypatch):
    monkeypatch.setattr(statistics, "pyreadstat", None)
    with pytest.raises(FileError, match="pip install pyreadstat"):
        ml.read_trials(path)


def test_an_absent_file_is_absent(tmp_path):
    with pytest.raises(FileError, match="nothing"):
        ml.read_trials(tmp_path / "nothing.sav")
