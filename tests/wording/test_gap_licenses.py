"""The gap before a test, and not its name, licenses the word learning."""

import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.design import design_from_mapping, stages_of
from motorlearn.plan import simulate_study
from motorlearn.report.sections.primary import primary_sentences
from motorlearn.report.view import view_of
from motorlearn.wording.limitations import limitations
from motorlearn.wording.voice import Voice


def plan(days):
    return design_from_mapping({
        "study": {"title": "Ring push", "seed": 1},
        "groups": [{"name": "blocked", "size": 12}, {"name": "random", "size": 12}],
        "tests": [
            {"phase": "pretest", "trials": 20},
            {"phase": "retention", "trials": 20} | ({"interval_days": days} if days else {}),
        ],
        "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
        "primary": {"outcome": "radial_error", "groups": ["random", "blocked"]},
    })  # fmt: skip


@pytest.mark.parametrize(
    ("days", "delayed"),
    [(0.003, False), (0.4, False), (0.5, True), (1, True), (7, True), (None, True)],
)
def test_half_a_day_lies_before_a_delayed_test(days, delayed):
    design = plan(days)
    assert design.has_delayed_test is delayed
    (stage,) = [stage for stage in stages_of(design) if stage.phase == "retention"]
    assert stage.is_delayed is delayed


@pytest.mark.parametrize(("days", "says"), [(0.003, False), (7, True)])
def test_a_clear_difference_speaks_of_learning_only_after_a_gap(days, says):
    study = simulate_study(plan(days), seed=2, missing=False)
    table = study.trials.table
    late = (table["phase"] == "retention") & (table["group"] == "random")
    table.loc[late, "radial_error"] *= 0.5
    drop = [name for name in ("x", "y", "hit") if name in table]
    study = type(study)(study.design, type(study.trials)(table.drop(columns=drop)))
    found = view_of(ml.analyse_study(study), decimal=".")
    text = " ".join(primary_sentences(found, found.outcomes[0]))
    assert ("learning" in text) is says
    assert ("too soon after practice" in text) is not says
    limits = " ".join(limitations(study.design, pd.DataFrame()))
    assert ("about nothing that lasts" in limits) is not says


def test_a_gap_of_minutes_is_told_in_minutes_and_makes_no_test_delayed():
    for days, said in ((0.003, "4 minutes"), (0.25, "6 hours")):
        design = plan(days)
        voice = Voice(design, design.outcomes[0])
        assert voice.at("retention") == f"the retention test ({said} after the last practice)"
        assert voice.label("retention") == "Retention"
