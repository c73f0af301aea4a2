"""Both sides of what decides whether something is said: practice, limitations, claims, graphs."""

import math
from types import SimpleNamespace

import pandas as pd
import pytest

from motorlearn.design import Outcome, design_from_mapping
from motorlearn.vocabulary import SMALL_GROUP
from motorlearn.wording.equivalence import aim_sentence
from motorlearn.wording.limitations import limitations
from motorlearn.wording.method import analysis_paragraph, programme_paragraph
from motorlearn.wording.single_case import graph_words
from motorlearn.wording.summary import missing_conditions, missing_people
from motorlearn.wording.technique import item_sentence
from motorlearn.wording.voice import Voice

PLAN = {
    "study": {"title": "Ring push"},
    "groups": [{"name": "early", "schedule": "own"}, {"name": "late", "schedule": "own"}],
    "practice": [{"session": 1, "day": 0, "blocks": 2, "trials_per_block": 15}],
    "tests": [
        {"phase": "pretest", "trials": 20},
        {"phase": "retention", "interval_days": 7, "trials": 20},
    ],
    "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    "primary": {"outcome": "radial_error", "phase": "retention", "groups": ["late", "early"]},
}
ALONE = [{"name": "programme", "schedule": "own"}]
DOSE = "1 session and 30 trials per participant"
ONE_GROUP = "With one group only"
NOT_BY_CHANCE = "The groups were not allocated at random"


def plan(**changes):
    if len(changes.get("groups", PLAN["groups"])) == 1:
        changes["primary"] = {"outcome": "radial_error", "phase": "retention", "groups": []}
    return design_from_mapping(PLAN | changes)


def test_a_group_without_a_description_is_only_named():
    assert programme_paragraph(plan()).startswith("Practice conditions were early and late. ")
    told = [{"name": "early", "schedule": "own", "description": "short rests"}, PLAN["groups"][1]]
    assert "were early (short rests) and late. " in programme_paragraph(plan(groups=told))


def test_what_everybody_practised_is_said_where_the_plan_describes_it():
    text = programme_paragraph(plan(groups=ALONE))
    assert text.startswith(f"Practice took {DOSE}") and "Everybody" not in text
    told = [ALONE[0] | {"description": "rings of growing weight"}]
    text = programme_paragraph(plan(groups=told))
    assert text.startswith("Everybody practised the same: rings of growing weight. Practice took ")


def test_a_group_that_did_not_practise_was_tested_only():
    practice = [PLAN["practice"][0] | {"groups": ["early"]}]
    text = programme_paragraph(plan(practice=practice))
    assert f"Practice of early took {DOSE}" in text
    assert "Practice of late was none: this group was tested only." in text


def of_plan(design, sizes=(30, 30), stayed=(30, 30)):
    names = design.group_names
    rows = [(name, "allocated", n) for name, n in zip(names, sizes)]
    rows += [(name, "retention", n) for name, n in zip(names, stayed)]
    return " ".join(limitations(design, pd.DataFrame(rows, columns=["group", "stage", "n"])))


@pytest.mark.parametrize(
    ("groups", "method", "alone", "by_choice"),
    [
        (ALONE, "none", True, False),
        (PLAN["groups"], "none", False, True),
        (PLAN["groups"], "simple", False, False),
    ],
)
def test_one_group_and_groups_not_drawn_by_lot_are_limits(groups, method, alone, by_choice):
    text = of_plan(plan(groups=groups, allocation={"method": method}))
    assert ((ONE_GROUP in text), (NOT_BY_CHANCE in text)) == (alone, by_choice)


@pytest.mark.parametrize("smallest", [SMALL_GROUP - 1, SMALL_GROUP])
def test_a_group_is_small_below_the_edge_only(smallest):
    text = of_plan(plan(), stayed=(30, smallest))
    told = f"The smallest group had {smallest} participants at the last test"
    assert (told in text) is (smallest < SMALL_GROUP)
    assert f"{30 - smallest} had no usable score at the last test" in text


@pytest.mark.parametrize(
    ("primary", "covariates", "logs"),
    [
        (PLAN["primary"] | {"effect": "difference"}, "the baseline score as covariate.", False),
        (PLAN["primary"] | {"effect": "ratio"}, "the baseline score as covariate;", True),
        (
            PLAN["primary"] | {"effect": "difference", "covariates": ["age", "reach"]},
            "as covariate, that of the primary outcome with age and reach too.",
            False,
        ),
        (None, "the baseline score as covariate.", False),
    ],
)
def test_covariates_and_logarithms_are_those_of_the_plan(primary, covariates, logs):
    content = PLAN | {"primary": primary}
    design = design_from_mapping({k: v for k, v in content.items() if v is not None})
    text = analysis_paragraph(design, {"motorlearn": "0"})
    assert covariates in text
    assert ("ratios come from the logarithm of the scores" in text) is logs


@pytest.mark.parametrize(
    ("aim", "low", "high", "claim"),
    [
        ("equivalence", -2.0, 2.0, "late and early apart by less than 2.0 cm"),
        ("non-inferiority", -math.inf, 2.0, "late worse than early by less than 2.0 cm, if at all"),
        ("superiority", 0.0, math.inf, "late better than early"),
        ("minimum effect", -2.0, 2.0, "an effect of more than 2.0 cm, in whichever direction"),
    ],
)
def test_the_claim_that_was_planned_names_the_bounds_it_has(aim, low, high, claim):
    voice = Voice(plan(), Outcome(name="radial_error", unit="cm", better="lower"), 1)
    verdict = {
        "aim": aim, "bound_low": low, "bound_high": high, "conf_low": -1.2, "conf_high": 1.4,
        "level": 0.9, "p": 0.2, "shown": False,
    }  # fmt: skip
    text = aim_sentence(verdict, voice, ratio=False, pair=("late", "early"))
    assert text.startswith(f"The plan aimed at {aim}: {claim}. That is not shown, which does not ")


@pytest.mark.parametrize("design", ["AB", "alternating"])
def test_phases_are_parted_only_where_there_are_phases(design):
    found = SimpleNamespace(
        conditions=("A", "B"), design=design, cases=("P1", "P2"), phases=pd.DataFrame()
    )
    voice = Voice(plan(), Outcome(name="radial_error", unit="cm", better="lower"), 1)
    caption = graph_words(found, voice).caption
    assert ("Dotted lines part the phases." in caption) is (design == "AB")
    assert caption.endswith("2 cases.")


@pytest.mark.parametrize(
    ("people", "who"),
    [
        (1, "The one person{} has"),
        (2, "Both people{} have"),
        (3, "All 3 people{} have"),
    ],
)
def test_everybody_is_one_person_both_or_all(people, who):
    said = missing_people({"programme": people}, {"programme": people}, "the pretest", {})
    assert said == f"{who.format(' allocated')} usable trials at the pretest."
    told = missing_conditions(people, 0, {}, "the pretest")
    assert told == f"{who.format('')} usable trials at the pretest under every condition."


def test_a_rating_that_stayed_neither_rose_nor_fell():
    row = {"n": 9, "change": 0.0, "conf_low": -0.25, "conf_high": 0.25}
    assert item_sentence(row, ("Pretest", "Retention"), ".") == (
        "From Pretest to Retention, the mean rating of technique did not change on average (95 % "
        "CI −0.25 to 0.25; n = 9)."
    )
