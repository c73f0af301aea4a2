"""What a plan may just say, and what it may just not."""

import pytest

from motorlearn.design import design_from_mapping, hits_declared_of, smallest_effect_of
from motorlearn.design.interim import InterimPlan
from motorlearn.design.randomisation import Randomisation
from motorlearn.design.times import TimeRules
from motorlearn.exceptions import InputError, MotorlearnError


def plan(tests, **more):
    return design_from_mapping(
        {
            "study": {"title": "Ring push"},
            "groups": [{"name": "blocked"}, {"name": "random"}],
            "tests": tests,
            "outcomes": [{"name": "hit", "better": "higher"}],
        }
        | more
    )


SOON = {"phase": "retention", "name": "soon", "trials": 20, "interval_days": 1}
LATE = {"phase": "retention", "name": "late", "trials": 40, "interval_days": 30}


@pytest.mark.parametrize(
    ("named", "value", "hits", "rate"),
    [
        ({}, 1, 40, 1 / 40),
        ({"test": "soon"}, 1, 20, 1 / 20),
        ({"test": "late"}, 2, 40, 1 / 20),
        ({"test": "late"}, 0.5, None, 0.5),
    ],
)
def test_one_hit_is_a_hit_of_the_test_that_is_named(named, value, hits, rate):
    primary = {"outcome": "hit", "phase": "retention", **named}
    design = plan([SOON, LATE], primary=primary, smallest_effect={"value": value})
    assert hits_declared_of(design) == hits
    assert smallest_effect_of(design) == pytest.approx(rate)


def test_a_primary_test_has_a_name_of_that_phase():
    with pytest.raises(MotorlearnError, match=r"'last' is not the name of a retention test: soon"):
        plan([SOON, LATE], primary={"outcome": "hit", "phase": "retention", "test": "last"})


def test_cut_offs_of_times():
    assert TimeRules(other_cut_offs=[[0, 4.0]]).other_cut_offs == ((0.0, 4.0),)
    for wrong, words in (
        ({"other_cut_offs": [[4.0, 4.0]]}, "a shortest and a longest time"),
        ({"fastest": 2.0, "slowest": 2.0, "reason": "r"}, "swap them"),
        ({"scale": "log", "shift": 3.0, "slowest": 3.0, "reason": "r"}, "above every time"),
    ):
        with pytest.raises(ValueError, match=words):
            TimeRules(**wrong)


@pytest.mark.parametrize(("scale", "words"), [("raw", "slow less fast"), ("log", "slow by fast")])
def test_two_kinds_of_trials_are_subtracted_or_divided(scale, words):
    rules = TimeRules(contrast="kind", first="slow", second="fast", scale=scale)
    assert f"the outcome is {words} (kind)" in rules.told("s")


def test_conditions_alternate_over_twice_the_fewest_sessions():
    rule = Randomisation("alternating", minimum=4)
    rule.check(1, 8)
    for sessions in (6, 9):
        with pytest.raises(InputError, match="an even number of sessions, 8 or more"):
            rule.check(1, sessions)


def test_twenty_looks_are_the_most():
    assert len(InterimPlan(fractions=[(k + 1) / 20 for k in range(20)]).fractions) == 20
    with pytest.raises(ValueError, match="20 looks at most"):
        InterimPlan(fractions=[(k + 1) / 21 for k in range(21)])
