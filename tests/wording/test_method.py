"""The method paragraphs claim only what the plan holds; names of tests; what was altered."""

import pandas as pd

from motorlearn.design import design_from_mapping, stages_of
from motorlearn.digits import decimal_sign
from motorlearn.wording.limitations import deviations
from motorlearn.wording.method import analysis_paragraph, outcome_paragraph
from motorlearn.wording.voice import Voice

PLAN = {
    "study": {"title": "Ring push"},
    "groups": [{"name": "programme", "schedule": "own"}],
    "practice": [{"session": 1, "day": 0, "trials_per_block": 15}],
    "tests": [
        {"phase": "progress", "session": 2, "day": 13, "trials": 20},
        {"phase": "progress", "session": 4, "day": 27, "trials": 20},
        {"phase": "retention", "interval_days": 7, "trials": 20},
    ],
    "outcomes": [{"name": "hit", "better": "higher"}],
    "primary": {"outcome": "hit", "phase": "retention", "groups": []},
}


def test_one_group_without_a_pretest_is_not_adjusted_for_one():
    text = outcome_paragraph(design_from_mapping(PLAN))
    assert "adjusted" not in text
    assert text.startswith("The outcome was hit rate (higher is better).")


def test_two_groups_with_a_pretest_are():
    groups = [{"name": name, "schedule": name} for name in ("blocked", "random")]
    tests = [{"phase": "pretest", "trials": 20}, *PLAN["tests"]]
    plan = design_from_mapping(PLAN | {"groups": groups, "tests": tests})
    assert "adjusted for the pretest" in outcome_paragraph(plan)


def test_allocated_classes_are_the_unit_of_analysis():
    plan = design_from_mapping(PLAN | {"allocation": {"unit": "class", "method": "cluster"}})
    text = analysis_paragraph(plan, {"motorlearn": "0"})
    assert "unit of analysis was the class, which was allocated as a whole" in text


def test_conditions_within_people_are_compared_by_differences():
    groups = [{"name": name, "schedule": name} for name in ("blocked", "random")]
    plan = design_from_mapping(PLAN | {"groups": groups, "within": {"by": "period"}})
    text = analysis_paragraph(plan, {"motorlearn": "0"})
    assert "differences within participants" in text and "chose no analysis" in text


def test_one_group_is_not_said_to_be_compared_with_another():
    text = analysis_paragraph(design_from_mapping(PLAN), {"motorlearn": "0"})
    assert "Tests were compared within participants" in text and "standardised change g" in text
    assert "Hedges" not in text and "Holm" not in text
    groups = [{"name": name, "schedule": name} for name in ("blocked", "random")]
    both = analysis_paragraph(design_from_mapping(PLAN | {"groups": groups}), {"motorlearn": "0"})
    assert "Hedges g" in both and "Holm" in both


def test_the_smallest_effect_has_the_unit_of_its_outcome():
    outcomes = [{"name": "time", "unit": "s", "better": "lower"}]
    plan = PLAN | {"outcomes": outcomes, "smallest_effect": {"value": 0.355, "reason": "earlier"}}
    primary = {"outcome": "time", "phase": "retention", "effect": "difference"}
    with decimal_sign(","):
        text = outcome_paragraph(design_from_mapping(plan | {"primary": primary}))
    assert "smallest effect of interest was 0,355 s; reason: earlier." in text
    text = outcome_paragraph(design_from_mapping(plan | {"primary": primary | {"effect": "ratio"}}))
    assert "smallest effect of interest was 0.355; reason: earlier." in text


def test_a_progress_test_is_called_a_test_once():
    design = design_from_mapping(PLAN)
    voice = Voice(design, design.outcomes[0])
    names = [stage.name for stage in stages_of(design) if stage.phase == "progress"]
    assert [voice.at(name) for name in names] == ["the progress test 1", "the progress test 2"]


def test_a_file_and_its_headings_are_no_altered_values():
    rules = ["original file", "column renamed", "fraction read", "fraction read"]
    rules += ["level mapped", "level mapped"]
    said = deviations(
        pd.DataFrame(columns=["rule", "severity"]),
        pd.DataFrame(columns=["reason", "participant"]),
        pd.DataFrame({"rule": rules}),
    )
    assert said == [
        "Named on reading: 2 codes of the file, by the recipe.",
        "Altered on reading: 2 values, fraction read.",
    ]
