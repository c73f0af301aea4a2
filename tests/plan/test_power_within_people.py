"""Power where people meet both conditions: simulated, in closed form, by statsmodels' t test."""

from itertools import pairwise

import numpy as np
import pytest
from plans_of_tests import plan
from scipy import stats
from statsmodels.stats.power import TTestPower

import motorlearn as ml
from motorlearn.design import counterbalanced
from motorlearn.exceptions import DesignError, InputError
from motorlearn.plan.allocation.planned import allocate_plan
from motorlearn.plan.audit.finds import finds
from motorlearn.plan.power.planned import scenario
from motorlearn.plan.power.within_people import within_power

ASSUMED = {
    "baseline": 38, "between_sd": 6.5, "within_sd": 15, "gain": 12, "condition_correlation": 0.6,
}  # fmt: skip
TEST = {"phase": "retention", "trials": 36, "interval_days": 7}
BEFORE = TEST | {"phase": "pretest", "interval_days": None}


def both(
    tests=(TEST,), *, n=30, assumed=ASSUMED, within=None, conditions=("blocked", "random"), **more
):
    return plan(
        tests=list(tests),
        groups=[{"name": name, "size": n} for name in conditions],
        primary={"outcome": "radial_error", "groups": ["random", "blocked"], **more},
        within=within or {"washout_days": 14},
        allocation={"seed": 3},
        assumptions=assumed,
        smallest_effect={"value": 2.5},
    )


def test_without_baseline_it_is_the_paired_t_test_with_one_degree_for_the_period():
    found = scenario(both(baseline=None, n=200))
    sd = np.sqrt(2 * (found.score_sd() ** 2 - 0.6 * 6.5**2))
    theirs = TTestPower().power(1.0 / sd, 200, 0.05)
    ours = within_power(found, found.to_d(1.0), 200)
    assert ours == pytest.approx(theirs, abs=2e-3)
    assert finds(both(baseline=None, n=200)).power > 0.99


def test_simulated_power_agrees_with_the_closed_form_with_and_without_a_baseline():
    for design in (both(baseline=None), both((BEFORE, TEST))):
        table = ml.power(design, n=20, simulations=2000, seed=2, effects=[0, 2.5]).table
        for row in table.to_dict("records"):
            assert row["power"] == pytest.approx(row["closed_form"], abs=4 * row["mc_error"])


@pytest.mark.parametrize("tests", [(TEST,), (BEFORE, TEST)])
def test_two_of_three_conditions_cost_a_degree_of_freedom_more(tests):
    """Simulated against the t test of n - 3 degrees of freedom, n - 4 with a baseline."""
    more = {} if len(tests) > 1 else {"baseline": None}
    design = both(tests, conditions=("blocked", "serial", "random"), **more)
    table = ml.power(design, n=18, simulations=1500, seed=2, effects=[0, 3]).table
    for row in table.to_dict("records"):
        assert row["power"] == pytest.approx(row["closed_form"], abs=4 * row["mc_error"])
    if len(tests) == 1:
        found = scenario(design)
        sd = np.sqrt(2 * (found.score_sd() ** 2 - 0.6 * 6.5**2))
        critical = stats.t.isf(0.025, 15)
        shift = 3 * np.sqrt(18) / sd
        wanted = stats.nct.sf(critical, 15, shift) + stats.nct.cdf(-critical, 15, shift)
        assert table["closed_form"].iloc[1] == pytest.approx(wanted, rel=1e-6)


def test_the_correlation_between_conditions_has_to_be_said():
    assumed = {k: v for k, v in ASSUMED.items() if k != "condition_correlation"}
    with pytest.raises(InputError, match="condition_correlation is missing"):
        ml.power(both(assumed=assumed), n=20, seed=1)


def test_orders_are_counterbalanced_for_place_and_for_what_goes_before():
    for names in ("ab", "abc", "abcd", "abcde", "abcdef"):
        orders = counterbalanced(list(names))
        for place in range(len(names)):
            held = [order[place] for order in orders]
            assert {held.count(name) for name in names} == {len(orders) // len(names)}
        follows = [pair for order in orders for pair in pairwise(order)]
        assert len({follows.count(pair) for pair in set(follows)}) == 1
        assert len(set(follows)) == len(names) * (len(names) - 1)


def test_orders_are_what_the_plan_allocates():
    drawn = allocate_plan(both(n=30)).table
    assert drawn["group"].value_counts().to_dict() == {
        "blocked then random": 15, "random then blocked": 15,
    }  # fmt: skip


def test_the_audit_of_the_plan_names_orders_and_what_carries_over():
    said = str(ml.audit_design(both()))
    assert "what was learnt carries over" in said and "not counterbalanced" not in said
    one = both(within={"sequences": [["blocked", "random"]]})
    assert "order not counterbalanced" in str(ml.audit_design(one))


BAD = {
    "a sequence without a group": (
        {"within": {"sequences": [["blocked", "blocked"]]}}, "does not hold every group once"
    ),
    "washout": ({"within": {"washout_days": -1}}, "washout_days"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_bad_plans_are_refused_in_one_sentence(case):
    more, words = BAD[case]
    with pytest.raises(DesignError, match=words):
        both(**more)
