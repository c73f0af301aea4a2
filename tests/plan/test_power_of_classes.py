"""Power where classes are allocated: simulated, by the design effect and by statsmodels' t test."""

import numpy as np
import pytest
from plans_of_tests import plan
from statsmodels.stats.power import TTestIndPower

import motorlearn as ml
from motorlearn.plan.audit.finds import finds
from motorlearn.plan.power.class_means import class_mean_power
from motorlearn.plan.power.planned import scenario

ASSUMED = {
    "baseline": 38, "between_sd": 6.5, "within_sd": 15, "gain": 12, "cluster_size": 10,
    "cluster_icc": 0.1,
}  # fmt: skip
TEST = {"phase": "retention", "trials": 36, "interval_days": 7}
WAY = {"unit": "class", "method": "cluster", "seed": 1}


def classes(tests=(TEST,), **more):
    return plan(
        tests=list(tests),
        groups=[{"name": "blocked", "size": 100}, {"name": "random", "size": 100}],
        primary={"outcome": "radial_error", "groups": ["random", "blocked"], **more},
        allocation=WAY,
        assumptions=ASSUMED,
        smallest_effect={"value": 4},
    )


def test_without_baseline_it_is_the_t_test_of_class_means_with_the_design_effect():
    found = scenario(classes(baseline=None))
    d = found.to_d(4)
    # Ten classes a side of ten people: variance of a class mean sd² (1 + 9 × .1) / 10.
    theirs = TTestIndPower().power(d / np.sqrt(1.9 / 10), 10, 0.05)
    ours = class_mean_power(found, d, np.array([10.0, 10.0]), 10)
    assert ours == pytest.approx(theirs, abs=1e-6)
    assert finds(classes(baseline=None)).power == pytest.approx(theirs, abs=1e-6)


def test_simulated_power_agrees_with_the_closed_form_with_and_without_a_baseline():
    for design in (
        classes(baseline=None), classes((TEST | {"phase": "pretest", "interval_days": None}, TEST))
    ):  # fmt: skip
        table = ml.power(design, n=60, simulations=1000, seed=1, effects=[3]).table
        row = table[table["kind"] == "power"].iloc[0]
        assert row["power"] == pytest.approx(row["closed_form"], abs=4 * row["mc_error"])


def test_what_a_plan_of_classes_can_find_is_told_in_classes():
    found = finds(classes(baseline=None))
    assert found.n == "10 and 10 times 10 people"
    back = scenario(classes(baseline=None))
    power = class_mean_power(back, back.to_d(found.detectable), np.array([10.0, 10.0]), 10)
    assert power == pytest.approx(0.8, abs=1e-6)
