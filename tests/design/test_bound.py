"""The smallest effect of interest in hits, for outcomes that are told as a rate."""

import pytest

import motorlearn as ml
from motorlearn.design import design_from_mapping, hits_declared_of, smallest_effect_of
from motorlearn.wording.method import outcome_paragraph


def plan(outcome, value, **primary):
    return design_from_mapping(
        {
            "study": {"title": "Ring push"},
            "groups": [{"name": "programme", "size": 24}],
            "practice": [{"session": 1, "day": 0, "trials_per_block": 40}],
            "tests": [
                {"phase": "pretest", "trials": 20},
                {"phase": "retention", "trials": 20, "interval_days": 7},
            ],
            "outcomes": [{"name": outcome, "better": "higher"}],
            "primary": {"outcome": outcome, **primary},
            "smallest_effect": {"value": value, "reason": "what a coach would see"},
            "assumptions": {"baseline": 0.4, "between_sd": 0.5, "gain": 0.8},
        }
    )


@pytest.mark.parametrize(
    ("outcome", "value", "wanted", "hits"),
    [("hit", 2, 0.1, 20), ("hit_rate", 2, 0.1, 20), ("hit", 0.1, 0.1, None), ("hits", 2, 2, None)],
)
def test_hits_for_a_rate_are_hits_of_the_trials_of_the_test(outcome, value, wanted, hits):
    assert smallest_effect_of(plan(outcome, value)) == wanted
    assert hits_declared_of(plan(outcome, value)) == hits


def test_a_ratio_is_no_number_of_hits():
    assert smallest_effect_of(plan("hit", 1.2, effect="ratio")) == 1.2


def test_power_and_audit_take_2_hits_of_20_as_they_take_a_rate_of_a_tenth():
    found = [
        ml.power(plan("hit", value), n=[14], simulations=20, seed=1).table for value in (2, 0.1)
    ]
    assert found[0].equals(found[1])
    said = [" ".join(ml.audit_design(plan("hit", value)).statements) for value in (2, 0.1)]
    assert said[0] == said[1]
    assert "0.100 hit rate" in said[0]


def test_the_method_says_both():
    text = outcome_paragraph(plan("hit", 2))
    assert "The smallest effect of interest was 2 hits of 20 (a rate of 0.1)" in text
