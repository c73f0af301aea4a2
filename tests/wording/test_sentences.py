"""Results sentences: numbers as given, direction as given, claims as far as the test goes."""

import itertools
import math

import pandas as pd
import pytest
import studies

from motorlearn.design import Outcome, design_from_mapping, stage_column, stages_of
from motorlearn.digits import count
from motorlearn.wording import Voice, claim_problems, contrast_sentence, judge, reading
from motorlearn.wording.captions import effects_words
from motorlearn.wording.sentences import (
    change_reading,
    interval_clause,
    means_sentence,
    omnibus_sentence,
    paired_sentence,
    verdict_sentence,
)
from motorlearn.wording.standards import standards_checklist
from motorlearn.wording.voice import decimals_for, listed

PLAN = {
    "study": {"title": "Ring push"},
    "groups": [{"name": "blocked"}, {"name": "random"}],
    "practice": [{"session": 1, "day": 0, "trials_per_block": 18}],
    "tests": [
        {"phase": "pretest", "trials": 30},
        {"phase": "posttest", "trials": 30},
        {"phase": "retention", "trials": 36, "interval_days": 7},
    ],
    "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
}
SAME = "lies inside, so the two schedules are equivalent by that bound"
BELOW = "lies inside, so what effect there is stays below that bound"
BEYOND = "lies beyond, so the effect exceeds that bound"
OPEN = (
    "reaches beyond on at least one side, so neither equivalence nor an effect of that size is "
    "established"
)
ALLOCATED = {"blocked": 24, "random": 24}


def make_voice(better="lower", decimal="."):
    outcome = Outcome(name="radial_error", unit="cm", better=better)
    return Voice(design_from_mapping(PLAN), outcome, 1, decimal)


def contrast(**changes):
    row = {
        "phase": "retention",
        "group": "random",
        "reference": "blocked",
        "effect": "difference",
        "adjusted": True,
        "estimate": -2.46,
        "df": 45.0,
        "statistic": -2.31,
        "p": 0.0252,
        "conf_low": -4.61,
        "conf_high": -0.31,
        "g": -0.58,
        "g_low": -1.10,
        "g_high": -0.06,
        "n_group": 23,
        "n_reference": 22,
        "method": "analysis of covariance",
    }
    return pd.Series(row | changes)


def test_a_contrast_in_full():
    text = contrast_sentence(contrast(), make_voice(), ALLOCATED, baseline="pretest")
    assert text == (
        "At the delayed retention test (7 days after the last practice), radial error was 2.5 cm "
        "lower after random than after blocked practice (adjusted for the pretest; 95 % CI −4.6 to "
        "−0.3 cm; t(45) = −2.31, p = .025; Hedges g = −0.58, 95 % CI −1.10 to −0.06; 23 of 24 "
        "random and 22 of 24 blocked participants analysed)."
    )


def test_a_ratio_with_a_decimal_comma():
    row = contrast(effect="ratio", estimate=0.875, conf_low=0.79, conf_high=0.97)
    text = contrast_sentence(row, make_voice(decimal=","), ALLOCATED)
    assert "0,88 times as large after random as after blocked practice" in text
    assert "95 % CI 0,79 to 0,97;" in text


@pytest.mark.parametrize(
    ("phase", "estimate", "better", "favoured", "learning"),
    [
        ("retention", -2.0, "lower", "random", True),
        ("retention", -2.0, "higher", "blocked", True),
        ("retention", 2.0, "lower", "blocked", True),
        ("acquisition", -2.0, "lower", "random", False),
        ("posttest", 2.0, "higher", "random", False),
    ],
)
def test_reading_names_the_favoured_group_and_speaks_of_learning_only_late(
    phase, estimate, better, favoured, learning
):
    row = contrast(phase=phase, estimate=estimate, conf_low=estimate - 1, conf_high=estimate + 1)
    text = reading(row, make_voice(better))
    assert f"favour {favoured} practice" in text
    assert ("learning" in text) is learning
    assert claim_problems(text, delayed_test=True) == []


def test_an_unclear_contrast_keeps_its_direction_open():
    text = reading(contrast(conf_low=-4.0, conf_high=0.5), make_voice())
    assert "−4.0 to 0.5 cm" in text and "direction stays open" in text
    assert "learning" not in text


def test_ratios_are_read_against_one():
    row = contrast(effect="ratio", estimate=0.9, conf_low=0.7, conf_high=1.1)
    assert "true ratios from 0.70 to 1.10; the direction stays open" in reading(row, make_voice())
    row = contrast(effect="ratio", estimate=0.8, conf_low=0.7, conf_high=0.9)
    assert "favour random practice" in reading(row, make_voice())
    row = contrast(effect="ratio", estimate=1.3, conf_low=1.1, conf_high=1.6)
    assert "favour blocked practice" in reading(row, make_voice())


def test_no_combination_claims_too_much():
    grid = itertools.product(
        ("acquisition", "posttest", "retention"),
        ("difference", "ratio"),
        (-3.0, -0.02, 0.0, 3.0),
        (0.1, 5.0),
        ("lower", "higher"),
    )
    for phase, effect, estimate, half, better in grid:
        to = math.exp if effect == "ratio" else float
        row = contrast(
            phase=phase,
            effect=effect,
            estimate=to(estimate / 10),
            conf_low=to((estimate - half) / 10),
            conf_high=to((estimate + half) / 10),
        )
        test = pd.Series(
            {
                "bound_low": to(-0.1),
                "bound_high": to(0.1),
                "conf_low": row["conf_low"],
                "conf_high": row["conf_high"],
                "p": 0.03,
                "equivalent": half < 1 > abs(estimate),
            }
        )
        text = contrast_sentence(row, make_voice(better), ALLOCATED)
        text += " " + reading(row, make_voice(better), test)
        assert claim_problems(text, delayed_test=True) == [], text


@pytest.mark.parametrize(
    ("interval", "equivalent", "verdict", "says"),
    [
        ((-0.8, 1.2), True, "equivalent", SAME),
        ((0.1, 1.2), True, "smaller than the bound but not nil", BELOW),
        ((-1.2, -0.1), True, "smaller than the bound but not nil", BELOW),
        ((2.1, 4.0), False, "larger", BEYOND),
        ((-3.0, -2.2), False, "larger", BEYOND),
        ((-0.5, 2.6), False, "undecided", OPEN),
    ],
)
def test_verdicts_of_equivalence(interval, equivalent, verdict, says):
    row = contrast(conf_low=interval[0], conf_high=interval[1])
    test = pd.Series(
        {
            "bound_low": -2.0,
            "bound_high": 2.0,
            "conf_low": 0.0,
            "conf_high": 1.0,
            "p": 0.02,
            "equivalent": equivalent,
        }
    )
    judged = judge(row, test)
    assert judged.verdict == verdict
    assert verdict_sentence(judged, row, make_voice()) == (
        "Against the smallest effect of interest declared beforehand (−2.0 to 2.0 cm), the 90 % "
        f"interval (0.0 to 1.0 cm; equivalence p = .020) {says}."
    )


@pytest.mark.parametrize(
    ("interval", "verdict"),
    [((0.95, 1.08), "equivalent"), ((1.02, 1.08), "smaller than the bound but not nil")],
)
def test_a_ratio_that_holds_one_is_equivalent(interval, verdict):
    row = contrast(effect="ratio", conf_low=interval[0], conf_high=interval[1])
    test = pd.Series({"bound_low": 1 / 1.2, "bound_high": 1.2, "conf_low": 1.0, "conf_high": 1.1})
    test = pd.concat([test, pd.Series({"p": 0.01, "equivalent": True})])
    assert judge(row, test).verdict == verdict


@pytest.mark.parametrize(
    ("low", "high", "bound", "effect", "says"),
    [
        (-0.5, 1.5, 2.0, "difference", "any change is smaller"),
        (2.5, 4.0, 2.0, "difference", "at least that large"),
        (-4.0, -2.5, 2.0, "difference", "at least that large"),
        (1.0, 3.0, 2.0, "difference", "neither shown nor ruled out"),
        (0.95, 1.05, 1.1, "ratio", "any change is smaller"),
        (0.7, 0.8, 1.1, "ratio", "at least that large"),
    ],
)
def test_a_change_is_set_against_the_smallest_effect(low, high, bound, effect, says):
    row = pd.Series({"effect": effect, "conf_low": low, "conf_high": high})
    text = change_reading(row, bound, make_voice())
    assert says in text and ("cm" in text) == (effect == "difference")


def test_a_change_without_an_interval_is_not_judged():
    row = pd.Series({"effect": "difference", "conf_low": math.nan, "conf_high": math.nan})
    assert change_reading(row, 2.0, make_voice()) == ""


@pytest.mark.parametrize(
    ("effect", "what", "null"),
    [
        ("ratio", "Ratios of means in radial error between", "Vertical line: 1 (same size)."),
        ("difference", "Differences of means in radial error (cm) between", "Vertical line: 0."),
    ],
)
def test_the_forest_says_whether_it_shows_ratios_or_differences(effect, what, null):
    words = effects_words(pd.DataFrame([contrast(effect=effect)]), make_voice(), None)
    assert words.caption.startswith(what) and null in words.caption


def test_a_declared_bound_is_written_as_declared():
    test = pd.Series({"bound_low": -0.355, "bound_high": 0.355, "conf_low": -0.2,
                      "conf_high": 0.56, "p": 0.23, "equivalent": False})  # fmt: skip
    text = reading(contrast(conf_low=-0.27, conf_high=0.64), make_voice(), test)
    assert "(−0.355 to 0.355 cm)" in text and "(−0.2 to 0.6 cm;" in text


def test_what_was_not_computed_says_why():
    row = contrast(estimate=math.nan, reason="two participants are needed.")
    text = contrast_sentence(row, make_voice(), ALLOCATED)
    assert text.endswith("could not be compared in radial error: two participants are needed.")
    assert reading(row, make_voice()) == ""


def test_a_paired_change():
    row = pd.Series(
        {
            "group": "programme",
            "from_phase": "pretest",
            "to_phase": "retention",
            "effect": "difference",
            "n": 12,
            "estimate": -3.2,
            "df": 11.0,
            "statistic": -2.5,
            "p": 0.0295,
            "conf_low": -6.0,
            "conf_high": -0.4,
            "g": -0.7,
            "g_low": -1.3,
            "g_high": -0.1,
        }
    )
    text = paired_sentence(row, make_voice())
    assert "radial error fell by 3.2 cm in programme" in text
    assert "t(11) = −2.50, p = .029" in text and "n = 12" in text
    lone = paired_sentence(
        pd.Series({**row, "n": 1, "conf_low": math.nan, "conf_high": math.nan}), make_voice()
    )
    assert "too few people for an interval" in lone


@pytest.mark.parametrize(
    ("estimate", "way"),
    [(0.3, "rose by 0.3 cm"), (-0.3, "fell by 0.3 cm"), (0.0, "error did not change on average")],
)
def test_a_small_change_has_a_direction_too(estimate, way):
    row = {
        "group": "random", "from_phase": "pretest", "to_phase": "retention", "n": 24,
        "effect": "difference", "estimate": estimate, "conf_low": estimate - 0.2,
        "conf_high": estimate + 0.2,
    }  # fmt: skip
    assert way in paired_sentence(pd.Series(row), make_voice())


def test_means_and_omnibus():
    means = pd.DataFrame(
        {
            "phase": "retention",
            "group": ["blocked", "random"],
            "n": [22, 1],
            "mean": [25.64, 23.0],
            "sd": [6.01, math.nan],
        }
    )
    assert means_sentence(means, "retention", make_voice()).endswith(
        "mean radial error was 25.6 cm (SD 6.0, n = 22) in blocked and 23.0 cm (n = 1) in random."
    )
    row = pd.Series(
        {
            "phase": "retention",
            "df1": 2.0,
            "df2": 61.0,
            "statistic": 1.731,
            "p": 0.186,
            "partial_eta2": 0.00004,
            "method": "analysis of covariance",
        }
    )
    assert "F(2, 61) = 1.73, p = .186, partial η² < .001" in omnibus_sentence(row, make_voice())


def test_tests_of_one_phase_are_told_apart_by_their_session():
    plan = design_from_mapping(
        {
            "study": {"title": "Ring push"},
            "groups": [{"name": "programme"}],
            "tests": [
                {"phase": "progress", "name": "week 2", "session": 2, "trials": 20},
                {"phase": "progress", "name": "week 4", "session": 4, "trials": 20},
                {"phase": "retention", "trials": 20, "interval_days": 7},
            ],
            "outcomes": [{"name": "hits", "better": "higher"}],
        }
    )
    table = pd.DataFrame({"phase": ["progress", "progress", "retention"], "session": [4, 2, 5]})
    assert stage_column(table, plan).tolist() == ["progress 2", "progress 1", "retention"]
    assert [stage.name for stage in stages_of(plan)] == ["progress 1", "progress 2", "retention"]
    voice = Voice(plan, plan.outcomes[0])
    assert voice.at("progress 1") == "the progress test week 2"
    assert voice.is_delayed("retention") and not voice.is_delayed("progress 2")
    renumbered = table.assign(session=[12, 11, 13])
    assert stage_column(renumbered, plan).tolist() == ["progress 2", "progress 1", "retention"]


def test_the_design_chooses_what_standards_ask():
    asked = standards_checklist(design_from_mapping(PLAN), {"Method"})
    assert {"JARS-Quant", "TIDieR", "CONSORT 2025"} == set(asked["standard"])
    assert not asked.duplicated(["standard", "item"]).any()
    assert asked.loc[asked["number"] == "17b", "where"].item() == "section Method"
    numbers = asked.loc[asked["standard"] == "CONSORT 2025", "number"].tolist()
    assert numbers[:2] == ["1", "2"] and numbers.index("16b") == numbers.index("16a") + 1
    one = standards_checklist(design_from_mapping(PLAN | {"groups": [{"name": "drill"}]}), set())
    assert {"JARS-Quant", "TIDieR"} == set(one["standard"]) and not one["covered"].any()
    for words in ("ethics", "consent", "analysis plan", "conflicts of interest", "harm"):
        assert one["item"].str.contains(words).any() and asked["item"].str.contains(words).any()
    found = design_from_mapping(PLAN | {"allocation": {"method": "own"}})
    assert standards_checklist(found, set())["item"].str.contains("how groups came about").any()


def test_items_known_from_memory_say_so():
    asked = standards_checklist(design_from_mapping(PLAN), set())
    assert set(asked.loc[asked["standard"] == "CONSORT 2025", "source"]) == {"read"}
    assert asked.loc[asked["item"].str.contains("consent"), "source"].item() == "recalled"
    scribe = standards_checklist(studies.one_athlete().design, set())
    assert len(scribe) == 26 and scribe["source"].tolist() == 12 * ["read"] + 14 * ["recalled"]


def test_classes_and_looks_are_asked_about():
    units = standards_checklist(studies.classes().design, set())
    assert units["item"].str.contains("who agreed for the unit").any()
    assert units["item"].str.contains("or that there were none").any()


def test_small_words():
    assert decimals_for(float("nan")) == 2
    assert [decimals_for(spread) for spread in (1e-6, 0.015, 500)] == [4, 3, 0]
    assert [count(0, "trial"), count(1, "trial")] == ["0 trials", "1 trial"]
    assert [listed([]), listed(["a"]), listed(["a", "b"])] == ["", "a", "a and b"]


@pytest.mark.parametrize(
    ("effect", "limits", "told"),
    [
        ("ratio", (0.83, 0.998), "95 % CI 0.830 to 0.998"),
        ("ratio", (0.83, 1.01), "95 % CI 0.83 to 1.01"),
        ("difference", (0.02, 3.1), "95 % CI 0.02 to 3.10 cm"),
    ],
)
def test_no_limit_is_written_as_the_null_that_it_is_not(effect, limits, told):
    row = pd.Series({"effect": effect, "conf_low": limits[0], "conf_high": limits[1]})
    assert interval_clause(row, make_voice()) == told


@pytest.mark.parametrize(
    ("bound", "told"), [(3.49914, "(−3.5 to 3.5 cm)"), (0.125, "(−0.125 to 0.125 cm)")]
)
def test_a_bound_made_from_an_sd_has_the_decimals_of_the_scores(bound, told):
    row = pd.Series(contrast(conf_low=-1.0, conf_high=0.5))
    tests = {"bound_low": -bound, "bound_high": bound, "conf_low": -0.8, "conf_high": 0.3}
    judged = judge(row, pd.Series(tests | {"p": 0.4, "equivalent": False}))
    assert told in verdict_sentence(judged, row, make_voice())
