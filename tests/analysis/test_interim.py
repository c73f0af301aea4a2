"""Looks at a study that still runs: which one it is, at which level, and what it may claim."""

from dataclasses import replace

import numpy as np
import pytest
import studies
from scipy import stats

import motorlearn as ml
from motorlearn.analysis.interim import interim_of, planned_looks
from motorlearn.design import InterimPlan, design_from_mapping
from motorlearn.exceptions import DesignError
from motorlearn.linear import interim_boundaries
from motorlearn.report.view import view_of
from motorlearn.results import Refused
from motorlearn.wording.declared import looks_paragraph
from motorlearn.wording.interim import few_for_mixed, not_as_declared

SIZED = [{"name": "blocked", "size": 24}, {"name": "random", "size": 24}]


def made(interim, *, people=24, effect=-0.4, **more):
    content = studies.plan([studies.ERROR], groups=SIZED, interim=interim, **more)
    return studies.study(content, studies.trials(people, studies.PARTS, seed=9, effect=effect))


def look_of(study):
    return interim_of(study.design, ml.analysis.primary_comparison(study).primary)


def test_a_declared_look_has_its_level_and_its_interval():
    look = look_of(made({"fractions": [0.5, 1.0]}))
    bounds = interim_boundaries([0.5, 1.0])
    assert (look.number, look.people, look.planned, look.declared) == (1, 24, 48, True)
    assert look.level == pytest.approx(bounds.p[0]) and not look.final
    row = ml.analysis.primary_comparison(made({"fractions": [0.5, 1.0]})).primary.iloc[0]
    wide = ml.compare_phases(
        made(None).trials.table, "radial_error", group="group", baseline="pretest",
        groups=["blocked", "random"], level=1 - look.level,
    ).contrasts  # fmt: skip
    wide = wide[(wide["phase"] == "retention") & wide["adjusted"]].iloc[0]
    assert look.conf_low == pytest.approx(wide["conf_low"])
    assert look.conf_high == pytest.approx(wide["conf_high"])
    assert look.crossed == (row["p"] < bounds.p[0])


def test_ratios_have_their_interval_on_the_log_scale():
    primary = {
        "outcome": "radial_error", "groups": ["random", "blocked"], "effect": "ratio"
    }  # fmt: skip
    look = look_of(made({"fractions": [0.5, 1.0]}, primary=primary))
    assert 0 < look.conf_low < look.estimate < look.conf_high
    assert look.estimate**2 == pytest.approx(look.conf_low * look.conf_high)


def test_the_last_look_spends_the_rest():
    look = look_of(made({"fractions": [0.5, 1.0]}, people=48))
    assert look.final and look.number == 2 and look.assumed
    assert look.level == pytest.approx(interim_boundaries([0.5, 1.0]).p[1])


def test_a_look_at_another_size_is_told_and_spends_by_its_share():
    study = made({"fractions": [0.5, 1.0]}, people=30)
    look = look_of(study)
    assert not look.declared and look.fraction == pytest.approx(30 / 48)
    # The declared look at 24 is taken to have been made.
    assert look.level == pytest.approx(interim_boundaries([0.5, 30 / 48, 1.0]).p[1])
    told = not_as_declared(look)
    assert "This look, at 30 people, was not declared" in told and "at 24 and 48 people" in told
    assert "Earlier looks are taken to have been made as declared" in told


def test_looks_that_were_taken_elsewhere_are_told():
    look = look_of(made({"fractions": [0.5, 1.0], "taken": [20]}, people=48))
    told = not_as_declared(look, look.undeclared)
    assert "A look at 20 people had not been declared" in told
    assert look.level == pytest.approx(interim_boundaries([20 / 48, 1.0]).p[1], abs=1e-9)


def test_a_final_look_with_fewer_people_spends_all_that_is_left():
    plan = InterimPlan(fractions=(0.5, 1.0), final=True)
    looks, number, final = planned_looks(plan, 44, 48)
    assert final and number == 2 and looks["spent"].iloc[-1] == 0.05
    assert len(looks) == 2 and not looks["declared"].iloc[-1]


def test_nothing_is_read_into_an_interval_that_knows_no_looks():
    view = view_of(ml.analyse_study(made({"fractions": [0.5, 1.0]}, effect=0.0)), decimal=".")
    page = " ".join(str(ml.report.supervisor_page(view.analysis)).split())
    assert "by plan the study goes on, and nothing is concluded yet" in page
    assert "The interval lies on one side" not in page and "expected if it led to more" not in page
    assert "look 1: p not below" in page


def test_looks_with_a_mixed_model_of_few_people_are_told_to_find_too_much():
    primary = {
        "outcome": "radial_error", "groups": ["random", "blocked"], "model": "linear mixed"
    }  # fmt: skip
    plans = [
        studies.plan(
            [studies.ERROR],
            groups=[{"name": name, "size": size} for name in ("blocked", "random")],
            interim={"fractions": [0.5, 1.0]},
            primary=primary,
        )
        for size in (8, 24)
    ]
    few, many = (looks_paragraph(design_from_mapping(plan)) for plan in plans)
    assert "mixed model finds somewhat too much" in few and "too much" not in many
    assert not few_for_mixed(13) and "about 8 people a group" in few_for_mixed(8)


def test_no_primary_scores_yet_is_no_look():
    study = made({"fractions": [0.5, 1.0]})
    early = study.trials.table.query("phase != 'retention'")
    study = replace(study, trials=replace(study.trials, table=early))
    assert isinstance(look_of(study), Refused)


@pytest.mark.parametrize(
    ("section", "words"),
    [
        ({"fractions": []}, "fractions"),
        ({"fractions": [0.5]}, "must end in 1"),
        ({"fractions": [0.5, 0.5, 1.0]}, "must rise"),
        ({"fractions": [-0.1, 1.0]}, "must rise"),
        ({"fractions": [0.5, 1.2]}, "must end in 1"),
        ({"fractions": [i / 30 for i in range(1, 31)]}, "20 looks"),
        ({"fractions": [0.5, 1.0], "spending": "linear"}, "spending"),
        ({"fractions": [0.5, 1.0], "level": 0.0}, "level"),
        ({"fractions": [0.5, 1.0], "taken": [30, 20]}, "taken must rise"),
        ({"looks": 2}, "looks"),
    ],
)
def test_a_plan_says_what_is_wrong_with_its_looks(section, words):
    with pytest.raises(DesignError, match=words):
        design_from_mapping(studies.plan([studies.ERROR], groups=SIZED, interim=section))


def test_looks_need_numbers_of_people_and_a_difference():
    interim = {"fractions": [0.5, 1.0]}
    with pytest.raises(DesignError, match="people is missing"):
        design_from_mapping(studies.plan([studies.ERROR], interim=interim))
    with pytest.raises(DesignError, match="error rate of a difference"):
        primary = {
            "outcome": "radial_error", "groups": ["random", "blocked"], "aim": "equivalence"
        }  # fmt: skip
        design_from_mapping(
            studies.plan(
                [studies.ERROR],
                groups=SIZED,
                interim=interim,
                primary=primary,
                smallest_effect={"value": 2},
            )
        )


def test_power_simulates_the_looks_and_holds_the_rate():
    plan = design_from_mapping(
        studies.plan(
            [studies.ERROR],
            groups=SIZED,
            interim={"fractions": [0.5, 1.0], "spending": "pocock"},
            assumptions={"baseline": 38, "between_sd": 6.5, "within_sd": 15, "stability": 0.6},
        )
    )
    found = ml.power(plan, n=12, simulations=4000, seed=3, effects=[0, 6])
    none, some = (found.looks[found.looks["effect"] == e] for e in (0, 6))
    assert none["rejected"].iloc[-1] == pytest.approx(0.05, abs=0.012)
    assert none["stop"].iloc[0] == pytest.approx(interim_boundaries([0.5, 1.0], spending="pocock")
                                                 .p[0], abs=0.009)  # fmt: skip
    expected = 12 * some["stop"].iloc[0] + 24 * (1 - some["stop"].iloc[0])
    assert some["expected_people"].iloc[0] == pytest.approx(expected)
    assert found.table["power"].tolist() == [none["rejected"].iloc[-1], some["rejected"].iloc[-1]]
    assert any("any of 2 looks" in note for note in found.warnings)
    assert "looks" in [table.name for table in found.tables()]


def test_too_few_people_at_the_first_look_are_refused():
    plan = design_from_mapping(
        studies.plan(
            [studies.ERROR],
            groups=SIZED,
            interim={"fractions": [0.1, 1.0]},
            assumptions={"baseline": 38, "between_sd": 6.5, "within_sd": 15},
        )
    )
    with pytest.raises(ml.exceptions.InputError, match="first look"):
        ml.power(plan, n=8, simulations=20, seed=1, effects=[0])


@pytest.mark.slow
@pytest.mark.parametrize("spending", ["obrien-fleming", "pocock"])
@pytest.mark.parametrize("n", [8, 12, 24])
def test_the_rate_of_all_looks_is_held_with_few_people(spending, n):
    """20,000 studies without a difference; the boundary is carried to t by nominal levels.

    With eight people a group (four at the first look) tests at two looks hang together less than
    the normal statistic does, and the rate is .059 under Pocock's type; the page says so.
    """
    plan = design_from_mapping(
        studies.plan(
            [studies.ERROR],
            groups=SIZED,
            interim={"fractions": [0.5, 0.75, 1.0], "spending": spending},
            assumptions={"baseline": 38, "between_sd": 6.5, "within_sd": 15, "stability": 0.6},
        )
    )
    found = ml.power(plan, n=n, simulations=20_000, seed=n, effects=[0])
    assert found.looks["rejected"].iloc[-1] == pytest.approx(0.05, abs=0.006 if n > 8 else 0.012)


def test_nominal_levels_are_those_of_the_normal_statistic():
    found = interim_boundaries([0.5, 1.0])
    np.testing.assert_allclose(found.p, 2 * stats.norm.sf(found.z))
