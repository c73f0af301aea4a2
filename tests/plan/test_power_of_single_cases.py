"""Power of a single case against what the number of ways to draw allows, in closed form."""

import pytest

import motorlearn as ml
from motorlearn.exceptions import InputError


def plan(**more):
    case = {"design": "AB", "sessions": 30, "starts": [6, 25]} | more
    return ml.design.design_from_mapping(
        {
            "study": {"title": "Ring push of one"},
            "single_case": case,
            "outcomes": [{"name": "radial_error", "better": "lower"}],
        }
    )


@pytest.mark.parametrize(("last", "power"), [(25, 1.0), (24, 0.0)])
def test_a_huge_effect_is_found_where_one_of_the_ways_is_a_twentieth(last, power):
    """With k start points the smallest p is 1 / k: 20 can reach .05, 19 cannot."""
    found = ml.plan.single_case_power(plan(starts=[6, last]), seed=1, effects=[80], simulations=40)
    assert found.table["power"].iloc[0] == power
    assert found.table["smallest_p"].iloc[0] == pytest.approx(1 / (last - 5))


@pytest.mark.parametrize("correlation", [0.0, 0.8])
def test_without_an_effect_one_in_twenty_is_found_however_alike_neighbours_are(correlation):
    """One of 20 equally likely ways is the furthest out, so that the rate is exactly .05."""
    found = ml.plan.single_case_power(
        plan(), seed=3, effects=[0], simulations=800, correlation=correlation
    )
    assert found.table["power"].iloc[0] == pytest.approx(0.05, abs=4 * 0.0077)


def test_power_grows_with_the_effect_and_a_plan_without_a_draw_has_none():
    design = plan(design="multiple baseline", starts=[[6, 9], [10, 13], [14, 17], [18, 21]])
    found = ml.plan.single_case_power(design, seed=1, cases=4, effects=[0.5, 2], simulations=60)
    assert found.table["power"].iloc[0] < found.table["power"].iloc[1]
    with pytest.raises(InputError, match="draws nothing by lot"):
        ml.plan.single_case_power(plan(randomised=False, starts=[]), seed=1)
    assert "20 ways of drawing" in str(
        ml.plan.single_case_power(plan(), seed=1, effects=[1], simulations=10)
    )
