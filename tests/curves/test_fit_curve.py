"""Fits of one learner: certified values, exact recovery, honest statuses, refusals."""

import json
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import binom

import motorlearn as ml
from motorlearn.curves import FORMS
from motorlearn.curves.single import solving
from motorlearn.curves.single.intervals import _rise, bootstrap
from motorlearn.curves.single.problem import Problem
from motorlearn.exceptions import InputError

NIST = json.loads(
    (Path(__file__).parents[1] / "reference/nist_nonlinear/values.json").read_text("utf-8")
)
CASES = {
    "Misra1a": ("exponential", {"start": 0.0}, 0.0),
    "BoxBOD": ("exponential", {"start": 0.0}, 0.0),
    "DanWood": ("power", {"asymptote": 0.0}, 1.0),
    "Bennett5": ("power with prior practice", {"asymptote": 0.0}, 1.0),
}
RATES = {"exponential": [0.07], "power": [0.7], "power_prior": [0.9, 6.0], "apex": [0.02, 0.3]}
RATES |= {"s_shaped": [0.3, 12.0], "two_processes": [0.5, 0.1, 0.6]}
TRIALS = np.arange(1.0, 41.0)


def fit_nist(name):
    form, fixed, first = CASES[name]
    case = NIST[name]
    return case, ml.fit_curve(case["x"], case["y"], form=form, fixed=fixed, first=first)


def certified(name, case):
    """Certified estimates and standard deviations in our terms."""
    b, sd = np.array(case["certified_b"]), np.array(case["certified_sd"])
    match name:
        case "DanWood":
            return {"gain": (b[0], sd[0]), "rate": (-b[1], sd[1])}
        case "Bennett5":
            return {
                "gain": (b[0], sd[0]),
                "prior_practice": (b[1], sd[1]),
                "rate": (1 / b[2], sd[2] / b[2] ** 2),
            }
    return {"asymptote": (b[0], sd[0]), "gain": (-b[0], sd[0]), "rate": (b[1], sd[1])}


@pytest.mark.parametrize("name", CASES)
def test_certified_values_from_no_start(name):
    case, fit = fit_nist(name)
    table = fit.estimates.set_index("term")
    for term, (value, error) in certified(name, case).items():
        tolerance = 1e-5 if name == "Bennett5" else 1e-6
        assert table.at[term, "estimate"] == pytest.approx(value, rel=tolerance)
        assert table.at[term, "std_error"] == pytest.approx(error, rel=1e-5)
    assert fit.sse == pytest.approx(case["rss"], rel=1e-8)
    assert fit.recipe.converged


@pytest.mark.parametrize("name", FORMS)
def test_noise_free_curves_are_recovered(name):
    form = FORMS[name]
    fit = ml.fit_curve(TRIALS, form.curve(TRIALS, 20.0, 15.0, RATES[name]), form=name)
    truth = dict(zip(("asymptote", "gain", *form.rates), (20.0, 15.0, *RATES[name])))
    for term, value in truth.items():
        assert fit.value(term) == pytest.approx(value, rel=1e-6)
    assert fit.predict(TRIALS) == pytest.approx(form.curve(TRIALS, 20, 15, RATES[name]), rel=1e-8)


def test_hits_are_fitted_by_binomial_likelihood():
    rng = np.random.default_rng(4)
    logit = 1.2 - 2.5 * np.exp(-0.12 * (TRIALS - 1))
    attempts = rng.integers(5, 15, TRIALS.size)
    hits = rng.binomial(attempts, 1 / (1 + np.exp(-logit)))

    def minus(parameters):
        a, g, log_rate = parameters
        eta = a + g * np.exp(-np.exp(log_rate) * (TRIALS - 1))
        return -binom.logpmf(hits, attempts, 1 / (1 + np.exp(-eta))).sum()

    best = minimize(
        minus,
        [1.2, -2.5, np.log(0.12)],
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 5000, "maxfev": 5000},
    )
    fit = ml.fit_curve(TRIALS, hits, attempts=attempts)
    assert fit.family == "binomial"
    assert fit.loglik == pytest.approx(-best.fun, abs=1e-7)
    assert fit.value("asymptote") == pytest.approx(best.x[0], rel=1e-4)
    assert fit.value("rate") == pytest.approx(np.exp(best.x[2]), rel=1e-4)


def test_hits_and_misses_one_by_one_equal_counts():
    rng = np.random.default_rng(8)
    p = 1 / (1 + np.exp(-(1.0 - 3 * np.exp(-0.15 * (TRIALS - 1)))))
    each = (rng.random((TRIALS.size, 6)) < p[:, None]).astype(int)
    counted = ml.fit_curve(TRIALS, each.sum(axis=1), attempts=6)
    single = ml.fit_curve(np.repeat(TRIALS, 6), each.ravel())
    assert single.family == "binomial"
    assert single.value("rate") == pytest.approx(counted.value("rate"), rel=1e-6)


def test_profile_interval_is_where_the_sum_of_squares_says():
    case, _ = fit_nist("BoxBOD")
    x, y = np.array(case["x"]), np.array(case["y"])
    fit = ml.fit_curve(x, y, fixed={"start": 0.0}, first=0.0, interval="profile")
    limit = fit.estimates.set_index("term").at["rate", "conf_high"]
    h = 1 - np.exp(-limit * x)
    sse = np.sum((y - h * (h @ y) / (h @ h)) ** 2)
    from_t = fit.sse * (1 + 2.7764451051977987**2 / 4)
    assert sse == pytest.approx(from_t, rel=1e-5)


def test_intervals_of_three_kinds_agree_where_the_curve_is_clear():
    rng = np.random.default_rng(2)
    y = 20 + 15 * np.exp(-0.1 * (TRIALS - 1)) + rng.normal(0, 0.4, TRIALS.size)
    kinds = {
        kind: ml.fit_curve(TRIALS, y, interval=kind, draws=300).estimates.set_index("term")
        for kind in ("wald", "profile", "bootstrap")
    }
    for term in ("asymptote", "gain", "rate", "start", "half_life"):
        widths = [t.at[term, "conf_high"] - t.at[term, "conf_low"] for t in kinds.values()]
        assert max(widths) / min(widths) < 1.25


def test_restart_terms_keep_the_second_day_from_bending_the_curve():
    rng = np.random.default_rng(5)
    day = np.where(TRIALS > 20, 2, 1)
    warm_up = np.where(day == 2, 4 * np.exp(-0.5 * (TRIALS - 21)), 0)
    y = 20 + 10 * np.exp(-0.08 * (TRIALS - 1)) + warm_up + rng.normal(0, 0.1, TRIALS.size)
    with_term = ml.fit_curve(TRIALS, y, session=day)
    without = ml.fit_curve(TRIALS, y)
    assert with_term.value("restart[2]") == pytest.approx(4, abs=0.3)
    assert with_term.value("rate") == pytest.approx(0.08, abs=0.004)
    assert abs(without.value("rate") - 0.08) > 3 * abs(with_term.value("rate") - 0.08)


@pytest.mark.parametrize("form", FORMS)
def test_statuses_are_honest(form):
    rng = np.random.default_rng(3)
    noise = rng.normal(0, 1, TRIALS.size)
    assert ml.fit_curve(TRIALS, np.full(TRIALS.size, 7.0), form=form).status == "no change"
    assert ml.fit_curve(TRIALS, 20 + noise, form=form).status == "no change"
    assert ml.fit_curve([1, 2], [3.0, 2.0], form=form).status == "too few trials"
    assert ml.fit_curve(TRIALS, np.zeros(40), attempts=5, form=form).status == "no change"
    line = ml.fit_curve(TRIALS, 30 - 0.3 * TRIALS + 0.01 * noise, form=form)
    assert line.status in ("rate at a bound", "shape not settled")
    assert np.isnan(line.value("asymptote"))


def test_four_outcomes_on_a_curve_are_fitted_without_a_criterion():
    fit = ml.fit_curve([1, 2, 3, 4], [9, 7, 6, 5.5])
    assert fit.value("rate") == pytest.approx(np.log(2))
    assert fit.aicc == np.inf


def test_without_a_curve_the_level_has_the_error_of_a_mean():
    n = np.arange(1.0, 31.0)
    y = 20 + 3 * np.random.default_rng(3).normal(size=30)
    flat = ml.fit_curve(n, y)
    row = flat.estimates.set_index("term").loc["asymptote"]
    assert flat.status == "no change" and row["estimate"] == pytest.approx(y.mean())
    assert row["std_error"] == pytest.approx(y.std(ddof=1) / np.sqrt(30))
    # Hits: a logit has the error 1 / sqrt(n p q).
    flat = ml.fit_curve(n, np.array([3, 2, 3] * 10), attempts=np.full(30, 5))
    row = flat.estimates.set_index("term").loc["asymptote"]
    assert flat.status == "no change" and row["estimate"] == pytest.approx(np.log(8 / 7))
    assert row["std_error"] == pytest.approx(1 / np.sqrt(150 * 8 / 15 * 7 / 15))


def test_a_clear_curve_is_ok_and_a_slow_one_is_not():
    noise = np.random.default_rng(3).normal(0, 0.05, TRIALS.size)
    clear = ml.fit_curve(TRIALS, 20 + 10 * np.exp(-0.15 * (TRIALS - 1)) + noise)
    slow = ml.fit_curve(TRIALS, 20 + 10 * np.exp(-0.015 * (TRIALS - 1)) + noise)
    assert clear.status == "ok"
    assert slow.status == "asymptote not seen"
    assert "asymptote" in slow.meaning


def test_shift_and_scale_of_the_scores_leave_the_rate_alone():
    y = 20 + 10 * np.exp(-0.1 * (TRIALS - 1)) + np.random.default_rng(1).normal(0, 1, 40)
    one, other = ml.fit_curve(TRIALS, y), ml.fit_curve(TRIALS, 5 - 3 * y)
    assert other.value("rate") == pytest.approx(one.value("rate"), rel=1e-7)
    assert other.value("gain") == pytest.approx(-3 * one.value("gain"), rel=1e-7)
    shuffled = np.random.default_rng(2).permutation(40)
    again = ml.fit_curve(TRIALS[shuffled], y[shuffled])
    assert again.value("rate") == pytest.approx(one.value("rate"), rel=1e-7)


def test_weights_count_as_repeated_rows():
    y = 20 + 10 * np.exp(-0.1 * (TRIALS - 1)) + np.random.default_rng(1).normal(0, 1, 40)
    weights = np.where(TRIALS % 2 == 0, 3, 1)
    weighted = ml.fit_curve(TRIALS, y, weights=weights)
    repeated = ml.fit_curve(np.repeat(TRIALS, weights), np.repeat(y, weights), repeated="allow")
    assert weighted.value("rate") == pytest.approx(repeated.value("rate"), rel=1e-7)
    assert weighted.sse == pytest.approx(repeated.sse, rel=1e-9)


def test_missing_outcomes_are_set_aside_and_counted():
    y = 20 + 10 * np.exp(-0.1 * (TRIALS - 1)) + np.random.default_rng(1).normal(0, 1, 40)
    holes = y.copy()
    holes[[3, 9]] = np.nan
    fit = ml.fit_curve(TRIALS, holes)
    kept = np.delete(np.arange(40), [3, 9])
    assert fit.n == 38
    assert fit.recipe.left_out["rows"].tolist() == [2]
    assert fit.value("rate") == pytest.approx(ml.fit_curve(TRIALS[kept], y[kept]).value("rate"))


@pytest.mark.parametrize(
    ("practice", "outcome", "options", "words"),
    [
        ([1, 2, 3, 4, np.inf], [5, 4, 3, 2, 1], {}, "missing or infinite"),
        ([1, 2, 3, 4, 5], [5, 4, np.inf, 2, 1], {}, "infinite"),
        ([0, 1, 2, 3, 4], [5, 4, 3, 2.5, 2.2], {"form": "power"}, "at least 1"),
        ([1, 2, 3, 3, 4, 5], [5, 4, 3, 3, 2, 1.5], {}, "more than once"),
        ([1, 1, 2, 2, 3, 3, 4, 4], [5, 5, 4, 4, 3, 3, 2, 2], {}, "occurs twice"),
        ([1, 2, 3, 4, 5], [5, 4, 3, 2, 1], {"form": "hyperbolic"}, "form"),
        ([1, 2, 3, 4, 5], [0.5, 4, 3, 2, 1], {"attempts": 5}, "whole numbers"),
        ([1, 2, 3, 4, 5], [5, 4, 3, 2, 1], {"fixed": {"slope": 1}}, "no such term"),
        ([1, 2, 3, 4, 5], [5, 4, 3, 2, 1], {"interval": "exact"}, "interval"),
        ([1, 2, 3, 4, 5], ["a", 4, 3, 2, 1], {}, "not a number"),
        ([1, 2, 3, 4], [4, 3, 2, 1, 1], {}, "length"),
    ],
)
def test_bad_input_is_refused_in_a_sentence(practice, outcome, options, words):
    with pytest.raises(InputError, match=words):
        ml.fit_curve(practice, outcome, **options)


def test_the_result_survives_json():
    fit = ml.fit_curve(TRIALS, 20 + 10 * np.exp(-0.1 * TRIALS) + np.cos(TRIALS))
    again = type(fit).from_json(fit.to_json())
    assert str(again) == str(fit)
    assert np.array_equal(again.residuals, fit.residuals)


def test_a_search_that_was_cut_short_is_not_called_converged(monkeypatch):
    y = 20 + 15 * np.exp(-0.1 * (TRIALS - 1)) + np.random.default_rng(3).normal(0, 1, TRIALS.size)
    assert ml.fit_curve(TRIALS, y).recipe.converged
    monkeypatch.setattr(solving, "MOST_STEPS", 0)
    monkeypatch.setattr(solving, "_polish", lambda problem, sign, tau, low, high: tau)
    fit = ml.fit_curve(TRIALS, y)
    assert not fit.recipe.converged
    assert fit.warnings


def test_bootstrap_of_a_linear_curve_has_the_errors_of_least_squares():
    # With the rate given the curve is linear, and the SD over draws tends to the classical error.
    n = np.arange(1.0, 9.0)
    y = 20 + 10 * np.exp(-0.3 * (n - 1)) + np.random.default_rng(5).normal(0, 2, n.size)
    problem = Problem(FORMS["exponential"], n, y, np.ones(n.size), False, 1.0, {"rate": 0.3}, None)
    draws = bootstrap(problem, solving.solve(problem), ("asymptote", "gain"), 1500, seed=1)
    design = np.stack([np.ones(n.size), np.exp(-0.3 * (n - 1))], axis=1)
    sse = np.linalg.lstsq(design, y)[1][0]
    expected = np.sqrt(np.diag(np.linalg.inv(design.T @ design)) * sse / (n.size - 2))
    assert draws.std(axis=0) == pytest.approx(expected, rel=0.06)


def test_profile_of_hits_stops_at_half_the_printed_chi_squared_value():
    assert _rise(SimpleNamespace(binomial=True), None, np.inf, 0.95) == pytest.approx(3.841459 / 2)
