"""Noise as it is: against a general-purpose library, hand answers, reductions, coverage."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import norm
from scipy.stats import t as student

import motorlearn as ml
from motorlearn.curves import FORMS
from motorlearn.curves.single.noise import Noise, fit_noise
from motorlearn.curves.single.problem import Problem, Whitening

REFERENCE = Path(__file__).parents[1] / "reference/curve_noise"
KINDS = {
    "mean_ar1": Noise("normal", "mean", "ar1"),
    "practice": Noise("normal", "practice"),
    "ar1": Noise("normal", "equal", "ar1"),
}
TRIALS = np.arange(1.0, 61.0)
TRUTH = {"asymptote": 20.0, "gain": 15.0, "rate": 0.1, "half_life": np.log(2) / 0.1}
CURVE = 20 + 15 * np.exp(-0.1 * (TRIALS - 1))


def reference():
    with (REFERENCE / "data.csv").open(encoding="utf-8") as file:
        rows = [[float(value) for value in row] for row in list(csv.reader(file))[1:]]
    return np.array(rows).T


@pytest.mark.parametrize("kind", KINDS)
def test_maximum_likelihood_agrees_with_generalised_nonlinear_least_squares(kind):
    wanted = json.loads((REFERENCE / "values.json").read_text("utf-8"))[kind]
    trial, error = reference()
    problem = Problem(FORMS["exponential"], trial, error, np.ones(trial.size))
    found = fit_noise(problem, KINDS[kind], restricted=False)
    values = found.problem.values(found.solution.theta, found.solution.coefficients)
    assert found.settled
    assert float(values["asymptote"]) == pytest.approx(wanted["asymptote"], rel=1e-4)
    assert float(values["gain"]) == pytest.approx(wanted["gain"], rel=1e-4)
    assert np.log(float(values["rate"])) == pytest.approx(wanted["log_rate"], rel=1e-4)
    assert found.loglik == pytest.approx(wanted["loglik"], abs=1e-4)
    for term, value in found.terms.items():
        assert value == pytest.approx(wanted[term], abs=1e-3)


def ar1(rng, count, correlation):
    noise = rng.normal(size=count)
    for k in range(1, count):
        noise[k] = correlation * noise[k - 1] + np.sqrt(1 - correlation**2) * noise[k]
    return noise


def test_whitening_turns_the_covariance_into_the_unit_matrix():
    spread, carry = np.array([1.0, 2.0, 0.5, 3.0]), 0.6
    lags = np.abs(np.subtract.outer(np.arange(4), np.arange(4)))
    covariance = np.outer(spread, spread) * carry**lags
    white = Whitening(spread, np.array([-1, 0, 1, 2]), np.array([0.0, carry, carry, carry]))
    root = np.stack([white.apply(column) for column in np.eye(4).T], axis=1)
    assert root @ covariance @ root.T == pytest.approx(np.eye(4), abs=1e-12)
    assert white.log_volume == pytest.approx(0.5 * np.linalg.slogdet(covariance)[1])


def test_lognormal_errors_have_the_likelihood_of_the_logarithms():
    rng = np.random.default_rng(3)
    y = CURVE * np.exp(rng.normal(0, 0.15, TRIALS.size))

    def minus(p):
        height = p[0] + p[1] * np.exp(-np.exp(p[2]) * (TRIALS - 1))
        if np.any(height <= 0):
            return np.inf
        left = np.log(y / height)
        return -np.sum(norm.logpdf(left, scale=np.sqrt(np.mean(left**2)))) + np.sum(np.log(y))

    best = minimize(minus, [20, 15, np.log(0.1)], method="Nelder-Mead", options={"fatol": 1e-12})
    fit = ml.fit_curve(TRIALS, y, errors="lognormal")
    assert fit.loglik == pytest.approx(-best.fun, abs=1e-5)
    assert fit.value("asymptote") == pytest.approx(best.x[0], rel=1e-3)
    assert fit.value("rate") == pytest.approx(np.exp(best.x[2]), rel=2e-3)


def test_errors_of_a_t_distribution_have_its_likelihood_and_shrug_off_stray_scores():
    rng = np.random.default_rng(4)
    y = CURVE + rng.standard_t(3, TRIALS.size)
    y[[20, 40]] += 25
    fit = ml.fit_curve(TRIALS, y, errors="t")

    def minus(p):
        left = y - p[0] - p[1] * np.exp(-np.exp(p[2]) * (TRIALS - 1))
        tail = 2.5 + np.exp(p[4])
        return -np.sum(student.logpdf(left / np.exp(p[3]), tail) - p[3])

    start = [20, 15, np.log(0.1), 0.0, 0.0]
    options = {"fatol": 1e-11, "xatol": 1e-7, "maxiter": 9000, "maxfev": 9000}
    best = minimize(minus, start, method="Nelder-Mead", options=options)
    assert fit.loglik == pytest.approx(-best.fun, abs=1e-3)
    plain = ml.fit_curve(TRIALS, y)
    assert abs(fit.value("asymptote") - 20) < abs(plain.value("asymptote") - 20)


def test_noise_that_is_plain_leaves_the_plain_fit():
    rng = np.random.default_rng(6)
    y = CURVE + rng.normal(0, 1, TRIALS.size)
    plain = ml.fit_curve(TRIALS, y)
    assert plain.noise == {}
    for options in ({"variance": "practice"}, {"correlation": "ar1"}):
        other = ml.fit_curve(TRIALS, y, **options)
        assert abs(next(iter(other.noise.values()))) < 0.35
        assert other.value("rate") == pytest.approx(plain.value("rate"), rel=0.1)
        assert other.loglik >= plain.loglik - 0.2


def test_correlation_stops_at_the_session():
    rng = np.random.default_rng(7)
    day = np.where(TRIALS > 30, 2, 1)
    y = CURVE + ar1(rng, TRIALS.size, 0.5)
    one = ml.fit_curve(TRIALS, y, correlation="ar1", session=day)
    assert -1 < one.noise["correlation"] < 1
    shuffled = rng.permutation(TRIALS.size)
    again = ml.fit_curve(TRIALS[shuffled], y[shuffled], correlation="ar1", session=day[shuffled])
    assert again.noise["correlation"] == pytest.approx(one.noise["correlation"], abs=1e-5)


def coverage(count, noise, **options):
    trial = np.arange(1.0, count + 1)
    rate = 0.1 if count == 60 else 0.05
    truth = {**TRUTH, "rate": rate, "half_life": np.log(2) / rate}
    curve = 20 + 15 * np.exp(-rate * (trial - 1))
    inside = {term: [] for term in truth}
    for seed in range(300):
        rng = np.random.default_rng(seed)
        table = ml.fit_curve(trial, curve + noise(rng, curve), **options).estimates
        for row in table.itertuples():
            if row.term in truth and np.isfinite(row.conf_low):
                inside[row.term].append(row.conf_low <= truth[row.term] <= row.conf_high)
    return {term: float(np.mean(hits)) for term, hits in inside.items()}


def falling(rng, curve):
    return 2 * (curve / 20) ** 1.5 * ar1(rng, curve.size, 0.4)


@pytest.mark.slow
@pytest.mark.parametrize("count", [60, 200])
def test_intervals_cover_under_correlation_and_a_spread_that_falls(count):
    found = coverage(count, falling, variance="mean", correlation="ar1")
    print(count, found)
    assert min(found.values()) > 0.895 and max(found.values()) < 0.985
    assert np.mean(list(found.values())) > 0.92


@pytest.mark.slow
def test_sandwich_covers_better_than_nothing_but_not_enough():
    plain, rough = coverage(60, falling), coverage(60, falling, interval="sandwich")
    print(plain, rough)
    assert all(rough[term] > plain[term] for term in rough)


@pytest.mark.parametrize("form", ["exponential", "power_prior"])
def test_scores_that_alternate_are_negatively_correlated_and_the_end_of_the_range_is_said(form):
    """Slopes of ``power_prior`` depend on each other here; what they spend is counted once."""
    trial = np.arange(1.0, 61.0)
    y = 20 + np.where(trial % 2, 1.0, -1.0)
    fit = ml.fit_curve(trial, y, form=form, correlation="ar1")
    assert fit.status == "no change" and fit.noise["correlation"] < -0.98
    assert "Noise: correlation −0.990, the end of its range." in str(fit)


def test_noise_within_its_range_is_said_without_more():
    trial = np.arange(1.0, 61.0)
    y = 20 + 10 * np.exp(-0.1 * trial) + np.random.default_rng(2).normal(size=60)
    fit = ml.fit_curve(trial, y, form="apex", correlation="ar1")
    said = str(fit)
    assert "APEX (exponential and power) curve" in said
    assert "Noise: correlation" in said and "end of its range" not in said.split("Noise:")[1]
