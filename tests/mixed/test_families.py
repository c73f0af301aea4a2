"""Ratings, counts, scattering hits and times: agreement with R, special cases, refusals."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import integrate, optimize, stats
from scipy.special import expit

import motorlearn as ml
from motorlearn.exceptions import FitError, InputError
from motorlearn.mixed import (
    MixedFit,
    bootstrap_intervals,
    leave_one_out,
    likelihood_ratio,
    predict_ratings,
    profile_intervals,
    refit,
    refit_many,
)
from motorlearn.mixed.responses import Response
from motorlearn.mixed.solve.covariance import correlated
from motorlearn.mixed.solve.engine import Cells
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.likelihoods import (
    BetaBinomial,
    Gamma,
    NegativeBinomial,
    Poisson,
)
from motorlearn.mixed.solve.many_factors import ManyFactors
from motorlearn.mixed.solve.one_factor import OneFactor, Rows
from motorlearn.mixed.solve.ratings import Ordinal

REFERENCE = Path(__file__).parents[1] / "reference" / "mixed_families"
VALUES = json.loads((REFERENCE / "values.json").read_text())
ONE = {"participant": "1"}
RNG = np.random.default_rng(3)

EPIL = "y ~ lbase * C(trt, Treatment('placebo')) + lage + V4"
TICKS = "TICKS ~ YEAR + height"
CROSSED = {"BROOD": "1", "LOCATION": "1"}
CASES = {
    "wine_logit": ("wine.csv", "rating ~ temp + contact", {"judge": "1"}, "ordinal", {}),
    "wine_probit": (
        "wine.csv",
        "rating ~ temp + contact",
        {"judge": "1"},
        "ordinal",
        {"link": "probit"},
    ),
    "wine_agq": (
        "wine.csv",
        "rating ~ temp + contact",
        {"judge": "1"},
        "ordinal",
        {"quadrature": 11},
    ),
    "epil_poisson": ("epil.csv", EPIL, {"subject": "1"}, "poisson", {}),
    "epil_nb": ("epil.csv", EPIL, {"subject": "1"}, "negative-binomial", {}),
    "ticks_poisson": ("grouseticks.csv", TICKS, CROSSED, "poisson", {}),
    "ticks_nb": ("grouseticks.csv", TICKS, CROSSED, "negative-binomial", {}),
    "cbpp_betabinomial": (
        "../mixed_models/cbpp.csv",
        "incidence ~ period",
        {"herd": "1"},
        "beta-binomial",
        {"attempts": "size"},
    ),
    "sleep_gamma": (
        "../mixed_models/sleepstudy.csv",
        "Reaction ~ Days",
        {"Subject": "1"},
        "gamma",
        {},
    ),
    "bacteria_agq": (
        "bacteria.csv",
        "y ~ C(trt, Treatment('placebo')) + late",
        {"ID": "1"},
        "binomial",
        {"quadrature": 21},
    ),
}


def table_of(name):
    table = pd.read_csv(REFERENCE / name, dtype={"YEAR": str, "period": str})
    if name == "bacteria.csv":
        table = table.assign(y=(table["y"] == "y") * 1, late=(table["week"] > 2) * 1)
    return table


@pytest.mark.parametrize("key", CASES)
def test_agreement_with_r(key):
    name, formula, random, family, more = CASES[key]
    expected = VALUES[key]
    fit = ml.fit_mixed(formula, table_of(name), random=random, family=family, **more)
    assert fit.converged and fit.loglik > expected["loglik"] - 1e-6
    own = np.sqrt(np.diag(fit.inference.joint_vcov))[: len(fit.beta)]
    if family == "ordinal":
        at = len(fit.thresholds)
        found = [*fit.thresholds["estimate"], *fit.beta[1:]]
        assert_allclose(found, expected["estimate"], rtol=1e-4, atol=2e-5)
        errors = [*fit.thresholds["std_error"], *own[1:]]
        # clmm differences the Laplace likelihood; see test_standard_errors_of_ratings.
        assert_allclose(errors, expected["se"], rtol=2e-2 if key == "wine_logit" else 1e-3)
        assert fit.thresholds["threshold"].iloc[0] == "1|2" and at == 4
    else:
        assert_allclose(fit.beta, expected["estimate"], rtol=1e-4, atol=2e-5)
        assert_allclose(own, expected["se"], rtol=1e-3)
    if np.isfinite(fit.dispersion):
        assert_allclose(fit.dispersion, expected["dispersion"], rtol=1e-4)
    if "sd" in expected:
        spreads = [float(np.sqrt(psi[0, 0])) for psi in fit.covariances.values()]
        assert_allclose(spreads, np.ravel(expected["sd"]), rtol=1e-4, atol=2e-5)


def test_crossed_ratings_equal_clmm():
    ratings = np.array(
        [list(map(int, line)) for line in (REFERENCE / "verbagg.txt").open("r").read().split()]
    )
    items = pd.read_csv(REFERENCE / "verbagg_items.csv")
    people = len(ratings)
    table = pd.DataFrame(
        {
            "id": np.repeat(np.arange(people), len(items)),
            "item": np.tile(items["item"], people),
            "resp": ratings.ravel(),
        }
    ).merge(items, on="item")
    fit = ml.fit_mixed(
        "resp ~ C(btype, Treatment('curse')) + C(mode, Treatment('want'))",
        table,
        random={"id": "1", "item": "1"},
        family="ordinal",
    )
    expected = VALUES["verbagg"]
    assert fit.loglik > expected["loglik"] - 1e-6
    found = [*fit.thresholds["estimate"], *fit.beta[1:]]
    assert_allclose(found, expected["estimate"], rtol=1e-4)
    own = np.sqrt(np.diag(fit.inference.joint_vcov))[1:4]
    assert_allclose(own, expected["se"][2:], rtol=1e-3)
    # Effects of items are not judged by how persons differ in them.
    assert not any("add the slope" in words for words in fit.warnings)


def test_standard_errors_of_ratings():
    """A Laplace likelihood of wine of its own, judge by judge, and its Hessian by differences."""
    wine = table_of("wine.csv")
    fit = ml.fit_mixed("rating ~ temp + contact", wine, random={"judge": "1"}, family="ordinal")
    x = np.column_stack([wine["temp"] == "warm", wine["contact"] == "yes"]).astype(float)
    k = wine["rating"].to_numpy() - 1
    judges = [np.flatnonzero(wine["judge"] == j) for j in wine["judge"].unique()]

    def height(u, rows, point):
        cut = np.concatenate([[-np.inf], point[:4], [np.inf]])
        eta = x[rows] @ point[4:6] + point[6] * u
        return np.log(expit(cut[k[rows] + 1] - eta) - expit(cut[k[rows]] - eta)).sum() - u * u / 2

    def deviance(point):
        total = 0.0
        for rows in judges:
            best = optimize.minimize_scalar(
                lambda u, rows=rows: -height(u, rows, point),
                bracket=(-1, 1),
                options={"xtol": 1e-12},
            )
            h = 1e-3
            curve = [height(best.x + step * h, rows, point) for step in (-2, -1, 0, 1, 2)]
            bend = -(np.array([-1, 16, -30, 16, -1]) @ curve) / (12 * h * h)
            total += -2 * (-best.fun) + np.log(bend)
        return total

    point = np.concatenate(
        [fit.thresholds["estimate"], fit.beta[1:], [np.sqrt(fit.covariances["judge"][0, 0])]]
    )
    assert_allclose(deviance(point), -2 * fit.loglik, atol=1e-6)
    size, h = len(point), 2e-2
    steps = h * np.eye(size)
    hessian = np.empty((size, size))
    for i in range(size):
        for j in range(i + 1):
            corners = [
                deviance(point + a * steps[i] + b * steps[j])
                for a, b in ((1, 1), (1, -1), (-1, 1), (-1, -1))
            ]
            hessian[i, j] = hessian[j, i] = (np.array([1, -1, -1, 1]) @ corners) / (4 * h * h)
    error = np.sqrt(np.diag(2 * np.linalg.inv(hessian)))
    assert_allclose(fit.thresholds["std_error"], error[:4], rtol=2e-3)
    own = np.sqrt(np.diag(fit.inference.joint_vcov))
    assert_allclose(own[1:3], error[4:6], rtol=2e-3)


KINDS = [
    (BetaBinomial("logit"), RNG.integers(0, 7, 240)),
    (BetaBinomial("probit"), RNG.integers(0, 7, 240)),
    (Poisson(), RNG.integers(0, 7, 240)),
    (NegativeBinomial(), RNG.integers(0, 7, 240)),
    (Gamma(), RNG.gamma(2, 1, 240)),
    (Ordinal("logit", 5), RNG.integers(0, 5, 240)),
    (Ordinal("probit", 5), RNG.integers(0, 5, 240)),
]
WEIGHT = np.full(240, 6.0)


@pytest.mark.parametrize(
    ("kind", "y"),
    KINDS,
    ids=[f"{kind.__class__.__name__} {getattr(kind, 'link', '')}" for kind, _ in KINDS],
)
def test_derivatives_of_each_kind_of_outcome(kind, y):
    eta, step = np.linspace(-3, 3, 240)[None], 1e-5
    y, extra = y[None].astype(float), np.linspace(0.3, 0.8, kind.n_extra)[None]
    weight = WEIGHT[None]
    here = kind.rows(eta, y, weight, extra)
    ahead, behind = (kind.rows(eta + s * step, y, weight, extra) for s in (1, -1))
    for order, sign in ((0, 1), (1, -1), (2, 1)):
        slope = (ahead[order] - behind[order]) / (2 * step)
        assert_allclose(here[order + 1], sign * slope, rtol=1e-5, atol=1e-5)
    found = kind.extras(eta, y, weight, extra)
    for place in range(kind.n_extra):
        moved = np.zeros((1, kind.n_extra))
        moved[0, place] = step
        ahead, behind = (kind.rows(eta, y, weight, extra + s * moved) for s in (1, -1))
        for order in range(3):
            slope = (ahead[order] - behind[order]) / (2 * step)
            assert_allclose(found[order][place], slope, rtol=1e-5, atol=1e-5)


@pytest.mark.parametrize("nodes", [1, 5])
@pytest.mark.parametrize(
    ("kind", "y"),
    KINDS,
    ids=[f"{kind.__class__.__name__} {getattr(kind, 'link', '')}" for kind, _ in KINDS],
)
def test_gradients_of_the_criteria(kind, y, nodes):
    x = np.column_stack([np.ones(240), np.sin(np.arange(240.0))])
    index = np.repeat(np.arange(30), 8)
    rows = Rows(x, x.T, np.arange(0, 240, 8), np.zeros(240), y[None] * 1.0, WEIGHT[None])
    models = [OneFactor(rows, correlated(2), kind, nodes)]
    if nodes == 1:
        second = Factor(np.tile(np.arange(6), 40), np.ones((240, 1)), correlated(1), 6)
        factors = [Factor(index, x, correlated(2), 30), second]
        cells = Cells(y * 1.0, WEIGHT, 240)
        models.append(ManyFactors(x, factors, cells, np.zeros(240), kind, (0, 1)))
    for model in models:
        theta = [0.3, 0.1, 0.4] + [0.5] * (model is not models[0])
        point = np.array([0.2, -0.1, *theta, *np.linspace(0.3, 0.8, kind.n_extra)])
        gradient = model.objective(point[None], np.array([0]))[1][0]
        for place, step in enumerate(1e-5 * np.eye(len(point))):
            ahead, behind = (
                model.objective((point + s * step)[None], np.array([0]))[0][0] for s in (1, -1)
            )
            assert_allclose(gradient[place], (ahead - behind) / 2e-5, rtol=1e-3, atol=2e-3)


@pytest.fixture(scope="module")
def practised():
    """Twenty people, two groups, eight rows each, one outcome of every kind."""
    rng = np.random.default_rng(12)
    table = pd.DataFrame(
        {"participant": np.repeat(np.arange(20), 8), "group": np.repeat(["blocked", "random"], 80)}
    )
    table["late"] = np.tile([0, 0, 0, 0, 1, 1, 1, 1], 20)
    eta = 0.6 * (table["group"] == "random") + 0.4 * table["late"]
    eta = (eta + rng.normal(0, 0.6, 20)[table["participant"]]).to_numpy()
    table["rating"] = ((eta + rng.logistic(size=160))[:, None] > [-1.0, 0.4, 1.5]).sum(axis=1)
    table["catches"] = rng.poisson(np.exp(eta))
    table["faults"] = rng.poisson(np.exp(eta) * rng.gamma(2, 0.5, 160))
    table["throws"] = 10
    p = expit(eta)
    table["hits"] = rng.binomial(10, rng.beta(5 * p, 5 * (1 - p)))
    table["time"] = rng.gamma(4, np.exp(eta) / 4)
    return table


FITS = {
    "ordinal": ("rating", {}),
    "poisson": ("catches", {}),
    "negative-binomial": ("faults", {}),
    "beta-binomial": ("hits", {"attempts": "throws"}),
    "gamma": ("time", {}),
    "lognormal": ("time", {}),
}


@pytest.fixture(scope="module")
def fits(practised):
    return {
        family: ml.fit_mixed(f"{y} ~ group * late", practised, random=ONE, family=family, **more)
        for family, (y, more) in FITS.items()
    }


def test_two_ratings_are_hits(practised):
    table = practised.assign(good=(practised["rating"] > 1) * 1)
    rated = ml.fit_mixed("good ~ group + late", table, random=ONE, family="ordinal")
    hit = ml.fit_mixed("good ~ group + late", table, random=ONE, family="binomial")
    assert_allclose(rated.loglik, hit.loglik, atol=1e-8)
    assert_allclose(rated.estimates.iloc[:, 1:], hit.estimates.iloc[:, 1:], rtol=1e-4)


def test_counts_and_hits_that_do_not_scatter(practised):
    even = practised.assign(catches=np.tile([2, 1, 2, 3, 2, 1, 2, 3], 20))
    wide = ml.fit_mixed("catches ~ group", even, random=ONE, family="negative-binomial")
    plain = ml.fit_mixed("catches ~ group", even, random=ONE, family="poisson")
    assert_allclose(wide.beta, plain.beta, atol=1e-4)
    assert_allclose(wide.loglik, plain.loglik, atol=1e-2)
    assert any("no more than a poisson" in words for words in wide.warnings)


def test_lognormal_is_gaussian_of_the_logarithm(practised, fits):
    logs = ml.fit_mixed("log(time) ~ group * late", practised, random=ONE)
    fit = fits["lognormal"]
    assert_allclose(fit.beta, logs.beta, rtol=1e-9)
    assert_allclose(fit.loglik, logs.loglik - np.log(practised["time"]).sum(), rtol=1e-9)
    ratio = ml.contrasts(fit, "group", scale="ratio")
    same = ml.contrasts(logs, "group", scale="ratio")
    assert_allclose(ratio["conf_low"], same["conf_low"], rtol=1e-9)
    median = ml.marginal_means(fit, "group", scale="median")
    assert_allclose(median["estimate"], np.exp(ml.marginal_means(logs, "group")["estimate"]))


@pytest.mark.parametrize("family", FITS)
def test_weights_are_rows_given_so_often(practised, family):
    if family in ("beta-binomial", "lognormal"):
        return
    y, more = FITS[family]
    table = practised.assign(often=np.tile([1, 2], 80))
    weighted = ml.fit_mixed(
        f"{y} ~ group", table, random=ONE, family=family, weights="often", df="normal", **more
    )
    repeated = ml.fit_mixed(
        f"{y} ~ group",
        table.loc[np.repeat(table.index, table["often"])],
        random=ONE,
        family=family,
        df="normal",
        **more,
    )
    assert_allclose(weighted.beta, repeated.beta, rtol=1e-5, atol=1e-6)
    assert_allclose(weighted.loglik, repeated.loglik, rtol=1e-8)


def test_an_offset_is_exposure(practised):
    table = practised.assign(minutes=np.tile([1.0, 2.0], 80))
    table["exposure"] = np.log(table["minutes"])
    fit = ml.fit_mixed("catches ~ 1", table, random=ONE, family="poisson", offset="exposure")
    found = fit.predict(table)
    assert_allclose(found[1], 2 * found[0], rtol=1e-9)
    none = ml.fit_mixed("catches ~ exposure", table, random=ONE, family="poisson")
    assert none.loglik >= fit.loglik


@pytest.mark.parametrize("family", FITS)
def test_every_family_answers_every_question(fits, practised, family):
    fit = fits[family]
    assert fit.converged and np.isfinite(fit.estimates["p"]).all()
    # Only what is known from people has few df: group, not late.
    assert (fit.estimates["df"] > 2).all() and fit.estimates["df"][1] < 200
    assert fit.inference.method != "normal"
    again = MixedFit.from_json(fit.to_json())
    assert str(again) == str(fit) and "mixed model" in str(fit)
    assert_allclose(refit(again, again.observed).beta, fit.beta, atol=1e-4)
    assert_allclose(fit.predict(practised), fit.fitted(), rtol=1e-9)
    assert abs(fit.residuals("pearson").mean()) < 0.2
    assert 0.7 < fit.residuals("pearson").std() < 1.3
    assert 0 < fit.explained["icc"] < 1
    assert list(fit.anova()["term"]) == ["group", "late", "group:late"]
    means = ml.marginal_means(fit, "group", scale="average")
    assert (means["conf_low"] < means["estimate"]).all()
    assert (means["conf_high"] > means["estimate"]).all()
    for scale in ("link", "typical", "average", "ratio"):
        found = ml.contrasts(fit, "group", scale=scale, adjust="mvt")
        assert np.isfinite(found["p"]).all()
    left = leave_one_out(fit)
    assert len(left) == 20 * 4 and np.isfinite(left["estimate"]).all()


@pytest.mark.parametrize("family", FITS)
def test_drawn_outcomes_are_fitted_side_by_side(fits, family):
    fit = fits[family]
    draws = fit.simulate(3, seed=1)
    many, failed = refit_many(fit, draws)
    assert failed == 0
    for i in (0, 2):
        one = refit(fit, draws[i])
        assert_allclose(many.beta[i], one.beta, rtol=1e-3, atol=2e-4)
    if family in ("ordinal", "gamma"):
        intervals = bootstrap_intervals(fit, simulations=60, seed=2)
        spread = intervals.set_index("term")["std_error"]["group[T.random]"]
        assert_allclose(spread, fit.bse["group[T.random]"], rtol=0.35)
        profile = profile_intervals(fit)
        assert (profile["sd_low"] <= profile["sd"]).all()
        assert (profile["sd_high"] > profile["sd"]).all()


def test_probabilities_of_ratings(fits, practised):
    fit = fits["ordinal"]
    each = ml.marginal_means(fit, ["group", "late"][:1], scale="average", rating="each")
    total = each.frame.groupby("group")["estimate"].sum()
    assert_allclose(total, 1.0, atol=1e-9)
    mean = ml.marginal_means(fit, "group", scale="average")["estimate"].to_numpy()
    score = each.frame.assign(part=each["estimate"] * each["rating"].astype(float))
    assert_allclose(score.groupby("group")["part"].sum(), mean, atol=1e-9)
    # By integration over the people, without the code under test.
    sd = np.sqrt(fit.covariances["participant"][0, 0])
    eta = fit.beta[0] + fit.beta[2] * practised["late"].mean()
    cut = fit.thresholds["estimate"].to_numpy() + fit.beta[0]
    low = integrate.quad(
        lambda b: expit(cut[0] - eta - b) * stats.norm.pdf(b, scale=sd), -12, 12, epsabs=1e-12
    )[0]
    found = each.frame.query("rating == 0 and group == 'blocked'")["estimate"].item()
    assert_allclose(found, low, atol=1e-7)
    rows = predict_ratings(fit, practised)
    assert_allclose(rows.sum(axis=1), 1.0)
    assert list(rows) == [0, 1, 2, 3]
    assert_allclose(rows @ np.arange(4.0), fit.predict(practised))
    with pytest.raises(InputError, match="none of ratings"):
        predict_ratings(fits["poisson"], practised)
    gap = ml.contrasts(fit, "group", scale="average", rating=3)
    ends = each.frame.query("rating == 3")["estimate"].to_numpy()
    assert_allclose(gap["estimate"].item(), ends[1] - ends[0], atol=1e-12)
    with pytest.raises(InputError, match="use one of 0, 1, 2, 3"):
        ml.contrasts(fit, "group", scale="average", rating=7)
    with pytest.raises(InputError, match="ordinal"):
        ml.marginal_means(fits["poisson"], "group", scale="average", rating=1)


@pytest.mark.parametrize(
    "response",
    [
        Response("ordinal", "logit", np.array([0.2, -0.3]), np.array([0.0, 1.0, 2.0, 5.0])),
        Response("ordinal", "probit", np.array([0.2, -0.3]), np.arange(4.0)),
        Response("lognormal", "log", np.array([0.3])),
        Response("gamma", "log", np.array([1.0])),
        Response("binomial", "cloglog"),
    ],
    ids=lambda r: f"{r.family} {r.link}",
)
def test_slopes_of_means(response):
    eta, v, h = np.linspace(-2, 2, 7), np.full(7, 0.5), 1e-4
    for rating in (None, 0, 2, 3) if response.family == "ordinal" else (None,):
        here = response.mean(eta, v, rating)
        by_eta = response.mean(eta + h, v, rating).value - response.mean(eta - h, v, rating).value
        assert_allclose(here.by_eta, by_eta / (2 * h), rtol=1e-5, atol=1e-6)
        by_v = response.mean(eta, v + h, rating).value - response.mean(eta, v - h, rating).value
        assert_allclose(here.by_variance, by_v / (2 * h), rtol=1e-4, atol=1e-5)
        for i in range(len(response.extra)):
            moved = [
                Response(
                    response.family,
                    response.link,
                    response.extra + s * h * np.eye(len(response.extra))[i],
                    response.scores,
                )
                .mean(eta, v, rating)
                .value
                for s in (1, -1)
            ]
            assert_allclose(here.by_extra[i], (moved[0] - moved[1]) / (2 * h), atol=1e-6)


@pytest.mark.parametrize("reml", [True, False])
def test_variances_of_balanced_logarithms_have_the_errors_of_mean_squares(reml):
    # The likelihood of a balanced one-way layout is that of two mean squares, which are
    # independent: each has the variance 2 MS² / df, and psi = (between - within) / n.
    people, n = 12, 6
    rng = np.random.default_rng(5)
    logs = 1 + rng.normal(0, 0.5, (people, 1)) + rng.normal(0, 0.3, (people, n))
    table = pd.DataFrame(
        {"participant": np.repeat(np.arange(people), n), "time": np.exp(logs.flat)}
    )
    fit = ml.fit_mixed("time ~ 1", table, random=ONE, family="lognormal", reml=reml)
    df = (people - 1 if reml else people), people * (n - 1)
    between = n * np.sum((logs.mean(axis=1) - logs.mean()) ** 2) / df[0]
    within = np.sum((logs - logs.mean(axis=1, keepdims=True)) ** 2) / df[1]
    large, small = 2 * between**2 / df[0], 2 * within**2 / df[1]
    expected = np.diag([between / (people * n), (large + small) / n**2, small])
    expected[1, 2] = expected[2, 1] = -small / n
    assert_allclose(fit.inference.joint_vcov, expected, rtol=1e-5, atol=1e-12)


@pytest.mark.slow
def test_means_of_times_cover_the_raw_scale():
    """Intervals of the mean time over people hold what they promise, twelve people a group."""
    rng = np.random.default_rng(5)
    person = np.repeat(np.arange(24), 6)
    table = pd.DataFrame({"participant": person, "group": np.where(person % 2, "a", "b")})
    truth, covered = np.exp(0.3 + (0.16 + 0.25) / 2), []
    for _ in range(200):
        logs = 0.3 + rng.normal(0, 0.4, 24)[person] + rng.normal(0, 0.5, len(person))
        fit = ml.fit_mixed(
            "time ~ group", table.assign(time=np.exp(logs)), random=ONE, family="lognormal"
        )
        row = ml.marginal_means(fit, "group", scale="average").frame.iloc[0]
        covered.append(row["conf_low"] < truth < row["conf_high"])
    assert 0.90 <= np.mean(covered) <= 0.99


def bad(table, **changes):
    return table.assign(**changes)


@pytest.mark.parametrize(
    ("family", "column", "values", "match"),
    [
        ("gamma", "time", -1.0, "not above zero"),
        ("lognormal", "time", 0.0, "not above zero"),
        ("poisson", "catches", -1, "below zero"),
        ("negative-binomial", "faults", 1.5, "whole number"),
        ("beta-binomial", "hits", 11, "11 of 10"),
        ("ordinal", "rating", 1, "every rating in 'rating' is the same"),
        ("poisson", "catches", 0, "outcome is 0 in every row"),
    ],
)
def test_outcomes_that_are_none_of_the_kind(practised, family, column, values, match):
    more = {"attempts": "throws"} if family == "beta-binomial" else {}
    with pytest.raises((InputError, FitError), match=match):
        ml.fit_mixed(
            f"{column} ~ group",
            bad(practised, **{column: values}),
            random=ONE,
            family=family,
            **more,
        )


def test_a_group_at_the_top_is_refused(practised):
    top = practised.assign(rating=np.where(practised["group"] == "random", 3, practised["rating"]))
    with pytest.raises(FitError, match=r"outcome is 3 in every row.*group: random"):
        ml.fit_mixed("rating ~ group", top, random=ONE, family="ordinal")
    late = practised.assign(
        rating=np.where(practised["late"] == 1, 3, practised["rating"].clip(upper=2))
    )
    split = ml.fit_mixed("rating ~ late", late, random=ONE, family="ordinal")
    assert any("low and high ratings are split" in words for words in split.warnings)
    assert split.estimates["p"].isna()[1] and not split.converged
    never = practised.assign(catches=practised["catches"] * practised["late"])
    none = ml.fit_mixed("catches ~ late", never, random=ONE, family="poisson")
    assert any("no event was counted" in words for words in none.warnings)


def test_a_rating_that_never_occurs_is_flagged(practised):
    holes = practised.assign(rating=practised["rating"].replace(1, 2))
    fit = ml.fit_mixed("rating ~ group", holes, random=ONE, family="ordinal")
    assert "Nobody was given 1" in fit.warnings[0] and list(fit.design.categories) == [0, 2, 3]
    words = pd.Categorical.from_codes(
        practised["rating"], ["poor", "fair", "good", "very good"], ordered=True
    )
    named = ml.fit_mixed(
        "rating ~ group", practised.assign(rating=words), random=ONE, family="ordinal"
    )
    assert list(named.thresholds["threshold"]) == ["poor|fair", "fair|good", "good|very good"]
    assert_allclose(named.response.scores, [1, 2, 3, 4])
    for wrong in (words.as_unordered(), np.array(words, dtype=object)):
        with pytest.raises(InputError, match="order"):
            ml.fit_mixed(
                "rating ~ group", practised.assign(rating=wrong), random=ONE, family="ordinal"
            )


def test_ratings_that_are_all_the_same_are_refused(practised):
    told = "every rating in 'rating' is the same.*check that the right column was named"
    with pytest.raises(InputError, match=told):
        ml.fit_mixed("rating ~ group", practised.assign(rating=3), random=ONE, family="ordinal")


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({"family": "ordinal", "link": "cloglog"}, "no such link"),
        ({"family": "poisson", "link": "logit"}, "no such link"),
        ({"family": "poisson", "attempts": "throws"}, "attempts belong to hits"),
        ({"family": "beta-binomial"}, "need their attempts.*summed by block or test"),
        ({"family": "lognormal", "quadrature": 5}, "no quadrature"),
        ({"family": "gamma", "variance": "group"}, "linear model"),
    ],
)
def test_options_that_do_not_go_together(practised, options, match):
    with pytest.raises(InputError, match=match):
        ml.fit_mixed("catches ~ group", practised, random=ONE, **options)


@pytest.mark.parametrize("family", ["ordinal", "negative-binomial"])
def test_joint_tests_by_parametric_bootstrap(practised, family):
    y, more = FITS[family]
    smaller, larger = (
        ml.fit_mixed(f"{y} ~ {terms}", practised, random=ONE, family=family, **more)
        for terms in ("late", "group * late")
    )
    found = likelihood_ratio(smaller, larger, simulations=60, seed=4)
    assert found.df == 2 and found.failed == 0 and len(found.simulated) == 60
    # Twice the log likelihood of two needless parameters has a mean of about two.
    assert 1.2 < found.simulated.mean() < 3.2
    assert 1 / 61 <= found.p_bootstrap <= 1


@pytest.mark.slow
@pytest.mark.parametrize("family", ["ordinal", "negative-binomial", "beta-binomial", "gamma"])
def test_false_positives_with_ten_people_a_group(family):
    """The default test of a group that makes no difference, 300 studies of six rows a person."""
    rng = np.random.default_rng(8)
    person = np.repeat(np.arange(20), 6)
    table = pd.DataFrame({"participant": person, "group": np.where(person < 10, "a", "b")})
    table["throws"], p = 10, []
    for _ in range(300):
        eta = rng.normal(0, 1, 20)[person]
        share = expit(0.8 * eta - 0.4)
        table["y"] = {
            "ordinal": ((eta + rng.logistic(size=120))[:, None] > [-0.5, 1.0]).sum(axis=1),
            "negative-binomial": rng.poisson(np.exp(0.7 + eta / 2) * rng.gamma(2, 0.5, 120)),
            "beta-binomial": rng.binomial(10, rng.beta(8 * share, 8 * (1 - share))),
            "gamma": rng.gamma(4, np.exp(0.3 * eta) / 4),
        }[family]
        more = FITS[family][1]
        fit = ml.fit_mixed("y ~ group", table, random=ONE, family=family, **more)
        p.append(fit.pvalues["group[T.b]"])
    assert np.mean(np.array(p) < 0.05) <= 0.10


def test_hits_that_scatter_as_chance_does_are_said_to():
    rng = np.random.default_rng(1)
    person, test = np.repeat(np.arange(24), 4), np.tile(np.arange(4), 24)
    eta = -0.3 + 0.4 * (test > 0) + rng.normal(0, 0.7, 24)[person]
    table = pd.DataFrame({"participant": person, "test": test.astype(str), "attempts": 20})
    table["hits"] = np.rint(20 / (1 + np.exp(-eta)))  # less than chance
    options = {"random": {"participant": "1"}, "attempts": "attempts"}
    try:
        fit = ml.fit_mixed("hits ~ test", table, family="beta-binomial", **options)
    except FitError as problem:
        assert "binomial" in str(problem)
    else:
        plain = ml.fit_mixed("hits ~ test", table, family="binomial", **options)
        assert abs(fit.loglik - plain.loglik) < 0.05
