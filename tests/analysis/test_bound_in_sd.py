"""A smallest effect declared in standard deviations: one meaning from plan to report."""

from dataclasses import replace

import numpy as np
import pytest
import studies

import motorlearn as ml
from motorlearn.analysis.outcome import compared
from motorlearn.analysis.questions import question_of
from motorlearn.analysis.scores import scores_of
from motorlearn.analysis.staged import staged_trials
from motorlearn.design import SmallestEffect, design_from_mapping
from motorlearn.exceptions import DesignError
from motorlearn.plan.power.effects import planned_effects
from motorlearn.plan.power.planned import scenario
from motorlearn.report.sections.results import compose
from motorlearn.report.view import view_of
from motorlearn.wording.method import outcome_paragraph

BOUND = {"value": 0.57, "unit": "sd", "reason": "the effect that was registered"}


def pooled(scores, phase):
    """Standard deviation within groups, each weighed by its degrees of freedom, by hand."""
    parts = [part["score"] for _, part in scores[scores["phase"] == phase].groupby("group")]
    squares = sum((len(part) - 1) * part.var(ddof=1) for part in parts)
    return np.sqrt(squares / sum(len(part) - 1 for part in parts))


def compared_scores(study):
    table = staged_trials(study)
    question = question_of(study.design, table)
    asked = question.outcomes[0]
    return compared(scores_of(table, asked.outcome, study.design), asked, question)


@pytest.mark.parametrize("outcome", ["error", "hits"])
def test_the_bound_is_that_of_the_scores_at_the_primary_test(outcome):
    of = studies.ERROR if outcome == "error" else studies.HITS
    table = studies.trials(25, studies.PARTS, seed=12)
    rows = table if outcome == "error" else studies.counted(table)
    study = studies.study(studies.plan(of, smallest_effect=BOUND), rows)
    comparison = compared_scores(study)
    tests = comparison.equivalence
    tests = tests[tests["phase"] == "retention"]
    sd = pooled(comparison.scores, "retention")
    assert len(tests) and np.allclose(tests["bound_high"], 0.57 * sd)
    assert np.allclose(tests["bound_low"], -0.57 * sd)


def test_power_takes_the_standard_deviation_of_the_assumptions():
    content = studies.plan(
        studies.ERROR,
        smallest_effect=BOUND,
        assumptions={"baseline": 30, "between_sd": 6, "within_sd": 10, "stability": 0.6},
    )
    design = design_from_mapping(content)
    plan = scenario(design)
    (effect,) = (e for e in planned_effects(design, plan, None) if e.name.startswith("smallest"))
    assert effect.value == pytest.approx(0.57 * np.sqrt(36 + 100 / 20))
    aimed = content["primary"] | {"aim": "equivalence"}
    bound = scenario(design_from_mapping(content | {"primary": aimed})).bound
    assert bound == pytest.approx(effect.value)


def test_plan_and_method_say_which_standard_deviation():
    design = design_from_mapping(studies.plan(studies.ERROR, smallest_effect=BOUND))
    for text in (design._repr_html_(), outcome_paragraph(design)):
        assert "0.57 standard deviations (pooled within groups" in text


@pytest.mark.slow
def test_one_group_is_read_against_its_own_spread():
    study = studies.hits_one_group()
    declared = study.design.model_copy(update={"smallest_effect": SmallestEffect(**BOUND)})
    changed = replace(study, design=declared)
    means = compared_scores(changed).means.set_index("phase")
    sd = means.loc["retention", "sd"]
    said = " ".join(
        compose(view_of(ml.analyse_study(changed), decimal="."), versions={"x": "1"}).texts
    )
    bound = f"{0.57 * sd:.1f}"
    assert f"declared beforehand (−{bound} to {bound})" in said


def test_other_units_are_refused():
    with pytest.raises(DesignError, match="smallest_effect"):
        design_from_mapping(studies.plan(studies.ERROR, smallest_effect=BOUND | {"unit": "cm"}))
