"""Forms with two and three rates, many learners at once: never worse than the fit of one."""

import contextlib

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import curve_fit

import motorlearn as ml
from motorlearn.curves import FORMS
from motorlearn.curves.batch import padded, s_shaped, two_processes
from motorlearn.curves.batch.padded import Padded, fit_padded
from motorlearn.curves.batch.several import fit_several
from motorlearn.curves.single.problem import Problem
from motorlearn.curves.single.solving import solve


@pytest.mark.parametrize(
    ("form", "rates"), [("s_shaped", (0.25, 20.0)), ("two_processes", (0.5, 0.08, 0.6))]
)
def test_together_no_worse_than_alone(form, rates):
    n, rng = np.arange(1.0, 41.0), np.random.default_rng(8)
    y = FORMS[form].curve(n, 20.0, 15.0, rates) + rng.normal(0, 1, (4, 40))
    ones = np.ones(y.shape)
    found = fit_padded(Padded(FORMS[form], np.tile(n, (4, 1)), y, ones, False, 1.0))
    # The first learner's counts are other ones, so that nobody shares the search.
    shifted = np.vstack([n + 1, np.tile(n, (3, 1))])
    apart = fit_padded(Padded(FORMS[form], shifted, y, ones, False, 1.0))
    assert found.settled.all()
    assert apart.loss[1:] == pytest.approx(found.loss[1:], rel=1e-8)
    for own, loss in zip(y[:2], found.loss):
        alone = solve(Problem(FORMS[form], n, own, np.ones(40), False))
        assert loss <= alone.loss * (1 + 1e-8)


CENTRED = np.sin(np.outer([1.0, 2.0, 3.0], np.arange(40.0)))
CENTRED -= CENTRED.mean(axis=1, keepdims=True)
SINCE = np.arange(40.0)


def look_at_two(held, at):
    room, rest = np.ones((3, 8, 40)), np.empty((2, 3, 40))
    room[:, two_processes.SCORES] = CENTRED
    products = two_processes._products(room, rest, SINCE, at)
    return two_processes._surface(products, np.sum(CENTRED**2, axis=1), held)


def look_at_s(_, at):
    room, rest = np.ones((3, 8, 40)), np.empty((2, 3, 40))
    room[:, s_shaped.SCORES] = CENTRED
    products, mean, reach = s_shaped._products(room, rest, SINCE + 1, at)
    return s_shaped._surface(products, reach, np.sum(CENTRED**2, axis=1), mean)


@pytest.mark.parametrize(
    ("look", "held", "at"),
    [
        (look_at_two, None, [[0.5, 0.2], [0.3, 0.1], [1.0, 0.5]]),
        (look_at_two, 0.3, [[0.5, 0.2], [0.3, 0.1], [1.0, 0.5]]),
        (look_at_s, None, [[0.3, 12.0], [0.5, 30.0], [2.0, 20.0]]),
    ],
)
def test_slope_and_bend_of_a_surface_agree_with_differences(look, held, at):
    at = np.log(at)
    here, h = look(held, at), 1e-5 * np.eye(2)
    sides = [(look(held, at + step), look(held, at - step)) for step in h]
    slope = np.stack([(a.loss - b.loss) / 2e-5 for a, b in sides], axis=1)
    bend = np.stack([(a.slope - b.slope) / 2e-5 for a, b in sides], axis=2)
    assert here.slope == pytest.approx(slope, abs=1e-6)
    assert here.bend[:, 0] == pytest.approx(bend[:, 0, 0], abs=1e-6)
    assert here.bend[:, 1] == pytest.approx(bend[:, 0, 1], abs=1e-6)
    assert here.bend[:, 2] == pytest.approx(bend[:, 1, 1], abs=1e-6)


@pytest.mark.parametrize("noise", [0.5, 5.0])
@pytest.mark.parametrize(
    ("form", "rates"), [("s_shaped", (0.25, 20.0)), ("two_processes", (0.5, 0.08, 0.6))]
)
def test_no_worse_than_a_general_library_that_starts_at_the_truth(form, rates, noise):
    # scipy's curve_fit inside the same bounds; it has one start, so that it may end worse.
    n, rng = np.arange(1.0, 51.0), np.random.default_rng(9)
    truth = (20.0, 15.0, *rates)
    y = FORMS[form].curve(n, *truth[:2], rates) + rng.normal(0, noise, (12, 50))
    found = fit_several(Padded(FORMS[form], np.tile(n, (12, 1)), y, np.ones(y.shape), False, 1.0))
    assert found.settled.all()
    low, high = zip(*FORMS[form].bounds(n))
    bounds, compared = ([-np.inf, -np.inf, *low], [np.inf, np.inf, *high]), 0
    for own, loss in zip(y, found.loss):
        with contextlib.suppress(RuntimeError):
            best, _ = curve_fit(
                lambda n, a, g, *r: FORMS[form].curve(n, a, g, r), n, own, p0=truth, bounds=bounds
            )
            theirs = 0.5 * np.sum((own - FORMS[form].curve(n, *best[:2], best[2:])) ** 2)
            assert loss <= theirs * (1 + 1e-9)
            compared += 1
    assert compared >= 8


def test_learners_with_gaps_keep_their_places_among_the_others():
    n, rng = np.arange(1.0, 41.0), np.random.default_rng(10)
    y = FORMS["s_shaped"].curve(n, 20.0, 15.0, (0.25, 20.0)) + rng.normal(0, 1, (4, 40))
    weights = np.ones(y.shape)
    weights[1, 5] = 0.0
    data = Padded(FORMS["s_shaped"], np.tile(n, (4, 1)), y, weights, False, 1.0)
    found, apart = fit_several(data), fit_padded(data)
    assert found.loss == pytest.approx(apart.loss, rel=1e-9)
    assert found.tau == pytest.approx(apart.tau, abs=1e-5)
    assert found.beta == pytest.approx(apart.beta, abs=1e-4)


@pytest.mark.parametrize("seed", [3, 25, 38])
def test_a_fast_process_that_is_over_in_a_trial_and_unknown_is_not_ok(seed):
    """The fast rate was 25 with an error of 3e11 beside "ok", the half-life 4e-151 to 7e151."""
    trial = np.arange(1.0, 61.0)
    y = 20 + 15 * np.exp(-0.1 * (trial - 1)) + np.random.default_rng(seed).normal(0, 1.5, 60)
    fit = ml.fit_curve(trial, y, form="two_processes")
    assert fit.curve["rate"] > 2.5 and fit.status == "rate at a bound"
    assert fit.estimates.set_index("term").loc[["rate", "half_life"]].isna().to_numpy().all()
    assert "A form with one rate" in fit.meaning
    rows = pd.DataFrame({"participant": "p", "trial": trial, "y": y})
    many = ml.fit_curves(
        rows, "y", practice="trial", by="participant", forms=["two_processes"]
    ).table
    assert many["status"].tolist() == ["rate at a bound"] and many["rate"].isna().all()


def test_a_fast_process_that_is_known_is_told():
    trial = np.arange(1.0, 61.0)
    noise = np.random.default_rng(0).normal(0, 0.3, 60)
    y = FORMS["two_processes"].curve(trial, 20.0, 15.0, (3.0, 0.03, 0.5)) + noise
    fit = ml.fit_curve(trial, y, form="two_processes")
    assert fit.status == "ok" and 2.5 < fit.value("rate") < 5


def test_a_population_of_one_process_does_not_tell_two():
    """The share of the fast process stood at its end, .98, beside "ok"."""
    block, rng = np.arange(1.0, 21.0), np.random.default_rng(2)
    parts = [
        pd.DataFrame(
            {
                "participant": who,
                "block": block,
                "y": 20 + 2 * rng.normal() + 10 * np.exp(-0.2 * (block - 1)) + rng.normal(size=20),
            }
        )
        for who in range(6)
    ]
    fit = ml.fit_population_curve(
        pd.concat(parts), "y", practice="block", form="two_processes", vary=("asymptote",)
    )
    assert fit.status == "shape not settled" and "the rate" in " ".join(fit.warnings)
    assert fit.estimates["std_error"].isna().all()
    assert fit.common.drop(columns="term").isna().to_numpy().all()
    assert "Not estimated: slowness, fast_share" in str(fit)


def test_clear_curves_settle_together_and_none_is_searched_alone(monkeypatch):
    n, rng = np.arange(1.0, 41.0), np.random.default_rng(11)
    form, ones, alone = FORMS["power_prior"], np.ones((4, 40)), []
    y = form.curve(n, 20.0, 15.0, (0.9, 6.0)) + rng.normal(0, 0.2, (4, 40))
    monkeypatch.setattr(padded, "search_one", lambda data, optimum, k: alone.append(k))
    found = fit_padded(Padded(form, np.tile(n, (4, 1)), y, ones, False, 1.0))
    assert alone == [] and found.settled.all()
    for own, loss in zip(y, found.loss):
        assert loss == pytest.approx(solve(Problem(form, n, own, ones[0], False)).loss, rel=1e-8)
