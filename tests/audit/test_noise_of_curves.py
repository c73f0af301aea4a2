"""The audit of a curve judges the noise that was fitted, not the plain noise it would have had."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm
from scipy.stats import t as student

import motorlearn as ml

N = np.arange(1.0, 61.0)
CURVE = 20 + 14 * np.exp(-0.12 * (N - 1))


def alike(rng, link=0.75):
    noise = rng.normal(size=N.size)
    for k in range(1, N.size):
        noise[k] = link * noise[k - 1] + np.sqrt(1 - link**2) * noise[k]
    return noise


def scores(kind, seed):
    rng = np.random.default_rng(seed)
    if kind == "ar1":
        return CURVE + alike(rng)
    if kind == "t":
        return CURVE + rng.standard_t(2.6, N.size)
    return (4 + 40 * np.exp(-0.06 * (N - 1))) * np.exp(0.15 * rng.normal(size=N.size))


def people(kind, count=8, **options):
    rows = [
        pd.DataFrame({"participant": k, "block": N, "y": (k % 3) + scores(kind, k)})
        for k in range(count)
    ]
    chosen = {"vary": ("asymptote",), "interval": "wald"} | options
    return ml.fit_population_curve(pd.concat(rows), "y", practice="block", **chosen)


def found(result, words):
    table = ml.check_assumptions(result, remedies=False).table
    return table[table["assumption"].str.contains(words, regex=False)].iloc[0]


CASES = [
    ("ar1", {"correlation": "ar1"}, "are independent"),
    ("lognormal", {"errors": "lognormal"}, "scatter alike early"),
    ("lognormal", {"variance": "mean"}, "scatter alike early"),
]


@pytest.mark.parametrize(("kind", "options", "words"), CASES)
def test_what_one_curve_models_is_no_longer_held_against_it(kind, options, words):
    y = scores(kind, 2)
    plain, modelled = ml.fit_curve(N, y), ml.fit_curve(N, y, **options)
    assert found(plain, words)["grade"] != "fine"
    assert found(modelled, words)["grade"] == "fine"


@pytest.mark.parametrize(("kind", "options", "words"), CASES)
def test_what_a_population_models_is_no_longer_held_against_it(kind, options, words):
    plain, modelled = people(kind), people(kind, **options)
    before, after = found(plain, words), found(modelled, words)
    assert before["grade"] != "fine"
    assert after["grade"] == "fine"


def test_stray_scores_are_held_against_normal_errors_and_not_against_those_of_t():
    heavy = people("t", errors="t")
    assert found(heavy, "roughly normal")["grade"] == "fine"
    tail = heavy.common.set_index("term").at["tail", "estimate"]
    row = heavy.residuals.iloc[7]
    area = student.sf(row["residual"] / heavy.residual_sd, tail)
    assert heavy.standard[7] == pytest.approx(norm.isf(area), abs=1e-9)


def test_residuals_are_whitened_by_hand():
    fit = ml.fit_curve(N, scores("ar1", 2), correlation="ar1")
    link, left = fit.noise["correlation"], fit.residuals
    fresh = np.r_[left[0], (left[1:] - link * left[:-1]) / np.sqrt(1 - link**2)]
    assert fit.standard == pytest.approx(fresh / np.sqrt(np.mean(fresh**2)), rel=1e-6)
    whole = people("ar1", correlation="ar1")
    link = whole.common.set_index("term").at["correlation", "estimate"]
    left = whole.residuals["residual"].to_numpy()[60:120]
    fresh = np.r_[left[0], (left[1:] - link * left[:-1]) / np.sqrt(1 - link**2)]
    assert whole.standard[60:120] == pytest.approx(fresh / whole.residual_sd, rel=1e-9)


def test_the_rival_form_has_the_same_noise_and_sessions():
    day = np.where(N > 30, 2, 1)
    y = CURVE + 4 * (day == 2) * np.exp(-0.12 * (N - 31)) + alike(np.random.default_rng(3), 0.5)
    fit = ml.fit_curve(N, y, session=day, restart="savings", correlation="ar1")
    other = ml.fit_curve(N, y, form="power", session=day, restart="savings", correlation="ar1")
    assert found(fit, "rival")["value"] == pytest.approx(other.aicc - fit.aicc, abs=1e-6)
