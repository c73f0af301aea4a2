"""What all learners of a population have in common: noise, sessions, a second rate."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

import motorlearn as ml
from motorlearn.curves import FORMS, curve_quantities
from motorlearn.curves.population.hits import HitMarginal
from motorlearn.curves.population.layout import Layout
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.population.marginal import Marginal
from motorlearn.curves.population.shared_terms import Asked, common_terms
from motorlearn.exceptions import InputError

REFERENCE = Path(__file__).parents[1] / "reference/population_noise"
OPTIONS = {
    "diagonal": {"covariance": "diagonal"},
    "ar1": {"correlation": "ar1"},
    "practice": {"variance": "practice"},
    "practice_ar1": {"variance": "practice", "correlation": "ar1"},
}


def dressed(asked, *, hits=False, start=False, form="exponential", seed=2):
    """Four learners with gaps, two sessions, and common terms."""
    rng = np.random.default_rng(seed)
    n = np.tile(np.arange(1.0, 13.0), (4, 1))
    y = rng.normal(0, 1, n.shape) + np.exp(-0.3 * (n - 1))
    used = np.ones_like(n)
    used[2, 9:] = 0.0
    trials = np.full(n.shape, 9.0) if hits else None
    y = rng.binomial(9, 0.5, n.shape).astype(float) if hits else y
    data = Learners(FORMS[form], n, y, used, np.arange(4) % 2, 1.0, start, trials)
    session = np.where(used > 0, (n > 6).astype(int), -1)
    common = common_terms(data, asked, session, (0.4,))
    data = Learners(FORMS[form], n, y, used, np.arange(4) % 2, 1.0, start, trials, common)
    return data, len(common.names)


BOTH = Asked("session", "both", "practice", "ar1", True)
CASES = [("exponential", False), ("exponential", True), ("power_prior", True), ("apex", False)]


@pytest.mark.parametrize(("form", "start"), CASES)
@pytest.mark.parametrize("vary", [(0, 1), (0, 1, 2)])
def test_gradient_of_common_terms_agrees_with_finite_differences(form, start, vary):
    data, extra = dressed(BOTH, form=form, start=start)
    marginal = Marginal(data, Layout(2, (True, False, True), vary, True, extra), 41)
    point = np.random.default_rng(3).normal(0, 0.3, marginal.layout.size)
    agrees(marginal, point)


@pytest.mark.parametrize(
    "asked",
    [
        Asked(None, "warm-up", "equal", "ar1"),
        Asked(None, "warm-up", "practice", "none"),
        Asked("session", "both"),
        BOTH,
    ],
)
@pytest.mark.parametrize("vary", [(0, 1), (0, 1, 2)])
def test_second_derivatives_with_common_terms_are_differences_of_slopes(asked, vary):
    data, extra = dressed(asked, form="power_prior" if asked is BOTH else "exponential")
    marginal = Marginal(data, Layout(2, (True, False, True), vary, True, extra), 9)
    point, wanted = np.random.default_rng(3).normal(0, 0.3, marginal.layout.size), []
    marginal.adapt(point)
    found = marginal.information(point, marginal.value(point)[1])
    for move in np.eye(len(point)) * 1e-5:
        fall = marginal.value(point - move)[1] - marginal.value(point + move)[1]
        wanted.append(fall / 2e-5)
    assert found == pytest.approx(np.array(wanted), rel=1e-4, abs=1e-4 * np.abs(wanted).max())


@pytest.mark.parametrize("start", [False, True])
def test_gradient_of_common_terms_of_hits_agrees_with_finite_differences(start):
    data, extra = dressed(Asked("session", "both"), hits=True, start=start)
    marginal = HitMarginal(data, Layout(2, (True,) * 3, (0, 1), False, extra), 4)
    point = np.random.default_rng(3).normal(0, 0.3, marginal.layout.size)
    marginal.adapt(point)
    agrees(marginal, point)


def agrees(marginal, point):
    slope, numeric = marginal.value(point)[1], []
    for k in range(len(point)):
        move = np.eye(len(point))[k] * 1e-5
        numeric.append((marginal.value(point + move)[0] - marginal.value(point - move)[0]) / 2e-5)
    assert slope == pytest.approx(np.array(numeric), rel=1e-4, abs=1e-4 * np.abs(slope).max())


def test_likelihood_with_correlated_unequal_noise_equals_an_exact_integral():
    data, extra = dressed(Asked(None, "warm-up", "practice", "ar1"))
    data = replace(data, group=np.zeros(4, int))
    layout = Layout(1, (False,) * 3, (0, 1, 2), True, extra, diagonal=True)
    marginal = Marginal(data, layout, 61)
    point = np.array([0.2, 0.9, -1.0, 0.3, 0.5, 0.4, np.log(0.8), -0.3, np.arctanh(0.4)])
    marginal.adapt(point)
    sd_rate, sd_height, sd_amount = point[3:6]
    total = 0.0
    for k in range(len(data.y)):
        inside = data.used[k] > 0
        n, y = data.n[k, inside], data.y[k, inside]
        spread = 0.8 * n**-0.3
        carry = np.where((n[:, None] > 6) == (n[None, :] > 6), 0.4, 0.0)
        noise = np.outer(spread, spread) * carry ** np.abs(n[:, None] - n[None, :])
        np.fill_diagonal(noise, spread**2)

        def height(log_rate, n=n, y=y, noise=noise):
            basis = np.exp(-np.exp(log_rate) * (n - 1))
            cover = noise + sd_height**2 + sd_amount**2 * np.outer(basis, basis)
            inner = multivariate_normal.pdf(y, 0.2 + 0.9 * basis, cover)
            return inner * norm.pdf(log_rate, -1.0, sd_rate)

        total += np.log(quad(height, -5.0, 3.0, epsabs=0, epsrel=1e-10, limit=200)[0])
    assert marginal.value(point)[0] == pytest.approx(total, abs=1e-6)


def test_savings_push_the_curve_back_at_the_begin_of_a_session():
    data, _ = dressed(Asked("session", "both"))
    told = data.common.dressed(data, np.array([0.7, 0.2, np.log(0.5)]))
    basis = told.bare(np.log(np.full((4, 1), 0.3)))[0][0, 0]
    by_hand, now = [], 1.0
    for trial in range(1, 13):
        now *= np.exp(-0.3) if trial > 1 else 1.0
        now = 0.7 * now + 0.3 if trial == 7 else now
        by_hand.append(now + (0.2 * np.exp(-0.5 * (trial - 7)) if trial > 6 else 0.0))
    assert basis == pytest.approx(by_hand, rel=1e-12)


def reference():
    return pd.read_csv(REFERENCE / "data.csv")


def fitted(table, **options):
    return ml.fit_population_curve(
        table, "y", practice="block", vary=("asymptote", "gain"), interval="wald", **options
    )


@pytest.mark.parametrize("kind", OPTIONS)
def test_noise_agrees_with_a_general_program_and_reaches_at_least_its_likelihood(kind):
    wanted = json.loads((REFERENCE / "values.json").read_text("utf-8"))[kind]
    found = fitted(reference(), **OPTIONS[kind])
    terms = found.estimates.set_index("term")["estimate"]
    common = found.common.set_index("term")["estimate"]
    assert -1e-4 <= found.loglik - wanted["loglik"] < 0.05
    for term in ("asymptote", "gain", "log_rate"):
        assert terms[term] == pytest.approx(wanted[term], rel=1e-2)
    for term in ("spread_power", "correlation"):
        if wanted[term] is not None:
            assert common[term] == pytest.approx(wanted[term], abs=2e-3)


@pytest.mark.parametrize("kind", OPTIONS)
def test_both_give_the_same_likelihood_at_the_other_programs_point(kind):
    wanted, table = json.loads((REFERENCE / "values.json").read_text("utf-8"))[kind], reference()
    shape = (20, 40)
    n, y = (table[name].to_numpy(float).reshape(shape) for name in ("block", "y"))
    data = Learners(FORMS["exponential"], n, y, np.ones(shape), np.zeros(20, int), 1.0, False)
    options = OPTIONS[kind]
    asked = Asked(
        None, "savings", options.get("variance", "equal"), options.get("correlation", "none")
    )
    common = common_terms(data, asked, None, ())
    data = Learners(data.form, n, y, data.used, data.group, 1.0, False, None, common)
    extra = 0 if common is None else len(common.names)
    a, g = wanted["sd"]
    root = [a, wanted["link"] * g, np.sqrt(1 - wanted["link"] ** 2) * g]
    noise = [wanted["spread_power"], wanted["correlation"]]
    noise = [np.arctanh(v) if k else v for k, v in enumerate(noise) if v is not None]
    start = [wanted["asymptote"], wanted["gain"], wanted["log_rate"]]
    point = np.array([*start, *root, np.log(wanted["residual_sd"]), *noise])
    marginal = Marginal(data, Layout(1, (False,) * 3, (0, 1), True, extra), 1)
    assert marginal.value(point)[0] == pytest.approx(wanted["loglik"], abs=2e-3)


def practised(seed=7, savings=0.8, warm_up=0.15, learners=12):
    """Three sessions of 15 blocks with what is lost between them."""
    rng, parts = np.random.default_rng(seed), []
    n, session = np.arange(1.0, 46.0), np.repeat([1, 2, 3], 15)
    for learner in range(learners):
        rate, basis, now = np.exp(-2 + 0.3 * rng.normal()), [], 1.0
        for k in range(45):
            now *= np.exp(-rate) if k else 1.0
            now = savings * now + 1 - savings if k in (15, 30) else now
            basis.append(now + (warm_up * np.exp(-0.6 * (k % 15)) if k >= 15 else 0.0))
        level, gain = 20 + 2 * rng.normal(), 12 + rng.normal()
        y = level + gain * np.array(basis) + rng.normal(size=45)
        parts.append(pd.DataFrame({"participant": learner, "block": n, "session": session, "y": y}))
    return pd.concat(parts, ignore_index=True)


def test_what_sessions_do_is_recovered():
    table = practised()
    found = ml.fit_population_curve(
        table, "y", practice="block", session="session", restart="both", interval="wald"
    )
    common = found.common.set_index("term")
    assert found.status == "ok"
    for term, truth in (("savings", 0.8), ("warm_up", 0.15), ("restart_rate", 0.6)):
        low, high = common.loc[term, ["conf_low", "conf_high"]]
        assert low < truth < high
    plain = ml.fit_population_curve(table, "y", practice="block", interval="wald")
    assert found.loglik > plain.loglik + 50
    assert found.residuals["residual"].std() < plain.residuals["residual"].std()


def test_sessions_that_change_nothing_leave_the_curve_alone():
    table = practised(savings=1.0, warm_up=0.0)
    plain = ml.fit_population_curve(table, "y", practice="block", interval="wald")
    found = ml.fit_population_curve(
        table, "y", practice="block", session="session", restart="savings", interval="wald"
    )
    low, high = found.common.loc[0, ["conf_low", "conf_high"]]
    assert low < 1.0 < high and 0 <= found.loglik - plain.loglik < 4


def test_spread_by_the_mean_finds_its_power():
    rng, parts = np.random.default_rng(3), []
    for learner in range(16):
        height = (10 + rng.normal()) + 30 * np.exp(-0.2 * np.arange(30))
        y = height * (1 + 0.08 * rng.normal(size=30))
        parts.append(pd.DataFrame({"participant": learner, "block": np.arange(1, 31), "y": y}))
    found = fitted(pd.concat(parts, ignore_index=True), variance="mean")
    assert found.common.loc[0, "conf_low"] < 1.0 < found.common.loc[0, "conf_high"]
    assert found.common.loc[0, "std_error"] < 0.1
    standard = found.residuals["residual"] / (found.residual_sd * found.spread)
    assert standard.std() == pytest.approx(1.0, abs=0.1)


def test_sandwich_errors_stay_near_those_of_the_model_where_it_holds():
    table = practised(learners=40, savings=1.0, warm_up=0.0)
    plain, robust = (
        ml.fit_population_curve(table, "y", practice="block", interval=kind).estimates
        for kind in ("wald", "sandwich")
    )
    assert robust["std_error"].to_numpy() == pytest.approx(plain["std_error"].to_numpy(), rel=0.35)
    assert robust["estimate"].tolist() == plain["estimate"].tolist()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"correlation": "ar2"}, "correlation"),
        ({"variance": "time"}, "variance"),
        ({"covariance": "none"}, "covariance"),
        ({"session": "session", "restart": "cold"}, "restart"),
        ({"session": "block"}, "session"),
        ({"session": "day"}, "lacks columns"),
        ({"session": ["session"]}, "name of a column"),
    ],
)
def test_refusals(options, said):
    table = practised(learners=3)
    table["block_of"] = 1
    if options.get("session") == "block":
        options, said = {"session": "block_of"}, "two sessions"
    with pytest.raises(InputError, match=said):
        ml.fit_population_curve(table, "y", practice="block", **options)


@pytest.mark.parametrize("restart", ["savings", "both"])
def test_savings_and_restart_rate_are_missing_where_nothing_changes(restart):
    trial, day = np.arange(1.0, 21.0), np.repeat([1, 2], 10)
    rng = np.random.default_rng(7)
    rows = [
        pd.DataFrame({"participant": k, "trial": trial, "day": day, "y": 30 + 3 * rng.normal() + e})
        for k, e in enumerate(rng.normal(0, 2, (6, 20)))
    ]
    fit = ml.fit_population_curve(
        pd.concat(rows), "y", practice="trial", session="day", restart=restart, vary=("asymptote",)
    )
    assert fit.status == "no change"
    common = fit.common.set_index("term")
    assert common.loc["savings"].isna().all()
    told = curve_quantities(fit).estimates.set_index("quantity").loc["savings"]
    assert np.isnan(told["estimate"]) and told["reason"] == "no change"
    assert fit.tables()[2].notes[0].startswith("Not estimated: savings")
