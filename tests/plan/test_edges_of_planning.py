"""Rules of planning, each on both sides of its edge, by hand."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from plans_of_tests import HITS, plan

import motorlearn as ml
from motorlearn.plan import inflate_for_attrition
from motorlearn.plan.power import hit_models, sequential
from motorlearn.plan.power.planned import scenario
from motorlearn.plan.power.power import _alarms
from motorlearn.plan.power.simulated_scores import draw_batch
from motorlearn.plan.schedules.random_orders import Wanted, _cycle
from motorlearn.plan.schedules.task_orders import _event_order, _parts


def test_half_that_leave_ask_for_twice_as_many():
    assert inflate_for_attrition(20, 0.5) == 40
    assert inflate_for_attrition(27, 0.1) == 30


@pytest.mark.parametrize(
    ("mc_low", "failed", "words"),
    [
        (0.045, 2, []),
        (0.055, 2, ["effects that are not there"]),
        (0.045, 3, ["could not be analysed"]),
    ],
)
def test_an_alarm_needs_a_rate_clearly_above_the_level_or_more_than_two_in_a_hundred_lost(
    mc_low, failed, words
):
    row = {"kind": "false positives", "power": 0.06, "mc_low": mc_low, "mc_high": 0.08, "n": 12}
    table = pd.DataFrame([row | {"failed": failed, "simulations": 100}])
    notes = _alarms(table, 0.05)
    assert len(notes) == len(words) and all(w in n for w, n in zip(words, notes, strict=True))


def test_a_study_stops_once_and_at_the_level_of_that_look(monkeypatch):
    # Three studies: one crosses at both looks, one at the second alone, one never.
    by_look = iter([[0.005, 0.02, 0.5], [0.005, 0.03, 0.5]])
    monkeypatch.setattr(sequential, "draw_batch", lambda *_: None)
    monkeypatch.setattr(sequential, "_first", lambda *_: None)
    monkeypatch.setattr(
        sequential, "analyse", lambda *_: SimpleNamespace(p=np.array(next(by_look)))
    )
    cell = SimpleNamespace(plan=SimpleNamespace(trials=4), n=10, seed=1, effect=0.0)
    asked = SimpleNamespace(cell=cell, levels=(0.01, 0.04), sizes=np.array([[5, 5], [10, 10]]))
    assert sequential._stops((asked, 0, 3)).tolist() == [1, 1]


def test_hits_whose_search_did_not_settle_have_no_estimate(monkeypatch):
    base = scenario(plan(**HITS))
    batch = draw_batch(base, 12, 0.0, 3, np.random.default_rng(2))
    good, *_ = hit_models.fit_hits(batch, np.array([-1.0, 1.0]))
    search = hit_models.minimise

    def stopped(*asked, **options):
        found = search(*asked, **options)
        steep = found.gradient + np.array([0.0, 100.0, 0.0])[:, None]
        return replace(found, gradient=steep)

    monkeypatch.setattr(hit_models, "minimise", stopped)
    found, *_ = hit_models.fit_hits(batch, np.array([-1.0, 1.0]))
    assert np.isfinite(good).all()
    assert np.isnan(found).tolist() == [False, True, False]


@pytest.mark.parametrize(("classes", "told"), [(9, True), (10, False)])
def test_fewer_than_ten_classes_are_few(classes, told):
    people = pd.DataFrame({"participant": [f"P{i:02d}" for i in range(40)]})
    people["class"] = [f"c{i % classes}" for i in range(40)]
    list_ = ml.allocate(people, ["blocked", "random"], cluster="class", seed=1)
    assert ("only a comparison of cluster means" in " ".join(list_.warnings)) == told


@pytest.mark.parametrize(("small", "told"), [(2, False), (3, True)])
def test_blocks_balance_little_where_most_strata_hold_fewer_people_than_a_block(small, told):
    # Four strata; so many of them hold one person and the others four.
    strata = np.repeat(list("abcd"), [1] * small + [4] * (4 - small))
    people = pd.DataFrame({"participant": [f"P{i:02d}" for i in range(len(strata))]})
    drawn = ml.allocate(
        people.assign(club=strata, one=1), ["blocked", "random"], strata=["one", "club"], seed=1
    )
    assert any("use fewer strata" in note for note in drawn.warnings) == told


def test_two_halves_of_a_test_hand_out_odd_trials_to_different_tasks():
    # 10 = 3 x 3 + 1 in each half: one more for the first task, then for the second.
    order = _event_order(10, [("blocked", 10), ("random", 10)], 3, 0, 3, np.random.default_rng(1))
    assert np.bincount(order).tolist() == [7, 7, 6]


def test_a_cycle_goes_on_with_another_task_where_the_last_run_is_full():
    for seed in range(12):
        drawn = _cycle(Wanted(3, 6, 6, 2, 0), 0, [0, 1, 1], np.random.default_rng(seed))
        assert drawn[0] != 1 and sorted(drawn) == [0, 0, 1, 1, 2, 2]


@pytest.mark.parametrize(("trials", "second"), [(6, []), (10, [("random", 4)])])
def test_a_test_of_one_block_has_no_second_half(trials, second):
    event = SimpleNamespace(order="blocked-and-random", block_size=6, trials=trials)
    assert _parts(event, "serial", 0) == [("blocked", 6), *second]
