"""The generator against its equations, worked by hand for one person."""

import dataclasses
import math

import numpy as np
import pytest
from plans_of_tests import plan

from motorlearn.plan import PRESETS
from motorlearn.plan.simulation.generator import People, draw_landings, draw_people, log_spread
from motorlearn.plan.timetable import timetable

TESTS = [
    {"phase": "pretest", "trials": 4},
    {"phase": "posttest", "trials": 4, "interval_days": 0},
    {"phase": "retention", "trials": 4, "interval_days": 7},
    {"phase": "transfer", "trials": 4, "interval_days": 7, "description": "far"},
]
PRACTICE = [{"session": s, "day": s - 1, "trials_per_block": 10} for s in (1, 2)]
PLAN = timetable(plan(tests=TESTS, practice=PRACTICE))
ONE = People(*(np.array([value]) for value in (2.7, 0.6, 0.05, 0.4, 3.0, -5.0)))
GAIN, RATE, LOST = 0.6, 0.05, 0.4


def spread_of(tasks=None, shifts=None):
    tasks = np.zeros((1, len(PLAN.event)), dtype=int) if tasks is None else tasks
    shifts = np.zeros((1, len(PLAN.events))) if shifts is None else shifts
    return log_spread(ONE, tasks, shifts, PLAN, PRESETS["null"])[0]


def left(practised):
    return GAIN * math.exp(-RATE * practised)


def test_spread_follows_practice_forgetting_and_the_start_of_tests():
    spread = spread_of() - 2.7
    end = left(20)
    warm = [0.12 * math.exp(-i / 2) for i in range(4)]
    assert spread[:4] == pytest.approx([GAIN + w for w in warm])
    assert spread[4:14] == pytest.approx([left(i) for i in range(10)])
    restart = [0.10 * math.exp(-i / 5) for i in range(10)]
    assert spread[14:24] == pytest.approx([left(10 + i) + restart[i] for i in range(10)])
    assert spread[24:28] == pytest.approx([end + (GAIN - end) * 0.05 + w for w in warm])
    assert spread[28:32] == pytest.approx([end + (GAIN - end) * LOST + w for w in warm])
    assert spread[32:] == pytest.approx([end + (GAIN - end) * LOST + 0.15 + w for w in warm])


def test_practice_of_one_task_leaves_the_others_alone():
    tasks = np.zeros((1, len(PLAN.event)), dtype=int)
    tasks[0, -1] = 1
    transferred = spread_of(tasks)[-1] - 2.7
    # Task 2 was never practised, so all its gain is still to come; it is harder by .18.
    assert transferred == pytest.approx(GAIN + 0.18 + 0.15 + 0.12 * math.exp(-1.5))


def test_shifts_act_in_their_event_only():
    shifts = np.zeros((1, len(PLAN.events)))
    shifts[0, 4] = -0.13
    moved = spread_of(shifts=shifts) - spread_of()
    assert moved == pytest.approx(np.where(PLAN.event == 4, -0.13, 0.0))


def test_landing_points_have_the_spread_bias_and_correlation_asked_for():
    preset = dataclasses.replace(PRESETS["null"], mishit_share=0.0)
    people = People(*(np.repeat(value, 4000) for value in vars(ONE).values()))
    spread = np.full((4000, len(PLAN.event)), math.log(10.0))
    x, y = draw_landings(people, spread, PLAN, preset, np.random.default_rng(1))
    retention = PLAN.event == 4
    assert x[:, retention].std() == pytest.approx(7.5, rel=0.02)
    assert y[:, retention].std() == pytest.approx(10.0, rel=0.02)
    assert x[:, retention].mean() == pytest.approx(3.0 * 0.5, abs=0.3)
    assert y[:, retention].mean() == pytest.approx(-5.0 * 0.5, abs=0.4)
    first = PLAN.event == 1
    here, after = y[:, first][:, :-1], y[:, first][:, 1:]
    assert np.corrcoef(here.ravel(), after.ravel())[0, 1] == pytest.approx(0.15, abs=0.02)


def test_mishits_are_rare_and_wide():
    preset = dataclasses.replace(PRESETS["null"], mishit_share=0.2, bias_share={})
    people = People(*(np.repeat(value, 4000) for value in (2.7, 0.6, 0.05, 0.4, 0.0, 0.0)))
    spread = np.zeros((4000, len(PLAN.event)))
    _, y = draw_landings(people, spread, PLAN, preset, np.random.default_rng(1))
    assert y.var() == pytest.approx(0.8 + 0.2 * 9, rel=0.03)


def test_people_have_the_moments_of_the_preset():
    experienced = np.arange(40_000) % 2 == 0
    people = draw_people(experienced, PRESETS["laboratory"], np.random.default_rng(1))
    assert people.log_sd.mean() == pytest.approx(math.log(15.5), abs=0.005)
    assert people.log_sd.std() == pytest.approx(0.20, rel=0.02)
    gap = people.log_sd[~experienced].mean() - people.log_sd[experienced].mean()
    assert gap == pytest.approx(0.16, abs=0.01)
    assert np.median(people.gain) == pytest.approx(0.62, rel=0.01)
    assert np.log(people.rate).std() == pytest.approx(0.5, rel=0.02)
    assert people.forgetting.min() >= 0


def test_forgetting_grows_with_the_gap():
    longer = [{**test, "interval_days": 30} if "far" in test.values() else test for test in TESTS]
    days = timetable(plan(tests=longer, practice=PRACTICE))
    tasks = np.zeros((1, len(days.event)), dtype=int)
    spread = log_spread(ONE, tasks, np.zeros((1, len(days.events))), days, PRESETS["null"])[0]
    week, month = spread[28], spread[32] - 0.15
    assert month > week
    share = LOST * math.log1p(30) / math.log1p(7)
    assert month - 2.7 - 0.12 == pytest.approx(left(20) + (GAIN - left(20)) * share)
