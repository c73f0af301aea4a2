"""Populations whose scores have lognormal errors or errors of Student's t."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import multivariate_normal, norm
from scipy.stats import t as student

import motorlearn as ml
from motorlearn.curves import FORMS, curve_quantities
from motorlearn.curves.population.laws import LawMarginal
from motorlearn.curves.population.layout import Layout
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.population.marginal import Marginal
from motorlearn.curves.population.shared_terms import Asked, common_terms, tail_of
from motorlearn.exceptions import InputError

REFERENCE = Path(__file__).parents[1] / "reference/population_laws"
BLOCKS = np.arange(1.0, 26.0)


def four(law, asked, *, start=False):
    """Four learners with gaps and two sessions."""
    rng = np.random.default_rng(5)
    n = np.tile(np.arange(1.0, 13.0), (4, 1))
    curve = 2 + np.exp(-0.3 * (n - 1))
    y = curve * np.exp(rng.normal(0, 0.2, n.shape))
    used = np.ones_like(n)
    used[2, 9:] = 0.0
    data = Learners(FORMS["exponential"], n, y, used, np.zeros(4, int), 1.0, start, law=law)
    session = np.where(used > 0, (n > 6).astype(int), -1)
    return replace(data, common=common_terms(data, asked, session, ()))


GRADIENTS = [
    ("lognormal", Asked("session", "both", "practice", "ar1", errors="lognormal"), False),
    ("lognormal", Asked("session", "warm-up", errors="lognormal"), True),
    ("t", Asked("session", "savings", "practice", errors="t"), True),
    ("t", Asked(errors="t"), False),
]


@pytest.mark.parametrize(("law", "asked", "start"), GRADIENTS)
def test_gradient_agrees_with_finite_differences(law, asked, start):
    data = four(law, asked, start=start)
    layout = Layout(1, (False,) * 3, (0, 1, 2), True, len(data.common.names))
    likelihood, rng = LawMarginal(data, layout, 3), np.random.default_rng(3)
    point = np.r_[2.0, 1.0, -1.2, 0.2 * rng.normal(size=layout.size - 3)]
    likelihood.adapt(point)
    slope, numeric = likelihood.value(point)[1], []
    for move in 1e-5 * np.eye(len(point)):
        ends = likelihood.value(point + move)[0], likelihood.value(point - move)[0]
        numeric.append((ends[0] - ends[1]) / 2e-5)
    assert slope == pytest.approx(np.array(numeric), rel=1e-4, abs=1e-4 * np.abs(slope).max())


def cube(sd, nodes=44):
    """Effects of a learner on a grid of 4.5 SDs to both sides, and their weights."""
    places, weights = np.polynomial.legendre.leggauss(nodes)
    axes = [4.5 * size * places for size in sd]
    effects = np.stack([part.ravel() for part in np.meshgrid(*axes, indexing="ij")], axis=1)
    mass = np.prod(np.meshgrid(*[4.5 * size * weights for size in sd], indexing="ij"), axis=0)
    return effects, mass.ravel() * np.prod(norm.pdf(effects, scale=sd), axis=1)


def by_force(data, point, log_density):
    """Log-likelihood by adding up each learner's density over a fixed grid."""
    cells, sd = point[:3], np.abs(point[[4, 5, 3]])
    effects, mass = cube(sd)
    total = 0.0
    for k in range(len(data.y)):
        inside = data.used[k] > 0
        n, y = data.n[k, inside], data.y[k, inside]
        own = cells + effects
        curve = own[:, [0]] + own[:, [1]] * np.exp(-np.exp(own[:, [2]]) * (n - 1))
        total += np.log(mass @ np.exp(log_density(n, y, curve)))
    return total


def test_t_errors_have_the_likelihood_that_adding_up_gives():
    data = four("t", Asked(variance="practice", errors="t"))
    layout = Layout(1, (False,) * 3, (0, 1, 2), True, 2, diagonal=True)
    power, tail, log_sigma = -0.3, -0.9, np.log(0.4)
    point = np.array([2.0, 1.1, -1.2, 0.3, 0.25, 0.35, log_sigma, power, tail])

    def log_density(n, y, curve):
        return np.sum(student.logpdf(y, tail_of(tail), curve, 0.4 * n**power), axis=1)

    likelihood = LawMarginal(data, layout, 13)
    likelihood.adapt(point)
    assert likelihood.value(point)[0] == pytest.approx(by_force(data, point, log_density), abs=1e-4)


def test_lognormal_errors_with_correlated_neighbours_have_the_likelihood_that_adding_up_gives():
    data = four("lognormal", Asked(None, "warm-up", "practice", "ar1", errors="lognormal"))
    layout = Layout(1, (False,) * 3, (0, 1, 2), True, 2, diagonal=True)
    power, link, sigma = 0.2, 0.4, 0.15
    point = np.array([2.0, 1.1, -1.2, 0.3, 0.2, 0.2, np.log(sigma), power, np.arctanh(link)])

    def log_density(n, y, curve):
        same = (n[:, None] > 6) == (n[None, :] > 6)
        alike = np.where(same, link ** np.abs(n[:, None] - n[None, :]), 0.0)
        cover = sigma**2 * np.outer(n**power, n**power) * alike
        logs = multivariate_normal(np.zeros(len(n)), cover).logpdf(np.log(y / curve))
        return logs - np.sum(np.log(y))

    likelihood = LawMarginal(data, layout, 13)
    likelihood.adapt(point)
    assert likelihood.value(point)[0] == pytest.approx(by_force(data, point, log_density), abs=1e-4)


def test_t_errors_with_many_degrees_of_freedom_are_normal_ones():
    data = replace(four("t", Asked()), tail=1e8)
    layout = Layout(1, (False,) * 3, (0, 1, 2), True)
    point = np.r_[2.0, 1.0, -1.2, 0.3, 0.1, 0.2, -0.1, 0.2, 0.1, np.log(0.4)]
    likelihood = LawMarginal(data, layout, 13)
    normal = Marginal(replace(data, law="normal"), layout, 61)
    for one in (likelihood, normal):
        one.adapt(point)
    assert likelihood.value(point)[0] == pytest.approx(normal.value(point)[0], abs=1e-4)
    assert likelihood.value(point)[1] == pytest.approx(normal.value(point)[1], abs=2e-3)


@pytest.mark.parametrize(("kind", "vary"), [("asymptote", 1), ("both", 2)])
def test_lognormal_errors_reach_at_least_the_likelihood_of_a_general_program(kind, vary):
    wanted = json.loads((REFERENCE / "values.json").read_text("utf-8"))[kind]
    fit = ml.fit_population_curve(
        pd.read_csv(REFERENCE / "data.csv"),
        "y",
        practice="block",
        vary=("asymptote", "gain")[:vary],
        errors="lognormal",
        covariance="diagonal",
        interval="wald",
    )
    assert -1e-4 < fit.loglik - wanted["loglik_of_scores"] < 0.02
    assert fit.residual_sd == pytest.approx(wanted["residual_sd"], rel=1e-3)
    rows = fit.estimates.set_index("term")
    for term, error in zip(("asymptote", "gain", "log_rate"), wanted["se"]):
        assert rows.at[term, "estimate"] == pytest.approx(wanted[term], rel=2e-2)
        assert rows.at[term, "std_error"] == pytest.approx(error, rel=2e-2)
    assert fit.variances["sd"].dropna().to_numpy() == pytest.approx(wanted["sd"], rel=1e-2)


def people(law, count=12, seed=1, blocks=BLOCKS):
    """Rows of some learners."""
    rng, parts = np.random.default_rng([seed, count]), []
    for who in range(count):
        height, gain = 20 + 2 * rng.normal(), 12 + 1.5 * rng.normal()
        curve = height + gain * np.exp(-0.2 * np.exp(0.3 * rng.normal()) * (blocks - 1))
        noise = rng.standard_t(3, blocks.size) if law == "t" else rng.normal(size=blocks.size)
        scores = curve * np.exp(0.1 * noise) if law == "lognormal" else curve + 1.5 * noise
        parts.append(pd.DataFrame({"participant": who, "block": blocks, "y": scores}))
    return pd.concat(parts, ignore_index=True)


def fitted(table, errors, **options):
    chosen = {"vary": ("asymptote", "rate"), "interval": "wald"} | options
    return ml.fit_population_curve(table, "y", practice="block", errors=errors, **chosen)


def test_t_errors_shrug_off_stray_scores():
    table = people("normal")
    clean = fitted(table, "normal")
    stray = table.assign(y=table["y"].where(np.arange(len(table)) % 29 != 13, table["y"] + 30))
    plain, heavy = fitted(stray, "normal"), fitted(stray, "t")
    assert heavy.status == "ok" and heavy.converged
    assert heavy.loglik > plain.loglik + 50
    assert heavy.common.set_index("term").at["tail", "estimate"] < 4
    truth, near, far = (one.estimates["estimate"].to_numpy() for one in (clean, heavy, plain))
    assert (np.abs(near - truth) < 0.5 * np.abs(far - truth)).all()
    assert "Student t maximum likelihood" in heavy.recipe.engine


def test_t_errors_of_normal_scores_give_the_normal_answer():
    table = people("normal", 10)
    plain, heavy = fitted(table, "normal"), fitted(table, "t")
    tail = heavy.common.iloc[0]
    assert -0.2 < heavy.loglik - plain.loglik < 4
    assert 3 < tail["conf_low"] < tail["estimate"] <= tail["conf_high"] <= 200.001
    assert heavy.cells() == pytest.approx(plain.cells(), rel=3e-2)


@pytest.mark.parametrize("law", ["lognormal", "t"])
def test_new_scores_lie_in_their_band(law):
    fit = fitted(people(law), law)
    new = people(law, 300, seed=2)
    band = fit.predict(BLOCKS).set_index("practice")
    low, high = (
        band[name].reindex(new["block"]).to_numpy() for name in ("score_low", "score_high")
    )
    assert np.mean((low < new["y"]) & (new["y"] < high)) == pytest.approx(0.95, abs=0.03)


def test_lognormal_errors_follow_the_unit_of_the_scores():
    table = people("lognormal")
    one = fitted(table, "lognormal")
    other = fitted(table.assign(y=1000 * table["y"]), "lognormal")
    assert other.cells()[0, :2] == pytest.approx(1000 * one.cells()[0, :2], rel=1e-5)
    assert other.residual_sd == pytest.approx(one.residual_sd, rel=1e-5)
    assert other.loglik == pytest.approx(one.loglik - len(table) * np.log(1000), abs=1e-4)
    half = curve_quantities(one).estimates.iloc[0]
    assert half["conf_low"] < np.log(2) / 0.2 < half["conf_high"]


@pytest.mark.parametrize("law", ["lognormal", "t"])
def test_learners_who_do_not_change_are_no_curve(law):
    rng = np.random.default_rng(8)
    who = np.repeat(np.arange(6), 10)
    block = np.tile(np.arange(1.0, 11.0), 6)
    noise = rng.normal(size=60) if law == "lognormal" else rng.standard_t(4, 60)
    level = 20 + 2 * rng.normal(size=6)[who]
    y = level * np.exp(0.1 * noise) if law == "lognormal" else level + noise
    table = pd.DataFrame({"participant": who, "block": block, "y": y})
    fit = fitted(table, law, vary=("asymptote",))
    assert fit.status in ("no change", "shape not settled", "rate at a bound")
    rows = fit.estimates.set_index("term")
    assert rows.loc[["gain", "log_rate"], "estimate"].isna().all()


REFUSED = [
    ({"errors": "lognormal"}, -30.0, "lognormal errors need scores above 0"),
    ({"errors": "lognormal", "variance": "mean"}, 0.0, "spread with the mean already"),
    ({"errors": "t", "correlation": "ar1"}, 0.0, "without correlation"),
    ({"errors": "cauchy"}, 0.0, "law of the errors"),
    ({"errors": ["t"]}, 0.0, "law of the errors"),
]


@pytest.mark.parametrize(("options", "shift", "words"), REFUSED)
def test_what_cannot_be_told_apart_is_refused_in_words(options, shift, words):
    table = people("normal", 4)
    with pytest.raises(InputError, match=words):
        ml.fit_population_curve(
            table.assign(y=table["y"] + shift), "y", practice="block", **options
        )


@pytest.mark.parametrize("errors", ["lognormal", "t"])
def test_hits_have_the_noise_of_their_likelihood(errors):
    table = people("normal", 4)
    hits = table.assign(y=(table["y"] > 22).astype(int))
    with pytest.raises(InputError, match="hits have the noise of their likelihood"):
        ml.fit_population_curve(hits, "y", practice="block", errors=errors)
