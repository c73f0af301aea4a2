"""Class data sets: reproducible, different for every student, with a key that is right."""

import filecmp
import math

import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.design import design_from_mapping
from motorlearn.exceptions import DesignError, FileError, InputError
from motorlearn.teaching import AnswerKey, class_data_sets, student_study

PLAN = """
[study]
title = "Ring push, small"
[units]
length = "cm"
[target]
radius = 20
[[groups]]
name = "blocked"
schedule = "blocked"
size = 8
[[groups]]
name = "random"
schedule = "random"
size = 8
[[tasks]]
name = "straight"
[[tasks]]
name = "lob"
[[practice]]
session = 1
day = 0
blocks = 2
trials_per_block = 12
[[tests]]
phase = "pretest"
day = 0
trials = 8
[[tests]]
phase = "retention"
day = 7
trials = 8
interval_days = 7
[[outcomes]]
name = "radial_error"
unit = "cm"
better = "lower"
[primary]
outcome = "radial_error"
phase = "retention"
groups = ["random", "blocked"]
baseline = "pretest"
effect = "ratio"
[files]
participants = "participants.csv"
"""


@pytest.fixture
def plan(tmp_path):
    file = tmp_path / "study.toml"
    file.write_text(PLAN, encoding="utf-8")
    return file


def issue(plan, name="class", students=6, seed=5):
    home = plan.parent
    return class_data_sets(
        plan, home / name, home / f"{name}-key", students=students, class_seed=seed
    )


def test_the_same_class_seed_gives_the_same_files_and_key(plan):
    first, again = issue(plan, "one"), issue(plan, "two")
    pd.testing.assert_frame_equal(first.key, again.key)
    for student in range(1, 7):
        folder = f"student-{student:02d}/trials.csv"
        assert filecmp.cmp(plan.parent / "one" / folder, plan.parent / "two" / folder, False)


def test_every_student_and_every_class_gets_other_numbers(plan):
    key, other = issue(plan, "one").key, issue(plan, "two", seed=6).key
    assert key["estimate"].nunique() == len(key)
    assert set(key["seed"]).isdisjoint(other["seed"])


def test_a_larger_class_keeps_the_first_students(plan):
    small, large = issue(plan, "one", 3).key, issue(plan, "two", 6).key
    pd.testing.assert_frame_equal(small, large.head(3))


def test_the_key_is_what_a_student_finds_in_the_files(plan):
    key = issue(plan).key.set_index("student")
    study = ml.read_study(plan.parent / "class" / "student-04")
    assert not (study.problems["severity"] == "error").any()
    found = ml.compare_phases(
        study.trials.table,
        "radial_error",
        group="group",
        baseline="pretest",
        reference="blocked",
        effect="ratio",
    ).contrasts.query("phase == 'retention' and adjusted")
    assert found["estimate"].item() == pytest.approx(key.loc[4, "estimate"])
    assert found["p"].item() == pytest.approx(key.loc[4, "p"])


def test_true_effects_are_those_of_the_presets(plan):
    key = issue(plan, students=12).key
    truth = key.groupby("preset")["true_effect"].unique().str[0]
    expected = {"laboratory": math.exp(-0.13), "applied": math.exp(-0.05), "null": 1.0}
    assert {name: pytest.approx(value) for name, value in truth.items()} == {
        name: expected[name] for name in truth.index
    }
    assert len(truth) == 3


def test_nothing_of_the_key_lies_in_the_students_folders(plan):
    issue(plan)
    found = {path.name for path in (plan.parent / "class").rglob("*") if path.is_file()}
    assert found == {"study.toml", "trials.csv", "participants.csv", ".motorlearn.json"}
    columns = pd.read_csv(plan.parent / "class" / "student-01" / "participants.csv").columns
    assert not {"gain", "rate", "preset"} & set(columns)


def test_the_key_survives_json(plan):
    key = issue(plan)
    stored = (plan.parent / "class-key" / "answer_key.json").read_text(encoding="utf-8")
    pd.testing.assert_frame_equal(AnswerKey.from_json(stored).key, key.key)


def test_presets_are_drawn_about_equally_often(plan):
    design = ml.read_design(plan)
    presets = [student_study(design, k, class_seed=1).preset for k in range(1, 61)]
    assert min(pd.Series(presets).value_counts().reindex(["laboratory", "applied", "null"])) >= 10


def test_refusals_name_the_fault(plan):
    home = plan.parent
    with pytest.raises(InputError, match="key folder elsewhere"):
        class_data_sets(plan, home / "c", home / "c" / "key", students=2, class_seed=1)
    with pytest.raises(InputError, match="1 to 1000"):
        class_data_sets(plan, home / "c", home / "k", students=0, class_seed=1)
    with pytest.raises(InputError, match="laboratory"):
        class_data_sets(plan, home / "c", home / "k", students=1, class_seed=1, presets=["magic"])
    (home / "work").mkdir()
    (home / "work" / "thesis.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(FileError, match="not made by this command"):
        class_data_sets(plan, home / "work", home / "k", students=1, class_seed=1)
    assert (home / "work" / "thesis.txt").exists() and not (home / "c").exists()


def test_a_plan_without_a_primary_comparison_has_no_key(plan):
    text = PLAN[: PLAN.index("[primary]")]
    plan.write_text(text, encoding="utf-8")
    with pytest.raises(DesignError, match=r"\[primary\]"):
        issue(plan)


def test_a_plan_without_sizes_is_refused():
    design = design_from_mapping(
        {
            "study": {"title": "t"},
            "groups": [{"name": "a"}],
            "tests": [{"phase": "retention", "trials": 8, "interval_days": 7}],
            "outcomes": [{"name": "hit", "better": "higher"}],
        }
    )
    with pytest.raises(DesignError):
        student_study(design, 1, class_seed=1)
