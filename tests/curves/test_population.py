"""Population curves: published and computed maxima, gradients, equivalences, recovery, refusals."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.integrate import quad
from scipy.optimize import minimize_scalar
from scipy.special import expit
from scipy.stats import multivariate_normal, norm

import motorlearn as ml
from motorlearn.curves import FORMS
from motorlearn.curves.population import maximum
from motorlearn.curves.population.ascent import Summit
from motorlearn.curves.population.hits import HitMarginal
from motorlearn.curves.population.layout import Layout
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.population.marginal import Marginal
from motorlearn.curves.population.maximum import _warnings
from motorlearn.exceptions import ColumnError, FitError, InputError

LOBLOLLY = Path(__file__).parents[1] / "reference/loblolly"
VARY = [(0,), (1,), (2,), (0, 1), (0, 2), (1, 2), (0, 1, 2)]


def simulate(count=30, trials=20, group_shift=(0.0, 0.0, 0.0), seed=1, sd=(2.0, 1.5, 0.4)):
    rng = np.random.default_rng(seed)
    group = np.arange(count) % 2
    own = np.array([20.0, 12.0, np.log(0.25)]) + group[:, None] * np.array(group_shift)
    own = own + rng.normal(size=(count, 3)) * sd
    n = np.arange(1.0, trials + 1)
    y = own[:, [0]] + own[:, [1]] * np.exp(-np.exp(own[:, [2]]) * (n - 1))
    y = y + rng.normal(0, 1.5, y.shape)
    return pd.DataFrame(
        {
            "participant": np.repeat([f"p{i:02d}" for i in range(count)], trials),
            "group": np.repeat(np.where(group, "random", "blocked"), trials),
            "block": np.tile(n, count),
            "radial_error": y.ravel(),
        }
    )


def fit(table, **options):
    return ml.fit_population_curve(table, "radial_error", practice="block", **options)


def padded(form="exponential", start=False, hits=False, seed=2):
    rng = np.random.default_rng(seed)
    n = np.tile(np.arange(1.0, 11.0), (6, 1))
    y = rng.normal(0, 1, n.shape) + np.exp(-0.3 * (n - 1))
    used = np.ones_like(n)
    used[2, 7:] = 0.0
    trials = np.full(n.shape, 9.0) if hits else None
    y = rng.binomial(9, 0.5, n.shape).astype(float) if hits else y
    return Learners(FORMS[form], n, y, used, np.arange(6) % 2, 1.0, start, trials)


def numeric_slope(value, point):
    slope = []
    for k in range(len(point)):
        move = np.eye(len(point))[k] * 1e-5
        slope.append((value(point + move) - value(point - move)) / 2e-5)
    return np.array(slope)


def test_exact_maximum_of_the_published_example():
    wanted = json.loads((LOBLOLLY / "values.json").read_text("utf-8"))
    table = pd.read_csv(LOBLOLLY / "data.csv")
    found = ml.fit_population_curve(
        table,
        "height",
        practice="age",
        participant="Seed",
        amount="start",
        first=0.0,
        vary=("asymptote",),
    )
    estimates = found.estimates.set_index("term")["estimate"]
    for term in ("asymptote", "start", "log_rate"):
        assert estimates[term] == pytest.approx(wanted[term], abs=1e-4)
    assert found.loglik == pytest.approx(wanted["loglik"], abs=1e-6)
    assert found.variances.loc[0, "sd"] == pytest.approx(wanted["asymptote_sd"], abs=1e-4)
    assert found.residual_sd == pytest.approx(wanted["residual_sd"], abs=1e-4)
    other = wanted["linearised"]
    assert found.loglik > other["loglik"] + 0.04
    for name in ("aic", "bic"):
        penalty = other[name] + 2 * other["loglik"]
        assert getattr(found, name) + 2 * found.loglik == pytest.approx(penalty, abs=1e-6)


@pytest.mark.parametrize("vary", VARY)
@pytest.mark.parametrize("form", ["exponential", "power"])
@pytest.mark.parametrize("start", [False, True])
def test_gradient_agrees_with_finite_differences(vary, form, start):
    marginal = Marginal(padded(form, start), Layout(2, (True, False, True), vary, True), 41)
    point = np.random.default_rng(3).normal(0, 0.3, marginal.layout.size)
    slope = marginal.value(point)[1]
    numeric = numeric_slope(lambda p: marginal.value(p)[0], point)
    assert slope == pytest.approx(numeric, rel=1e-4, abs=1e-4 * np.abs(slope).max())


@pytest.mark.parametrize("start", [False, True])
def test_gradient_of_hits_agrees_with_finite_differences(start):
    marginal = HitMarginal(
        padded(start=start, hits=True), Layout(2, (True,) * 3, (0, 1, 2), False), 4
    )
    point = np.random.default_rng(3).normal(0, 0.3, marginal.layout.size)
    marginal.adapt(point)
    slope = marginal.value(point)[1]
    numeric = numeric_slope(lambda p: marginal.value(p)[0], point)
    assert slope == pytest.approx(numeric, rel=1e-5, abs=1e-6 * np.abs(slope).max())


def test_likelihood_equals_the_multivariate_normal_where_the_rate_is_common():
    data = padded()
    layout = Layout(2, (False,) * 3, (0, 1), True)
    point = np.array([0.2, 0.9, np.log(0.3), 0.5, 0.2, 0.4, np.log(0.8)])
    root = np.array([[0.5, 0.0], [0.2, 0.4]])
    total = 0.0
    for n, y, used in zip(data.n, data.y, data.used > 0):
        columns = np.stack([np.ones(used.sum()), np.exp(-0.3 * (n[used] - 1))], axis=1)
        cover = columns @ root @ root.T @ columns.T + 0.64 * np.eye(used.sum())
        total += multivariate_normal(columns @ [0.2, 0.9], cover).logpdf(y[used])
    assert Marginal(data, layout, 1).value(point)[0] == pytest.approx(total, rel=1e-12)


def test_quadrature_equals_the_integral_where_the_rate_varies():
    data = padded()
    layout = Layout(2, (False,) * 3, (2,), True)
    point = np.array([0.2, 0.9, np.log(0.3), 0.7, np.log(0.8)])

    def density(z, n, y):
        curve = 0.2 + 0.9 * np.exp(-np.exp(np.log(0.3) + 0.7 * z) * (n - 1))
        return np.exp(norm(curve, 0.8).logpdf(y).sum() + norm.logpdf(z))

    total = sum(
        np.log(quad(density, -8, 8, args=(n[used], y[used]), epsabs=0, epsrel=1e-11, limit=200)[0])
        for n, y, used in zip(data.n, data.y, data.used > 0)
    )
    assert Marginal(data, layout, 41).value(point)[0] == pytest.approx(total, rel=1e-8)


def test_gain_and_start_are_one_model_where_both_parameters_vary():
    table = simulate()
    by_gain = fit(table, vary=("asymptote", "gain"))
    by_start = fit(table, vary=("asymptote", "start"), amount="start")
    assert by_gain.loglik == pytest.approx(by_start.loglik, abs=1e-6)
    one = fit(table, vary=("asymptote",))
    other = fit(table, vary=("asymptote",), amount="start")
    assert abs(one.loglik - other.loglik) > 1


def test_group_differences_are_recovered_and_tested():
    table = simulate(60, group_shift=(3.0, 0.0, 0.0))
    found = fit(table, group="group", tests=True)
    estimates = found.estimates.set_index("term")
    row = estimates.loc["asymptote[random]"]
    assert abs(row["estimate"] - 3.0) < 3 * row["std_error"]
    tests = found.group_tests.set_index("term")
    assert tests.at["asymptote", "p"] < 0.001
    assert tests.at["all", "df"] == 3
    assert tests.at["log_rate", "p"] > 0.001
    assert found.participants["group"].nunique() == 2


def test_relabelling_the_first_group_turns_the_differences_round():
    table = simulate(group_shift=(3.0, 0.0, 0.3))
    one = fit(table, group="group", vary=("asymptote", "gain"))
    turned = table.assign(group=table["group"].map({"blocked": "b", "random": "a"}))
    turned = turned.sort_values("group", kind="stable")
    other = fit(turned, group="group", vary=("asymptote", "gain"))
    assert other.groups == ("a", "b")
    first = one.estimates.set_index("term")["estimate"]
    second = other.estimates.set_index("term")["estimate"]
    assert second["asymptote[b]"] == pytest.approx(-first["asymptote[random]"], abs=1e-5)
    assert one.loglik == pytest.approx(other.loglik, abs=1e-7)


def test_shift_and_scale_of_the_scores():
    table = simulate()
    one = fit(table)
    other = fit(table.assign(radial_error=100 + 10 * table["radial_error"]))
    first, second = one.estimates["estimate"], other.estimates["estimate"]
    assert second[0] == pytest.approx(100 + 10 * first[0], rel=1e-5)
    assert second[2] == pytest.approx(first[2], abs=1e-5)
    assert other.loglik == pytest.approx(one.loglik - one.n * np.log(10), abs=1e-5)


def test_learners_are_drawn_towards_the_population():
    table = simulate(25, 12)
    found = fit(table, vary=("asymptote", "gain"))
    alone = ml.fit_curves(
        table, "radial_error", practice="block", by="participant", forms=("exponential",)
    ).table
    assert found.participants["asymptote"].std() < alone["asymptote"].std()
    assert found.participants["n"].tolist() == [12] * 25
    assert len(found.residuals) == found.n
    assert abs(found.residuals["residual"].mean()) < 0.05


def test_bands_nest():
    shown = fit(simulate(), group="group").predict([1, 5, 20])
    assert len(shown) == 6
    assert (shown["score_low"] < shown["learner_low"]).all()
    assert (shown["learner_low"] < shown["conf_low"]).all()
    assert (shown["conf_low"] < shown["estimate"]).all()


def test_missing_rows_and_unequal_lengths():
    table = simulate()
    table.loc[5:9, "radial_error"] = np.nan
    found = fit(table, vary=("asymptote", "gain"))
    assert found.n == len(table) - 5
    assert found.recipe.left_out[["participant", "rows"]].to_numpy().tolist() == [["p00", 5]]
    dropped = fit(table.dropna(), vary=("asymptote", "gain"))
    assert dropped.loglik == pytest.approx(found.loglik, abs=1e-8)


def test_hits_of_a_population():
    rng = np.random.default_rng(7)
    count, blocks = 30, np.arange(1.0, 13.0)
    own = np.array([0.9, -2.2, np.log(0.35)]) + rng.normal(size=(count, 3)) * [0.5, 0.4, 0.2]
    logit = own[:, [0]] + own[:, [1]] * np.exp(-np.exp(own[:, [2]]) * (blocks - 1))
    hits = rng.binomial(18, 1 / (1 + np.exp(-logit)))
    table = pd.DataFrame(
        {
            "participant": np.repeat(np.arange(count), 12),
            "block": np.tile(blocks, count),
            "hits": hits.ravel(),
            "throws": 18,
        }
    )
    found = ml.fit_population_curve(
        table, "hits", practice="block", attempts="throws", vary=("asymptote", "gain")
    )
    assert found.family == "binomial"
    assert np.isnan(found.residual_sd)
    estimates = found.estimates.set_index("term")
    for term, truth in zip(("asymptote", "gain", "log_rate"), (0.9, -2.2, np.log(0.35))):
        assert abs(estimates.at[term, "estimate"] - truth) < 3 * estimates.at[term, "std_error"]
    assert found.quadrature_gap < 0.02
    assert found.predict(blocks)["estimate"].between(0, 1).all()


def test_hit_quadrature_equals_the_integral():
    data = padded(hits=True)
    layout = Layout(2, (False,) * 3, (0,), False)
    point = np.array([0.2, 0.9, np.log(0.3), 0.7])
    marginal = HitMarginal(data, layout, 25)

    def density(z, n, y):
        eta = 0.2 + 0.7 * z + 0.9 * np.exp(-0.3 * (n - 1))
        p = 1 / (1 + np.exp(-eta))
        return np.exp(np.sum(y * np.log(p) + (9 - y) * np.log1p(-p)) + norm.logpdf(z))

    total = sum(
        np.log(quad(density, -8, 8, args=(n[used], y[used]), epsabs=0, epsrel=1e-11, limit=200)[0])
        for n, y, used in zip(data.n, data.y, data.used > 0)
    )
    marginal.adapt(point)
    assert marginal.value(point)[0] - marginal.ways.sum() == pytest.approx(total, rel=1e-9)


def test_nodes_stand_where_a_learner_is_likeliest_however_far_that_is():
    data = padded(hits=True)
    marginal = HitMarginal(data, Layout(2, (False,) * 3, (2,), False), 4)
    marginal.adapt(np.array([0.2, 2.5, np.log(0.3), 1.0]))

    def unlikely(z, n, y):
        p = expit(0.2 + 2.5 * np.exp(-0.3 * np.exp(z) * (n - 1)))
        return -np.sum(y * np.log(p) + (9 - y) * np.log1p(-p)) + 0.5 * z**2

    for k, used in enumerate(data.used > 0):
        own = (data.n[k][used], data.y[k][used])
        best = minimize_scalar(unlikely, bounds=(-6, 6), args=own, options={"xatol": 1e-8})
        assert marginal.peak[k, 0] == pytest.approx(best.x, abs=1e-4)


def test_more_variation_never_lowers_the_likelihood():
    table = simulate()
    chain = [("asymptote",), ("asymptote", "gain"), ("asymptote", "gain", "rate")]
    heights = [fit(table, vary=vary).loglik for vary in chain]
    assert heights == sorted(heights)


def flawed(kind, seed, count=12, trials=20):
    rng = np.random.default_rng(seed)
    n, who = np.tile(np.arange(1.0, trials + 1), count), np.repeat(np.arange(count), trials)
    level = 30 + rng.normal(0, 2, count)[who]
    noise = rng.normal(0, 1, n.size)
    rate = np.exp(rng.normal(np.log(0.25), 0.4, count))[who]
    y = {
        "line": level - 0.1 * n + noise,
        "flat": level + noise,
        "step": level - 5 * (n > 1) + noise,
        "noise-free": level + 8 * np.exp(-rate * (n - 1)),
        "constant": np.full(n.size, 7.0),
    }[kind]
    return pd.DataFrame({"participant": who, "block": n, "radial_error": y})


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("kind", ["line", "step"])
def test_lines_and_steps_leave_no_rate_to_report(kind, seed):
    found = fit(flawed(kind, seed))
    estimates = found.estimates.set_index("term")
    assert found.status in ("shape not settled", "rate at a bound")
    assert estimates.loc["log_rate", ["std_error", "p", "conf_low", "conf_high"]].isna().all()
    if kind == "line":
        assert estimates["estimate"].isna().all()
    middle = found.predict([10.5])["estimate"].iloc[0]
    assert middle == pytest.approx(found.residuals["outcome"].mean(), abs=1.0)


@pytest.mark.parametrize("seed", range(4))
def test_flat_learners_show_no_change(seed):
    try:
        found = fit(flawed("flat", seed))
    except FitError as problem:
        assert "do not change" in str(problem)
        return
    estimates = found.estimates.set_index("term")["estimate"]
    assert found.status == "no change"
    assert estimates["asymptote"] == pytest.approx(found.residuals["outcome"].mean())
    assert np.isnan(estimates["gain"]) and np.isnan(estimates["log_rate"])
    assert found.variances[["variance", "sd", "correlation"]].isna().all(axis=None)


@pytest.mark.parametrize(("amount", "kept"), [("gain", []), ("start", ["start"])])
def test_learners_are_not_said_to_differ_in_what_is_not_estimated(amount, kept):
    found = fit(flawed("line", 1), amount=amount)
    told = found.estimates.set_index("term")["estimate"].dropna()
    assert list(told.index) == kept
    own = found.variances[found.variances["other"] == ""].set_index("term")["sd"]
    assert list(own.index) == ["asymptote", amount, "log_rate"]
    assert list(own.dropna().index) == kept
    assert np.isfinite(found.predict([10])["learner_low"]).all()


def test_learners_without_noise_and_without_change_are_refused():
    with pytest.raises(FitError, match="without any noise"):
        fit(flawed("noise-free", 1))
    with pytest.raises(InputError, match="the same"):
        fit(flawed("constant", 1))


def test_a_gap_of_the_quadrature_that_is_no_number_is_said():
    summit = Summit(np.zeros(10), 0.0, np.eye(10), 0.0)
    layout = Layout(1, (False,) * 3, (0, 1, 2), True)
    assert any("quadrature" in said for said in _warnings(summit, layout, np.nan, True, False))


@pytest.mark.parametrize(
    ("heights", "message", "doubt"),
    [
        ([-50.0], "3 of 3 starts", False),  # the other side of the edge is as high
        ([-51.0], "2 of 3 starts", False),  # it is lower
        ([-40.0], "2 of 4 starts", False),  # it is higher, and the look after it agrees
    ],
)
def test_a_tied_edge_is_looked_at_from_its_other_side_and_told(
    monkeypatch, heights, message, doubt
):
    layout = Layout(1, (False,) * 3, (0, 1), True)
    point = layout.point(np.array([[0.0, 1.0, -1.0]]), np.array([1.0, 1e-6, 0.0]), -1.0)
    best = Summit(point, -50.0, np.eye(layout.size), 0.0)
    climbs = iter([replace(best, loglik=height) for height in heights])
    monkeypatch.setattr(maximum, "_attempt", lambda *_: next(climbs))
    monkeypatch.setattr(
        maximum, "_second_look", lambda _data, _layout, _nodes, top, _start: (top, True)
    )
    top, agree, tried = maximum._lifted(None, layout, 5, best, (2, 2))
    assert f"{agree} of {tried} starts" == message
    assert top.loglik == max(-50.0, *heights)
    said = _warnings(top, layout, 0.0, agree > 1, False)
    assert any("different maxima" in words for words in said) == doubt


def test_where_the_look_after_a_tied_edge_disagrees_it_is_said(monkeypatch):
    layout = Layout(1, (False,) * 3, (0, 1), True)
    point = layout.point(np.array([[0.0, 1.0, -1.0]]), np.array([1.0, 1e-6, 0.0]), -1.0)
    best = Summit(point, -50.0, np.eye(layout.size), 0.0)
    higher = replace(best, loglik=-40.0)
    monkeypatch.setattr(maximum, "_attempt", lambda *_: higher)
    monkeypatch.setattr(maximum, "_second_look", lambda *_: (higher, False))
    top, agree, tried = maximum._lifted(None, layout, 5, best, (2, 2))
    assert (agree, tried) == (1, 4)
    said = _warnings(top, layout, 0.0, agree > 1, False)
    assert "The starts ended at different maxima; the highest one is reported." in said


def test_profile_of_a_mean_of_learners_is_students_interval():
    # One score a block, all alike but for the level: the asymptote's profile is that of a mean.
    table = simulate(8, 30, sd=(2.0, 0.0, 0.0), seed=4)
    narrow = fit(table, vary=("asymptote",), interval="profile").estimates.set_index("term")
    wald = fit(table, vary=("asymptote",), interval="wald").estimates.set_index("term")
    means = table[table["block"] > 20].groupby("participant")["radial_error"].mean()
    student = 2.364624 * means.std(ddof=1) / np.sqrt(8)  # 97.5 % t quantile, 7 df, printed tables
    half = (narrow.at["asymptote", "conf_high"] - narrow.at["asymptote", "conf_low"]) / 2
    assert half == pytest.approx(student, rel=0.08)
    assert wald.at["asymptote", "conf_high"] - wald.at["asymptote", "conf_low"] < 2 * half


def test_a_slow_population_has_not_seen_its_asymptote():
    table = simulate(sd=(2.0, 1.5, 0.0))
    slow = table.assign(block=table["block"] / 20 + 0.95)
    scores = 20 + 12 * np.exp(-0.5 * (slow["block"] - 1))
    noise = np.random.default_rng(1).normal(0, 0.05, len(slow))
    found = fit(slow.assign(radial_error=scores + noise), vary=("asymptote",))
    assert found.status in ("asymptote not seen", "rate at a bound")


@pytest.mark.parametrize(
    ("change", "options", "error", "words"),
    [
        (lambda t: t.drop(columns="block"), {}, ColumnError, "block"),
        (lambda t: t, {"vary": ("slope",)}, InputError, "no such parameter"),
        (lambda t: t, {"vary": ()}, InputError, "at least one"),
        (lambda t: t, {"form": "hyperbolic"}, InputError, "no learning curve of this form"),
        (lambda t: t, {"amount": "level"}, InputError, "amount"),
        (lambda t: t.assign(radial_error=np.nan), {}, InputError, "no values"),
        (lambda t: t.assign(block=t["block"] - 1), {"form": "power"}, InputError, "at least 1"),
        (lambda t: t[t["participant"] == "p01"], {}, InputError, "two learners"),
        (
            lambda t: t.assign(group=t["block"].map(str)),
            {"group": "group"},
            InputError,
            "more than one",
        ),
        (lambda t: t[t["block"] <= 2], {}, InputError, "more rows"),
    ],
)
def test_bad_input_is_refused_in_a_sentence(change, options, error, words):
    with pytest.raises(error, match=words):
        fit(change(simulate()), **options)


def test_the_result_survives_json():
    found = fit(simulate(), group="group", vary=("asymptote",))
    again = type(found).from_json(found.to_json())
    assert str(again) == str(found)
    assert replace(again, warnings=()).groups == ("blocked", "random")


@pytest.mark.slow
def test_intervals_cover_what_they_promise_at_forty_learners():
    truth = np.array([20.0, 12.0, np.log(0.25)])
    inside = []
    for seed in range(300):
        found = fit(simulate(40, 20, seed=1000 + seed)).estimates
        inside.append((found["conf_low"] <= truth) & (truth <= found["conf_high"]))
    coverage = np.mean(inside, axis=0)
    print(coverage)
    assert np.all((coverage > 0.92) & (coverage < 0.98))
    assert 0.93 < coverage.mean() < 0.97


@pytest.mark.parametrize(
    ("names", "categories", "first"),
    [
        (("blocked", "random"), ["random", "unused", "blocked"], "random"),
        (("random", "blocked"), None, "blocked"),
        ((10, 2), None, 2),
    ],
)
def test_every_model_takes_the_same_group_as_the_first(names, categories, first):
    table = simulate(16, 10)
    labels = table["group"].map(dict(zip(("blocked", "random"), names, strict=True)))
    table["group"] = pd.Categorical(labels, categories=categories) if categories else labels
    table["phase"] = np.where(table["block"] > 5, "retention", "pretest")
    found = fit(table, group="group", vary=("asymptote",))
    assert found.groups[0] == str(first)
    compared = ml.compare_phases(table, "radial_error", group="group")
    assert set(compared.contrasts["reference"]) == {first}
    mixed = ml.fit_mixed("radial_error ~ C(group)", table, random={"participant": "1"})
    other = next(name for name in names if name != first)
    assert mixed.fixed_names[1].count(str(other)) == 1
    assert str(first) not in mixed.fixed_names[1].replace(str(other), "")


def test_a_climb_does_not_end_where_amounts_are_tied_to_asymptotes():
    """On that edge the likelihood is level and not highest: two starts of two ended there.

    Reference: statsmodels' mixed model, which the curve is once its rate is given.
    """
    rng = np.random.default_rng(14)
    ties = rng.multivariate_normal([0, 0], [[1, 0.64], [0.64, 1]], 40, method="cholesky")
    level, gain = 9.48 + 1.38 * ties[:, 0], 2.35 + 0.963 * ties[:, 1]
    gain += (rng.random(40) < 0.1) * 4 * rng.random(40)
    block, who = np.tile(np.arange(1, 6), 40), np.repeat(np.arange(40), 5)
    time = level[who] + gain[who] * np.exp(-0.54 * (block - 1)) + 0.6 * rng.standard_t(3, 200)
    rows = pd.DataFrame({"participant": who, "block": block, "time": time})
    fit = ml.fit_population_curve(rows, "time", practice="block", vary=("asymptote", "gain"))
    log_rate = fit.estimates.set_index("term").loc["log_rate", "estimate"]
    lever = np.column_stack([np.ones(200), np.exp(-np.exp(log_rate) * (block - 1))])
    given = sm.MixedLM(time, lever, groups=who, exog_re=lever).fit(reml=False)
    assert fit.loglik == pytest.approx(given.llf, abs=1e-3)
