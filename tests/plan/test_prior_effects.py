"""Published effects of practice order, and those of the plan's age group beside them."""

import pytest
from plans_of_tests import SOUND, plan

import motorlearn as ml
from motorlearn.plan import prior_effects

TRANSFER = {
    "tests": [*SOUND["tests"], {"phase": "transfer", "trials": 30, "interval_days": 7}],
    "primary": {**SOUND["primary"], "phase": "transfer"},
}


def named(**changes):
    table = ml.power(plan(**changes), n=8, simulations=4, seed=1)
    return set(table.table["effect_name"]), " ".join(table.warnings)


def test_every_row_has_a_source_and_says_whether_it_was_read():
    """Values as printed in the abstracts of Czyż et al. 2024 (two) and Ammar et al. 2024."""
    table = prior_effects()
    assert set(table["status"]) == {"abstract read", "from memory"}
    assert table.loc[table["status"] == "abstract read", "source"].str.contains("doi:").all()
    transfer = table[table["test"] == "transfer"].set_index(["setting", "people"])["effect"]
    assert transfer.to_dict() == {
        ("overall", "all"): 0.55,
        ("laboratory", "all"): 0.75,
        ("applied", "all"): 0.34,
        ("overall", "young"): 0.12,
        ("overall", "adults"): 0.54,
        ("overall", "older adults"): 1.28,
    }


@pytest.mark.parametrize("sample", [{"minors": True}, {"age_low": 14}, {"age_high": 12}])
def test_a_plan_with_minors_shows_the_effect_of_the_young(sample):
    effects, notes = named(sample=sample, **TRANSFER)
    assert {"laboratory: d = 0.75", "applied: d = 0.34", "young: d = 0.12"} <= effects
    assert "In young participants the pooled effect of random over blocked practice" in notes
    said = ml.audit_design(plan(sample=sample, **TRANSFER)).statements
    assert any("young participants" in text and "d = 0.12" in text for text in said)


def test_where_the_abstract_gives_a_word_the_word_is_shown():
    effects, notes = named(sample={"minors": True})
    assert not any("young" in name for name in effects)
    assert "on retention was described as negligible, not significant" in notes
    assert "doi:10.1038/s41598-024-65753-3" in notes


def test_adults_and_plans_without_orders_are_told_nothing_of_it():
    effects, notes = named(sample={"age_low": 18, "age_high": 40}, **TRANSFER)
    assert not any("young" in name for name in effects)
    assert "young" not in notes
    assert "older adults: d = 1.28" in named(sample={"age_low": 65}, **TRANSFER)[0]
    same = [{**group, "schedule": "random"} for group in SOUND["groups"]]
    assert "young" not in named(sample={"minors": True}, groups=same)[1]
