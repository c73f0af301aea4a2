"""Every result of planning prints, writes itself as JSON and comes back the same."""

import numpy as np
import pytest
from plans_of_tests import HITS, plan, programme

import motorlearn as ml
from motorlearn.exceptions import DesignError
from motorlearn.plan import compare_with_plan, pilot_page, simulate_study, throw_load


@pytest.fixture(scope="module")
def results():
    study = simulate_study(plan(), seed=1)
    people = [f"P{i}" for i in range(8)]
    return {
        "audit": ml.audit_design(programme()),
        "load": throw_load(programme()),
        "allocation": ml.allocate(people, ["a", "b"], seed=1),
        "power": ml.power(plan(), n=[8, 12], simulations=40, seed=1),
        "pilot": pilot_page(study.trials.table, "hit"),
        "deviations": compare_with_plan(study, analyses=[("hit", "retention", "ancova")]),
    }


@pytest.mark.parametrize("name", ["audit", "load", "allocation", "power", "pilot", "deviations"])
def test_results_print_and_come_back_from_json(results, name):
    result = results[name]
    assert len(str(result)) > 100
    assert "<table" in result._repr_html_()
    again = type(result).from_json(result.to_json())
    assert str(again) == str(result)


def test_simulated_power_lies_near_its_closed_form():
    table = ml.power(plan(), n=[16, 32], simulations=2000, seed=3, effects=[3, 5]).table
    rows = table[table["kind"] == "power"]
    assert np.allclose(rows["power"], rows["closed_form"], atol=0.05)
    none = table[table["kind"] != "power"]["closed_form"]
    assert np.allclose(none, 0.05)


def test_hits_have_no_closed_form():
    table = ml.power(plan(**HITS), n=10, simulations=20, seed=3).table
    assert table["closed_form"].isna().all()


@pytest.mark.parametrize(
    "change",
    [
        {"tasks": None},
        {"tasks": [{"name": f"t{i}"} for i in range(8)]},
        {
            "tests": [
                {
                    "phase": "retention",
                    "trials": 7,
                    "order": "blocked-and-random",
                    "interval_days": 30,
                }
            ]
        },
        {"practice": None},
        {"target": None},
        {
            "groups": [
                {"name": "a", "schedule": "increasing", "size": 2},
                {"name": "b", "schedule": "constant", "size": 5},
                {"name": "c", "schedule": "variable", "size": 1},
            ],
            "primary": None,
        },
    ],
    ids=["no tasks", "eight tasks", "odd test", "no practice", "no target", "odd groups"],
)
def test_odd_plans_are_simulated(change):
    design = plan(**change)
    study = simulate_study(design, seed=1)
    table = study.trials.table
    assert set(table["group"]) == set(design.group_names)
    assert set(table["phase"]) == set(design.phases)
    sizes = table.groupby("group")["participant"].nunique()
    assert sizes.to_dict() == {group.name: group.size for group in design.groups}


def test_a_progress_test_without_a_day_is_refused():
    tests = [{"phase": "progress", "trials": 5}]
    with pytest.raises(DesignError, match="progress test has no day"):
        simulate_study(plan(tests=tests, primary=None), seed=1)
