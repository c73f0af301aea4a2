"""Nonsense handed to the planning room is refused in words, never by a foreign exception."""

import numpy as np
import pandas as pd
import pytest
from plans_of_tests import SOUND, plan

import motorlearn as ml
from motorlearn.exceptions import DesignError, InputError
from motorlearn.plan import (
    planned_trials,
    radius_for,
    variability_power,
    williams_design,
    williams_orders,
)

PEOPLE = ["P01", "P02", "P03", "P04"]
RATIO = {"ratio": 1.2, "seed": 1}


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: ml.allocate(PEOPLE, ["a", "b"], seed=1, certainty=5), "from 0.5 to 1"),
        (lambda: ml.allocate(PEOPLE, ["a", "b"], seed=1, strata=3), "strata must be a list"),
        (lambda: williams_orders("x"), "number of tasks must be a whole number"),
        (lambda: williams_orders(2.5), "number of tasks must be 1 or more, a whole number"),
        (lambda: williams_orders(10**7), "beyond any study"),
        (lambda: williams_design("ABC"), "tasks must be a list of names"),
        (lambda: williams_design(None), "tasks must be a list of names"),
        (lambda: radius_for("x", spread=1), "the wanted hit rate must be a number"),
        (lambda: radius_for(0.4, spread=-1), "spread must be a number from 0"),
        (lambda: radius_for(0.4), "neither a spread nor landing points"),
        (lambda: variability_power("x", 10, **RATIO), "trials must be a whole number"),
        (lambda: variability_power(10, 1.5, **RATIO), "participants must be 2 or more"),
        (lambda: variability_power([], 10, **RATIO), "trials must be 2 or more"),
        (lambda: variability_power(10, 10, ratio="x", seed=1), "ratio must be a number"),
        (lambda: variability_power(10, 10, ratio=0, seed=1), "ratio of variances lies above 0"),
        (lambda: variability_power(10, 10, ratio=1.2, seed=None), "no seed"),
        (lambda: variability_power(10, 10, **RATIO, simulations="x"), "simulations must be"),
        (lambda: variability_power(10, 10, **RATIO, alpha=3), "alpha must be a number"),
        (lambda: variability_power(10, 10, **RATIO, between_sd=-1), "between_sd must be"),
        (lambda: ml.simulate_study(plan(), seed=-1), "seed must be 0 or more"),
        (lambda: ml.simulate_study(plan(), seed=None), "no seed"),
        (lambda: ml.simulate_study(plan(), seed="x"), "seed must be a whole number"),
        (lambda: ml.simulate_study("study", seed=1), "a plan that was read"),
        (lambda: ml.audit_design("study"), "a plan that was read"),
        (lambda: ml.power("study", n=12, seed=1), "a plan that was read"),
        (lambda: ml.power(plan(), n=12, seed=1, assumptions={"baseline": 3}), "those of a plan"),
        (lambda: ml.plan.write_sheets(plan(), "s", seed=1, double="x"), "double must be a number"),
        (lambda: ml.plan.write_sheets(plan(), "s", seed=1, clips_per_test=1.5), "clips_per_test"),
        (lambda: ml.plan.write_sheets(plan(), "s", seed=1, participants="P01"), "a list of ident"),
        (lambda: planned_trials(plan(), pd.DataFrame({"participant": ["P"]}), seed=1), "lacks a"),
        (
            lambda: planned_trials(
                plan(), pd.DataFrame({"participant": ["P"], "group": ["z"]}), seed=1
            ),
            "groups the plan lacks.*blocked, random",
        ),
    ],
)
def test_nonsense_is_refused_in_words(call, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match=words):
        call()


def test_numbers_of_numpy_are_numbers():
    table = variability_power(np.int64(10), np.array([6, 8]), **RATIO, simulations=10)
    assert table["participants"].tolist() == [6, 8]


def test_people_may_be_a_list_of_identifiers(tmp_path):
    folder = ml.plan.write_sheets(plan(), tmp_path / "s", seed=1, participants=PEOPLE)
    listed = pd.read_csv(folder / "concealed" / "participants.csv")
    assert listed["participant"].tolist() == PEOPLE


def test_a_gain_above_the_baseline_is_refused_unless_scores_go_below_zero():
    gain = {**SOUND["assumptions"], "gain": 50}
    free = [{"name": "radial_error", "unit": "cm", "better": "lower"}]
    with pytest.raises(DesignError, match=r"assumptions.gain 50 .* set outcomes.low"):
        plan(assumptions=gain, outcomes=free)
    plan(assumptions=gain, outcomes=[{**free[0], "low": -100}])
