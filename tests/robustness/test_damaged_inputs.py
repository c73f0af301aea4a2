"""Damaged files that are read back: an error of ours that names the file, or a sound reading."""

import os

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.design import design_from_mapping
from motorlearn.exceptions import FileError, InputError, MotorlearnError
from motorlearn.plan import Answers, write_plan
from motorlearn.report import audit_study, read_page
from motorlearn.results import Result

PLAN = {
    "study": {"title": "Ring push"},
    "groups": [{"name": name, "schedule": name, "size": 5} for name in ("blocked", "random")],
    "tasks": [{"name": "straight"}, {"name": "bank"}],
    "practice": [{"session": 1, "day": 0, "trials_per_block": 6}],
    "tests": [
        {"phase": "pretest", "trials": 6},
        {"phase": "retention", "trials": 6, "interval_days": 1},
    ],
    "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
}
DAMAGES = 150


def damaged(content: bytes, seed: int) -> bytes:
    """Cut, overwrite or repeat a stretch of a file at a place that the seed chooses."""
    rng = np.random.default_rng(seed)
    a, b = np.sort(rng.integers(0, len(content), 2))
    match seed % 3:
        case 0:
            return content[:a]
        case 1:
            return content[:a] + rng.bytes(int(min(b - a, 40))) + content[a + min(b - a, 40) :]
    return content[:b] + content[a:b] + content[b:]


def faults(path, content, read) -> list[str]:
    """Errors of ours that say too little; any other error is raised."""
    found = []
    for seed in range(DAMAGES):
        path.write_bytes(damaged(content, seed))
        try:
            read(path)
        except MotorlearnError as problem:
            if len(str(problem)) < 20:
                found.append(f"{seed}: {problem}")
    return found


@pytest.fixture(scope="module")
def study():
    return ml.simulate_study(design_from_mapping(PLAN), seed=1, missing=False)


def test_a_kept_page(study, tmp_path):
    content = audit_study(study).to_json().encode()
    assert faults(tmp_path / "page.json", content, read_page) == []
    (tmp_path / "page.json").write_text("[]")
    with pytest.raises(FileError, match=r"page\.json"):
        read_page(tmp_path / "page.json")


def test_a_stored_result(study, tmp_path):
    made = ml.compare_phases(study.trials.table, "radial_error", group="group", baseline="pretest")
    content = made.to_json().encode()

    def read(path) -> Result:
        return type(made).from_json(path.read_bytes().decode("utf-8", "replace"))

    assert faults(tmp_path / "result.json", content, read) == []
    with pytest.raises(InputError, match="damaged"):
        type(made).from_json(made.to_json()[:-9])


def test_a_plan(tmp_path):
    plan = write_plan(tmp_path / "study", Answers(size=4))
    assert faults(plan, plan.read_bytes(), ml.read_design) == []


def test_rows_of_learners(tmp_path):
    trial = np.tile(np.arange(1, 13), 30)
    error = 20 + 12 * np.exp(-0.2 * trial) + np.sin(7.0 * np.arange(360))
    rows = pd.DataFrame({"participant": np.repeat(np.arange(30), 12), "trial": trial})
    path = tmp_path / "rows.parquet"
    rows.assign(error=error).to_parquet(path)

    def read(path):
        ml.fit_curves(path, "error", practice="trial", by="participant", forms=["exponential"])

    assert faults(path, path.read_bytes(), read) == []


@pytest.mark.parametrize("way", ["plain", "round about", "link", "hard link", "folder"])
def test_fits_do_not_take_the_place_of_what_they_are_made_from(tmp_path, way):
    rows = pd.DataFrame({"participant": "p1", "trial": np.arange(1, 13)})
    data = tmp_path / "data"
    data.mkdir()
    rows.assign(error=20.0 + np.sin(rows["trial"])).to_parquet(data / "rows.parquet")
    before = (data / "rows.parquet").read_bytes()
    table, target = data / "rows.parquet", tmp_path / "other"
    match way:
        case "plain":
            target = table
        case "round about":
            target = data / ".." / "data" / "rows.parquet"
        case "folder":
            table, target = data, data / "fits.parquet"
        case _:
            (os.symlink if way == "link" else os.link)(table, target)
    how = {"practice": "trial", "by": "participant"}
    with pytest.raises(FileError, match="take the place of what is read"):
        ml.fit_curves(table, "error", **how, into=target)
    (tmp_path / "thesis.docx").write_text("years of work")
    with pytest.raises(FileError, match="not made by this command"):
        ml.fit_curves(table, "error", **how, into=tmp_path / "thesis.docx")
    assert (data / "rows.parquet").read_bytes() == before
    assert (tmp_path / "thesis.docx").read_text() == "years of work"
    assert [entry.name for entry in data.iterdir()] == ["rows.parquet"]


@pytest.mark.parametrize("column", ["x", "radial_error"])
@pytest.mark.parametrize("value", [1e308, -1e308, 1e200])
def test_a_vast_number_is_refused_and_warns_of_nothing(study, column, value):
    table = study.trials.table.copy()
    table.loc[3, column] = value
    with pytest.raises(InputError, match="too large"):
        ml.measures.score_trials(table, by=["participant", "phase"])


def test_a_notebook_that_is_none(tmp_path):
    (tmp_path / "01.ipynb").write_text("{}")
    with pytest.raises(FileError, match=r"not a notebook .*01\.ipynb"):
        write_plan(tmp_path / "study", Answers(), notebooks=[tmp_path / "01.ipynb"])
    assert not (tmp_path / "study").exists()
