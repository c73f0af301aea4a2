"""Hits of many learners at once: never worse than the fit of one learner, and the same claims."""

from dataclasses import fields
from math import comb

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

import motorlearn as ml
from motorlearn.curves import FORMS
from motorlearn.curves.batch import hit_rows, hit_starts
from motorlearn.curves.batch import hits as engine
from motorlearn.curves.batch.described import describe, describe_hits
from motorlearn.curves.batch.padded import Padded
from motorlearn.curves.single.problem import Problem
from motorlearn.curves.single.solving import solve

CASES = [("exponential", 40, 10), ("power", 60, 1)]


def practice(learners, trials, attempts, seed=1):
    rng = np.random.default_rng(seed)
    n = np.arange(1.0, trials + 1)
    rate = np.exp(rng.normal(np.log(0.1), 0.8, learners))
    logit = rng.normal(1.5, 0.7, learners)[:, None]
    logit = logit - rng.normal(2.5, 0.8, learners)[:, None] * np.exp(-rate[:, None] * (n - 1))
    return n, rng.binomial(attempts, 1 / (1 + np.exp(-logit))).astype(float)


@pytest.mark.parametrize(("form", "trials", "attempts"), CASES)
def test_never_worse_than_the_fit_of_one_learner(form, trials, attempts):
    n, hits = practice(14, trials, attempts)
    hits[3, : trials // 2] = 0
    table = pd.DataFrame({"who": np.repeat(np.arange(14), trials), "trial": np.tile(n, 14)})
    table["hits"], table["throws"] = hits.ravel(), attempts
    fits = ml.fit_curves(
        table, "hits", practice="trial", by="who", attempts="throws", forms=[form]
    ).table
    for row, own in zip(fits.itertuples(), hits):
        one = ml.fit_curve(n, own, attempts=np.full(trials, attempts), form=form)
        assert row.loglik >= one.loglik - 1e-7
        if row.loglik <= one.loglik + 1e-6:
            assert row.status == one.status
        if row.status == one.status == "ok":
            assert row.rate == pytest.approx(one.value("rate"), rel=1e-5)
            assert row.asymptote == pytest.approx(one.value("asymptote"), rel=1e-5)


def test_many_starts_find_nothing_better(monkeypatch):
    n, hits = practice(600, 30, 3, seed=5)
    data = Padded(FORMS["power"], np.tile(n, (600, 1)), hits, np.full(hits.shape, 3.0), True, 1.0)
    found, _ = engine.fit_hits(data)
    monkeypatch.setattr(hit_starts, "NODES", 120)
    monkeypatch.setattr(hit_starts, "STARTS", 12)
    again, _ = engine.fit_hits(data)
    worse = found.loss > again.loss + 1e-6
    assert worse.sum() <= 2
    assert found.settled.all()


def test_the_straight_line_of_one_learner_and_of_many_is_that_of_a_general_library():
    n, hits = practice(6, 40, 10)
    data = Padded(FORMS["exponential"], np.tile(n, (6, 1)), hits, np.full(hits.shape, 10), True, 1)
    together = engine.fit_hits(data)[1].line
    low = FORMS["exponential"].extremes(n)[0][0]
    for own, loss in zip(hits, together):
        design = sm.add_constant(n)
        line = sm.GLM(np.stack([own, 10 - own], axis=1), design, family=sm.families.Binomial())
        ways = np.log([comb(10, int(k)) for k in own]).sum()
        wanted = ways - line.fit(tol=1e-12).llf
        alone = Problem(FORMS["exponential"], n, own, np.full(40, 10.0), True, fixed={"rate": low})
        assert loss == pytest.approx(wanted, abs=1e-4)
        assert solve(alone).loss == pytest.approx(wanted, abs=1e-4)


@pytest.mark.parametrize("equal_steps", [0.0, 1.0])
@pytest.mark.parametrize("tau", [-7.0, -4.0, -1.0, 1.0])
def test_derivatives_of_the_basis_agree_with_differences(tau, equal_steps):
    rows = hit_rows.HitRows(
        np.ones((9, 1)), np.ones((1, 1)), np.arange(9.0)[:, None], np.array([8.0]), equal_steps
    )
    step, at = 1e-5, np.array([tau])
    _, turn, bend = rows.bent(at)
    wanted = (rows.basis(at + step) - rows.basis(at - step)) / (2 * step)
    assert turn == pytest.approx(wanted, rel=1e-5, abs=1e-9)
    slopes = [rows.bent(at + way * step)[1] for way in (1, -1)]
    assert bend == pytest.approx((slopes[0] - slopes[1]) / (2 * step), rel=1e-5, abs=1e-9)


def test_products_of_equal_steps_are_exponentials_to_the_last_digits():
    since = np.arange(60.0)
    whole = np.full(400, since[-1])
    apart = [
        hit_rows.HitRows(np.ones((60, 400)), np.ones((1, 400)), since[:, None], whole, step)
        for step in (0.0, 1.0)
    ]
    tau = np.linspace(np.log(1e-6 / 59), np.log(25.0), 400)
    for one, other in zip(*(rows.bent(tau) for rows in apart)):
        np.testing.assert_allclose(one, other, rtol=1e-11, atol=1e-13)


def test_the_sum_of_logarithms_holds_at_the_largest_logits():
    whole = 1 + np.exp(np.full((130, 3), [-15.0, 0.0, 15.0]))
    wanted = np.log(whole).sum(axis=0)
    np.testing.assert_allclose(hit_rows.log_product(whole), wanted, rtol=1e-13, atol=1e-14)
    few = hit_rows.log_product(whole.astype(np.float32))
    np.testing.assert_allclose(few, wanted, rtol=1e-5, atol=1e-5)


@pytest.mark.parametrize("form", ["exponential", "power"])
def test_errors_from_the_sums_of_the_search_are_those_from_the_whole_jacobian(form):
    n, hits = practice(300, 40, 10, seed=8)
    data = Padded(FORMS[form], np.tile(n, (300, 1)), hits, np.full(hits.shape, 10.0), True, 1.0)
    found, fits = engine.fit_hits(data)
    quick, careful = describe_hits(data, found, fits), describe(data, found, np.ones(300))
    for item in fields(careful):
        one, other = getattr(quick, item.name), getattr(careful, item.name)
        np.testing.assert_allclose(one, other, rtol=1e-6, atol=1e-12, err_msg=item.name)


def test_nobody_else_changes_a_curve_of_hits():
    n, hits = practice(500, 40, 10, seed=3)

    def fitted(rows):
        y = hits[rows]
        data = Padded(FORMS["exponential"], np.tile(n, (len(y), 1)), y, y * 0 + 10, True, 1.0)
        return engine.fit_hits(data)[0]

    whole = fitted(slice(None))
    for rows in (slice(0, 37), slice(203, 360)):
        own = fitted(rows)
        np.testing.assert_allclose(own.loss, whole.loss[rows], rtol=1e-11)
        np.testing.assert_allclose(own.tau, whole.tau[rows], rtol=1e-6, atol=1e-6)


def test_whom_a_step_serves_as_well_is_at_the_bound_of_the_rate():
    rng, n = np.random.default_rng(2), np.arange(1.0, 61)
    share = np.where(n == 1, 0.83, 0.55)
    hits = rng.binomial(40, share, (1500, 60)).astype(float)
    data = Padded(FORMS["exponential"], np.tile(n, (1500, 1)), hits, hits * 0 + 40, True, 1.0)
    found, fits = engine.fit_hits(data)
    level = fits.step <= found.loss * (1 + 1e-12)
    assert level.sum() > 100
    assert found.at_bound[level].all()
