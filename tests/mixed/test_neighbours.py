"""Residuals of neighbours that are alike (AR(1) within runs): nlme, recovery, refusals."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

import motorlearn as ml
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.mixed import likelihood_ratio, refit_many

REFERENCE = Path(__file__).parents[1] / "reference" / "mixed_neighbours"
ONE = {"random": {"Mare": "1"}}
NEAR = {"correlation": "ar1", "within": "k"}
CASES = {
    "slopes": {"random": {"Mare": ["1", "s"]}},
    "ml": ONE | {"reml": False},
    "variance": ONE | {"variance": "half"},
    "gaps": ONE,
    "alone": {"random": {"Mare": "0"}},
}


@pytest.fixture(scope="module")
def expected():
    return json.loads((REFERENCE / "values.json").read_text())


def ovary():
    return pd.read_csv(REFERENCE / "ovary.csv", dtype={"Mare": str})


@pytest.mark.parametrize("case", CASES)
def test_nlme(case, expected):
    table, one = ovary(), expected[case]
    table = table[table["k"] % 5 != 0] if case == "gaps" else table
    fit = ml.fit_mixed("follicles ~ s + c", table, **NEAR, **CASES[case])
    assert_allclose(fit.loglik, one["loglik"], atol=1e-6)
    assert_allclose(fit.params, one["fixef"], rtol=1e-4)
    assert_allclose(fit.bse, one["se"], rtol=1e-4)
    assert_allclose(fit.neighbours, one["rho"], rtol=1e-4)
    spread = np.sqrt(np.diag(fit.residual_covariance))
    assert_allclose(spread[0], one["sigma"], rtol=1e-4)
    if case == "variance":
        assert_allclose(spread[1] / spread[0], one["ratio"], rtol=1e-4)
    assert fit.converged and "autoregressive over k" in fit.recipe.engine


def test_runs_read_backwards_are_the_same():
    table = ovary()
    there = ml.fit_mixed("follicles ~ s + c", table, **NEAR, **ONE)
    back = ml.fit_mixed("follicles ~ s + c", table.assign(k=100 - table["k"]), **NEAR, **ONE)
    assert_allclose(there.loglik, back.loglik, atol=1e-6)
    assert_allclose(there.params, back.params, rtol=1e-5)


def draw(rho, seed=1, people=16):
    """Forty trials in two sessions, neighbours within a session alike."""
    rng = np.random.default_rng(seed)
    frames = []
    for person in range(people):
        level = rng.normal(0, 3)
        for session in (1, 2):
            e = rng.normal(0, 5, 20)
            for i in range(1, 20):
                e[i] = rho * e[i - 1] + np.sqrt(1 - rho**2) * e[i]
            frames.append(
                pd.DataFrame(
                    {
                        "participant": f"P{person}",
                        "group": ("blocked", "random")[person % 2],
                        "session": session,
                        "trial": np.arange(1, 21),
                        "radial_error": 25 + level + e,
                    }
                )
            )
    return pd.concat(frames, ignore_index=True)


@pytest.mark.parametrize("rho", [0.6, -0.4])
def test_the_correlation_within_sessions_is_found_and_drawn_again(rho):
    table = draw(rho)
    fit = ml.fit_mixed(
        "radial_error ~ group + session",
        table.sample(frac=1, random_state=1),
        random={"participant": "1"},
        correlation="ar1",
        within="session/trial",
    )
    assert abs(fit.neighbours - rho) < 0.12
    rows = table.sample(frac=1, random_state=1).reset_index(drop=True)
    away = fit.simulate(200, seed=2) - (fit.design.x @ fit.beta)[fit.design.cell]
    order = rows.iloc[fit.design.row].reset_index(drop=True)
    keyed = pd.DataFrame(away.T).assign(**order[["participant", "session", "trial"]])
    keyed = keyed.sort_values(["participant", "session", "trial"])
    values = keyed[list(range(200))].to_numpy().reshape(16, 2, 20, 200)
    between = fit.covariances["participant"][0, 0]
    found = np.mean(values[:, :, 1:] * values[:, :, :-1]) - between
    assert_allclose(found / fit.residual_sd**2, fit.neighbours, atol=0.05)
    apart = np.mean(values[:, 0, -1] * values[:, 1, 0]) - between
    assert abs(apart / fit.residual_sd**2) < 0.12
    fits, failed = refit_many(fit, fit.simulate(3, seed=3))
    assert failed == 0 and np.isfinite(fits.beta).all()


def test_likelihood_ratio_and_audit_see_the_neighbours():
    table = ovary()
    plain = ml.fit_mixed("follicles ~ s + c", table, **ONE)
    near = ml.fit_mixed("follicles ~ s + c", table, **NEAR, **ONE)
    found = likelihood_ratio(plain, near)
    assert found.df == 1 and found.p < 1e-6
    name = "trials of one participant do not depend on the one before"
    values = []
    for fit in (plain, near):
        rows = ml.check_assumptions(fit, seed=1).table.set_index("assumption")
        values.append(float(rows.loc[name, "value"]))
    assert values[0] > 0.5 and values[1] < 0.2


@pytest.mark.parametrize(
    ("options", "error", "match"),
    [
        ({"within": None}, InputError, "stands"),
        ({"within": "s"}, InputError, "whole numbers"),
        ({"within": "k", "random": {"s": "0"}}, InputError, "several rows .*session/block/k'"),
        ({"within": "k", "df": "kenward-roger"}, InputError, "Satterthwaite"),
        ({"within": "k", "family": "gamma"}, InputError, "linear model"),
        ({"within": "missing"}, ColumnError, "lacks"),
    ],
)
def test_what_is_refused(options, error, match):
    with pytest.raises(error, match=match):
        ml.fit_mixed("follicles ~ s + c", ovary(), correlation="ar1", **(ONE | options))
