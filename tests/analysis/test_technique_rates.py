"""Rates of what stands beside the outcome, in the situation in which a report shows it.

Three items rated 0 to 3 on two clips of a test, hits of 20 and a mean speed, at a pretest and three
later tests (or one). Technique, hits and speed have nothing to do with one another unless said;
people differ in level, in noise from test to test and, where they have a course of their own, in
how much they gain. ``docs/explanation/technique_beside_outcome.md`` holds the rates.
"""

import numpy as np
import pandas as pd
import pytest

from motorlearn.analysis.technique import paired
from motorlearn.measures import moving_together

pytestmark = pytest.mark.slow

SETS = 400
HARDNESS = np.array([-0.35, 0.0, 0.35])
COURSES = {"flat": (0.0, 0.0), "all rise": (1.2, 0.0), "own gains": (1.2, 0.8)}
"""Mean and SD over people of the gain from first to last test, on the latent scale."""


def draw(rng, people, tests, course, shared=0.0):
    """Mean ratings and hits of 20 of people at tests; `shared` correlates what both gain."""
    mean, sd = COURSES[course]
    time = np.linspace(0, 1, tests)
    level, gain = rng.normal(size=(2, people, 1)), rng.normal(size=(2, people, 1))
    noise = rng.normal(size=(2, people, tests))
    mix = np.sqrt(1 - shared**2)
    gain[1], noise[1] = (shared * z[0] + mix * z[1] for z in (gain, noise))
    latent = mean * time + sd * gain * time + 0.3 * noise
    hits = rng.binomial(20, 1 / (1 + np.exp(0.6 - 0.6 * level[0] - latent[0]))).astype(float)
    clips = (1 + 0.5 * level[1] + latent[1])[:, :, None, None]
    clips = clips + HARDNESS[:, None] + rng.normal(0, 0.5, (people, tests, 3, 2))
    return np.clip(np.round(clips), 0, 3).mean(axis=3), hits


def rate(rejected):
    """A share with two standard errors."""
    share = np.mean(rejected)
    return share, 2 * np.sqrt(max(share * (1 - share), 0.01) / len(rejected))


@pytest.mark.parametrize("tests", [2, 4])
@pytest.mark.parametrize("course", COURSES)
@pytest.mark.parametrize("people", [6, 14, 24])
def test_p_and_interval_keep_their_rate_where_nothing_moves_together(people, course, tests):
    rng = np.random.default_rng(people)
    wrong, outside = [], []
    for seed in range(SETS):
        items, hits = draw(rng, people, tests, course)
        found = moving_together(items.mean(axis=2), hits, simulations=399, seed=seed)
        wrong.append(found.p <= 0.05)
        outside.append(not found.conf_low <= 0 <= found.conf_high)
    for name, seen in (("p", wrong), ("interval", outside)):
        share, error = rate(seen)
        print(f"{people} people, {tests} tests, {course}: {name} {share:.3f}")
        assert share - error <= 0.06
        assert share + error >= 0.03


def test_within_people_alone_both_rise_and_the_usual_p_value_calls_it_moving_together():
    # Why no p value stands beside r within people: t with n (k - 1) - 1 df (Bakdash & Marusich).
    rng = np.random.default_rng(1)
    found = [
        moving_together(items.mean(axis=2), hits, simulations=1)
        for items, hits in (draw(rng, 14, 4, "all rise") for _ in range(100))
    ]
    r, df = np.array([one.r_within for one in found]), 14 * 3 - 1
    assert np.mean(np.abs(r) * np.sqrt(df / (1 - r**2)) > 2.02) > 0.9


@pytest.mark.parametrize("people", [6, 14, 24])
def test_the_interval_holds_the_correlation_that_is_there(people):
    rng = np.random.default_rng(2)
    items, hits = draw(np.random.default_rng(9), 3000, 4, "own gains", shared=0.9)
    left = [s - s.mean(0) - s.mean(1, keepdims=True) + s.mean() for s in (items.mean(axis=2), hits)]
    truth = np.corrcoef(left[0].ravel(), left[1].ravel())[0, 1]
    outside = []
    for seed in range(SETS):
        items, hits = draw(rng, people, 4, "own gains", shared=0.9)
        found = moving_together(items.mean(axis=2), hits, simulations=1, seed=seed)
        outside.append(not found.conf_low <= truth <= found.conf_high)
    share, error = rate(outside)
    print(f"{people} people, r = {truth:.2f}: outside {share:.3f}")
    assert share - error <= 0.06


@pytest.mark.parametrize("course", COURSES)
@pytest.mark.parametrize("people", [6, 14, 24])
def test_intervals_of_changes_hold_the_change_that_is_there(people, course):
    rng = np.random.default_rng(people)
    many = draw(np.random.default_rng(8), 40_000, 2, course)
    truth = {"item": np.diff(many[0][:, :, 0].mean(0))[0], "hits": np.diff(many[1].mean(0))[0]}
    outside = {"item": [], "hits": []}
    for _ in range(2 * SETS):
        items, hits = draw(rng, people, 2, course)
        for name, values in (("item", items[:, :, 0]), ("hits", hits)):
            found = paired(pd.DataFrame(values, columns=["a", "b"]), ("a", "b"), 0.95)
            outside[name].append(not found["conf_low"] <= truth[name] <= found["conf_high"])
    for name, seen in outside.items():
        share, error = rate(seen)
        print(f"{people} people, {course}: {name} outside {share:.3f}")
        assert share - error <= 0.07
