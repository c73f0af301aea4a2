"""Power of a main effect and of an interaction against the noncentral t of the cells."""

import pytest

import motorlearn as ml
from motorlearn.design import design_from_mapping
from motorlearn.plan.power.closed_form import t_power

PLAN = {
    "study": {"title": "Ring push"},
    "factors": [
        {"name": "order", "levels": ["blocked", "random"]},
        {"name": "aid", "levels": ["always", "faded"]},
    ],
    "tests": [{"phase": "pretest", "trials": 20}, {"phase": "retention", "trials": 20}],
    "practice": [{"session": 1, "day": 0, "blocks": 6, "trials_per_block": 10}],
    "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    "assumptions": {"baseline": 38, "between_sd": 6.5, "within_sd": 15, "gain": 12},
}


@pytest.mark.parametrize(("named", "effect"), [(["order"], 3.0), (["order", "aid"], 6.0)])
def test_power_is_that_of_the_closed_form(named, effect):
    primary = {"outcome": "radial_error", "phase": "retention", "factors": named}
    design = design_from_mapping(PLAN | {"primary": primary})
    found = ml.power(design, n=[20], effects=[effect], simulations=2000, seed=2).table.iloc[-1]
    assert found["power"] == pytest.approx(found["closed_form"], abs=4 * found["mc_error"] + 0.01)
    # A main effect is a t of twice the people, an interaction has four times its variance; the
    # baseline only adds to either.
    scale = 1.0 if len(named) == 1 else 0.5
    assert found["closed_form"] > t_power(40, found["d"] * scale)
