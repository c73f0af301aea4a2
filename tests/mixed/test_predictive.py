"""Prediction intervals of new people's outcomes: closed form, bounds of families, refusals."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from scipy.special import expit

import motorlearn as ml
from motorlearn.exceptions import InputError
from motorlearn.mixed import prediction_intervals


def draw(family, people=30, each=6, seed=1):
    rng = np.random.default_rng(seed)
    person = np.repeat(np.arange(people), each)
    eta = rng.normal(0, 1, people)[person]
    made = {
        "gaussian": 20 + 4 * eta + rng.normal(0, 3, len(eta)),
        "lognormal": np.exp(0.4 * eta + rng.normal(0, 0.3, len(eta))),
        "binomial": rng.binomial(20, expit(eta)),
        "ordinal": np.digitize(eta + rng.logistic(size=len(eta)), (-1, 0, 1.5)),
        "negative-binomial": rng.negative_binomial(4, 4 / (4 + np.exp(1.5 + 0.5 * eta))),
    }
    return pd.DataFrame({"participant": person, "y": made[family], "attempts": 20})


def fit(family, **options):
    more = {"attempts": "attempts"} if family == "binomial" else {}
    random = {"participant": "1"}
    return ml.fit_mixed("y ~ 1", draw(family), random=random, family=family, **more, **options)


def test_the_linear_interval_is_that_of_its_variances():
    one = fit("gaussian")
    found = prediction_intervals(one, draw("gaussian").head(1), seed=1, simulations=200_000)
    spread = np.sqrt(one.covariances["participant"][0, 0] + one.vcov[0, 0])
    grid = np.linspace(-80, 80, 20001)
    person = stats.t.pdf(grid / spread, 29) / spread
    beyond = stats.norm.sf(found["conf_high"].iloc[0], one.beta[0] + grid, one.residual_sd)
    tail = float(np.sum(person * beyond))
    assert_allclose(tail * (grid[1] - grid[0]), 0.025, atol=0.0012)
    assert_allclose(found.iloc[0][["conf_low", "conf_high"]].mean(), one.beta[0], atol=0.1)


@pytest.mark.parametrize("family", ["lognormal", "binomial", "ordinal", "negative-binomial"])
def test_new_people_lie_inside(family):
    one, others = fit(family), draw(family, people=2000, each=1, seed=2)
    row = prediction_intervals(one, others.head(1), seed=1).iloc[0]
    inside = others["y"].between(row["conf_low"], row["conf_high"]).mean()
    assert inside > 0.88 and row["conf_low"] < row["predicted"] < row["conf_high"]
    lowest = {"lognormal": 0, "binomial": 0, "ordinal": 0, "negative-binomial": 0}[family]
    highest = {"binomial": 20, "ordinal": 3}.get(family, np.inf)
    assert row["conf_low"] >= lowest and row["conf_high"] <= highest


def test_one_new_trial_has_the_spread_of_its_place_however_trials_hang_together():
    table = draw("gaussian").assign(trial=lambda t: t.groupby("participant").cumcount())
    table["test"] = np.where(table["trial"] < 3, "early", "late")
    rng = np.random.default_rng(4)
    table["y"] += np.where(table["test"] == "early", rng.normal(0, 9, len(table)), 0)
    one = ml.fit_mixed(
        "y ~ 1",
        table,
        random={"participant": "1"},
        variance="test",
        correlation="ar1",
        within="trial",
    )
    found = prediction_intervals(one, table.iloc[[0, 5]], seed=1, simulations=100_000)
    residual = np.diag(one.residual_covariance)
    whole = np.sqrt(one.covariances["participant"][0, 0] + one.vcov[0, 0] + residual)
    width = (found["conf_high"] - found["conf_low"]).to_numpy() / 2
    # Normal but for the t of 29 df of people, which adds a few hundredths.
    assert_allclose(width / whole, stats.norm.ppf(0.975), rtol=0.04)
    assert width[0] > 1.5 * width[1]


def test_a_model_of_spread_predicts_each_condition_by_its_own_spread():
    rng = np.random.default_rng(2)
    person = np.repeat(np.arange(40), 30)
    wide = np.where(person < 20, 2.0, 5.0) * np.exp(rng.normal(0, 0.2, 40))[person]
    table = pd.DataFrame({"participant": person, "group": np.where(person < 20, "a", "b")})
    table["y"] = 25 + rng.normal(0, 3, 40)[person] + wide * rng.normal(size=1200)
    one = ml.fit_variability("y ~ group", table, spread="group")
    found = prediction_intervals(one, table.iloc[[0, -1]], seed=1, simulations=20_000)
    inside = [
        rows["y"].between(low, high).mean()
        for (_, rows), low, high in zip(
            table.groupby("group"), found["conf_low"], found["conf_high"], strict=True
        )
    ]
    assert_allclose(inside, 0.95, atol=0.03)
    with pytest.raises(InputError, match="ask its own"):
        prediction_intervals(one.of_spread, table.head(1), seed=1)
