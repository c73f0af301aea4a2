"""The notebooks that come with a new plan run on studies of several kinds, from top to bottom."""

import contextlib
import io
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from field_days import fill_tests, programme_folder

import motorlearn as ml
from motorlearn.plan import Answers, write_plan
from motorlearn.trials import table_bytes

BOOKS = sorted((Path(__file__).parents[2] / "notebooks" / "own").glob("0*.ipynb"))
STORY = ("ring-push", "blocked group", "three groups")


def hits_of_one_group(folder):
    made = programme_folder(folder, size=6)
    fill_tests(made)
    return made


def before_any_data(folder):
    return programme_folder(folder, size=6)


def planned(folder, answers, outcome):
    """A study of a new plan whose trials get an outcome; only tests where nothing is said."""
    plan = write_plan(folder, answers)
    people = pd.DataFrame(
        {
            "participant": [f"P{i:02d}" for i in range(12)],
            "group": [answers.groups[i % len(answers.groups)] for i in range(12)],
        }
    )
    rows = ml.plan.planned_trials(ml.read_design(plan), people, seed=1)
    rng = np.random.default_rng(2)
    kept = rows[["participant", "phase", "session", "block", "trial"]]
    if outcome == "hit":
        values = (rng.random(len(rows)) < 0.4).astype(int)
    else:
        values = rng.normal(9, 1, len(rows)).round(2)
    (folder / "trials.csv").write_bytes(table_bytes(kept.assign(**{outcome: values})))
    (folder / "participants.csv").write_bytes(table_bytes(people))
    return folder


def hits_of_two_groups(folder):
    answers = Answers(groups=("a", "b"), tasks=("push",), size=6, test_trials=20, outcome="hit")
    return planned(folder, answers, "hit")


def timed_task(folder):
    answers = Answers(groups=("a", "b"), tasks=("lap",), size=6, test_trials=6, outcome="time",
                      unit="s", blocks=2, trials=6)  # fmt: skip
    return planned(folder, answers, "time")


STUDIES = (before_any_data, hits_of_one_group, hits_of_two_groups, timed_task)


@pytest.fixture(scope="module", params=STUDIES, ids=lambda make: make.__name__)
def folder(request, tmp_path_factory):
    return request.param(tmp_path_factory.mktemp("own") / "study")


@pytest.mark.parametrize("book", BOOKS, ids=lambda book: book.stem)
def test_a_notebook_runs_on_a_study_of_ones_own(folder, book):
    cells = json.loads(book.read_text(encoding="utf-8"))["cells"]
    space, printed = {"__name__": "notebook"}, io.StringIO()
    for cell in cells:
        code = "".join(cell["source"])
        if cell["cell_type"] != "code":
            continue
        if "parameters" in cell["metadata"].get("tags", ()):
            code = f"study_folder = {str(folder)!r}"
        with contextlib.redirect_stdout(printed):
            exec(compile(code, book.name, "exec"), space)
    assert printed.getvalue().strip()


@pytest.mark.parametrize("book", BOOKS, ids=lambda book: book.stem)
def test_a_notebook_for_any_study_tells_no_story_of_another(book):
    cells = json.loads(book.read_text(encoding="utf-8"))["cells"]
    said = " ".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown")
    assert not [word for word in STORY if word in said]


def test_there_are_notebooks():
    assert [book.stem for book in BOOKS] == ["01_plan", "02_check", "03_score", "04_practice"]
