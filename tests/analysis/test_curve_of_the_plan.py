"""What a plan says of the curve of practice: groups together, and what differs between people."""

from dataclasses import replace
from typing import get_args

import pytest
import studies

import motorlearn as ml
from motorlearn.analysis.beside import counted_blocks, population_curve
from motorlearn.curves.population.population import POPULATION_FORMS
from motorlearn.design import CurvePlan, design_from_mapping
from motorlearn.exceptions import DesignError, InputError
from motorlearn.trials.importing.said_rules import curve_text
from motorlearn.wording.method import outcome_paragraph


@pytest.fixture(scope="module")
def cells():
    table = studies.trials(16, studies.PARTS, seed=10)
    practised = table[table["phase"] == "acquisition"]
    keys = ["participant", "group", "phase", "session", "block"]
    return practised.groupby(keys, as_index=False)["radial_error"].mean().rename(
        columns={"radial_error": "score"}
    )  # fmt: skip


def test_the_curve_is_that_of_the_call_it_stands_for(cells):
    plan = CurvePlan(groups="together", vary=("asymptote", "gain"))
    found = population_curve(cells, plan)
    called = ml.fit_population_curve(
        counted_blocks(cells), "score", practice="block", vary=("asymptote", "gain")
    )
    assert found.estimates.equals(called.estimates) and found.loglik == called.loglik
    assert list(found.estimates["term"]) == ["asymptote", "gain", "log_rate"]
    apart = population_curve(cells, CurvePlan(vary=("asymptote",)))
    assert "gain[random]" in set(apart.estimates["term"])
    assert list(apart.recipe.options["vary"]) == ["asymptote"]


def test_the_curve_and_the_model_of_trials_tell_differences_from_the_same_group():
    """The reference of the primary comparison, wherever it stands in the plan and in the file."""
    table = studies.trials(16, studies.PARTS, seed=10)
    table = table.sort_values("group", ascending=False, kind="stable")
    primary = {"outcome": "radial_error", "phase": "retention", "groups": ["blocked", "random"]}
    plan = studies.plan(studies.ERROR, units={"length": "cm"}, primary=primary)
    found = ml.analyse_study(studies.study(plan, table))
    assert found.primary["reference"].iloc[0] == found.population.groups[0] == "random"
    assert "gain[blocked]" in set(found.population.estimates["term"])
    assert any("blocked" in name for name in found.mixed.params.index)
    assert not any("random" in name for name in found.mixed.params.index)


@pytest.mark.parametrize(
    ("made", "reason"),
    [
        (studies.after_the_pretest, "nobody has the 5 blocks of practice"),
        (studies.one_athlete, "at least two learners"),
    ],
)
def test_a_curve_that_is_asked_for_is_refused_where_there_is_none_and_else_not_told(made, reason):
    study = made()
    assert ml.analyse_study(study).population is None
    design = study.design.model_copy(update={"curve": CurvePlan(groups="together")})
    found = ml.analyse_study(replace(study, design=design))
    assert reason in found.population.reason
    assert "population curve" in found.beside and "curves" not in found.beside


@pytest.mark.parametrize("form", ["power", "two_processes"])
def test_the_curve_has_the_form_of_the_plan(cells, form):
    found = population_curve(cells, CurvePlan(groups="together", vary=("asymptote",), form=form))
    called = ml.fit_population_curve(
        counted_blocks(cells), "score", practice="block", vary=("asymptote",), form=form
    )
    assert found.form == form and found.loglik == called.loglik


def test_the_report_names_the_form_of_the_plan(no_pictures, tmp_path):
    plan = studies.plan(
        studies.ERROR, units={"length": "cm"}, curve={"form": "power", "vary": ["asymptote"]}
    )
    study = studies.study(plan, studies.trials(16, studies.PARTS, seed=10))
    text = ml.write_report(study, tmp_path, quiet=True).read_text()
    assert "A curve (power) was fitted to all participants" in text
    assert "The curve of practice (power) let asymptote vary from person to person" in text


def test_a_form_that_is_no_form_is_refused_with_those_there_are():
    with pytest.raises(DesignError, match=r"curve.form.*exponential.*two_processes"):
        design_from_mapping(studies.plan(studies.ERROR, curve={"form": "parabola"}))


def test_a_plan_knows_every_form_that_a_population_takes():
    assert get_args(CurvePlan.model_fields["form"].annotation) == POPULATION_FORMS


def test_an_import_writes_the_form():
    assert curve_text("together, S-shaped") == ('[curve]\ngroups = "together"\nform = "s_shaped"\n')
    with pytest.raises(InputError, match=r"one form .exponential, power"):
        curve_text("power, exponential")


@pytest.mark.parametrize("vary", [[], ["gain", "gain"], ["slope"]])
def test_what_cannot_vary_is_refused(vary):
    with pytest.raises(DesignError, match="curve"):
        design_from_mapping(studies.plan(studies.ERROR, curve={"vary": vary}))


def test_the_method_says_what_was_asked_for_and_nothing_by_default():
    def said(**more):
        content = studies.plan(studies.ERROR, units={"length": "cm"}, **more)
        return outcome_paragraph(design_from_mapping(content))

    own = said(curve={"groups": "together", "vary": ["asymptote", "gain"]})
    assert "curve of practice for all groups together" in own and "asymptote and gain vary" in own
    assert "curve of practice" not in said()


@pytest.mark.parametrize("said", ["together, apart", "slope", "gain, rate", "beside"])
def test_what_an_import_cannot_take_is_refused(said):
    with pytest.raises(InputError, match="together or apart"):
        curve_text(said)
    assert curve_text("") == "" and curve_text("apart") == '[curve]\ngroups = "apart"\n'
