"""Tests of hits with few people: Kenward-Roger on pseudo-data, by default."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

import motorlearn as ml
from motorlearn.exceptions import InputError
from motorlearn.mixed import leave_one_out, refit


def draw(seed, people=6, spread=1.0, step=0.5, attempts=20):
    rng = np.random.default_rng(seed)
    person, late = np.repeat(np.arange(2 * people), 2), np.tile([0, 1], 2 * people)
    eta = -0.2 + 0.4 * late + rng.normal(0, spread, 2 * people)[person]
    eta += rng.normal(0, step, 2 * people)[person] * late
    return pd.DataFrame(
        {
            "participant": person,
            "group": np.where(person % 2, "random", "blocked"),
            "phase": np.where(late, "retention", "pretest"),
            "hits": rng.binomial(attempts, 1 / (1 + np.exp(-eta))),
            "attempts": attempts,
        }
    )


def fit(table, random="1 + phase", **options):
    given = random if isinstance(random, dict) else {"participant": random}
    return ml.fit_mixed(
        "hits ~ group * phase",
        table,
        random=given,
        family="binomial",
        **({"attempts": "attempts"} | options),
    )


def test_the_default_allows_for_few_people():
    table = draw(1)
    few, normal = fit(table), fit(table, df="normal")
    assert_allclose(few.params, normal.params)
    assert few.bse["group[T.random]"] > 1.02 * normal.bse["group[T.random]"]
    df = few.estimates.set_index("term")["df"]
    assert 8 < df["group[T.random]"] < 30
    assert few.pvalues["group[T.random]"] > normal.pvalues["group[T.random]"]
    assert "Kenward-Roger" in few.recipe.engine and "normal" in normal.recipe.engine


def test_many_people_need_no_correction():
    table = draw(2, people=150)
    few, normal = fit(table), fit(table, df="normal")
    assert_allclose(few.bse, normal.bse, rtol=0.04)
    assert_allclose(few.pvalues, normal.pvalues, atol=0.02)


@pytest.mark.parametrize("random", ["1", "0 + phase", {"participant/phase": "1"}])
def test_every_random_part_has_it(random):
    found = fit(draw(3), random)
    assert found.inference.method == "kenward-roger"
    assert not any("normal distribution" in warning for warning in found.warnings)


def test_levels_of_each_test_are_the_same_model_as_a_slope():
    table = draw(4)
    one, other = fit(table, "1 + phase"), fit(table, "0 + phase")
    assert_allclose(one.bse, other.bse, rtol=1e-4)
    assert_allclose(one.estimates["df"], other.estimates["df"], rtol=1e-3)


@pytest.mark.parametrize("link", ["probit", "cloglog"])
def test_other_links_have_it_too(link):
    table = draw(5)
    few, normal = fit(table, "1", link=link), fit(table, "1", link=link, df="normal")
    assert 1 < few.bse.iloc[1] / normal.bse.iloc[1] < 1.3


def test_means_contrasts_and_joint_tests_use_it():
    table = draw(6)
    few, normal = fit(table), fit(table, df="normal")
    for scale in ("link", "typical", "average"):
        mine, plain = (
            ml.contrasts(one, "group", within="phase", scale=scale, adjust="none")
            for one in (few, normal)
        )
        assert (mine["std_error"] > plain["std_error"]).all() and (mine["df"] < 60).all()
        assert (mine["p"] > plain["p"]).all()
        inside, limits = (
            ml.marginal_means(one, "group", within="phase", scale=scale) for one in (few, normal)
        )
        width = inside["conf_high"] - inside["conf_low"]
        assert (width > limits["conf_high"] - limits["conf_low"]).all()
    line = few.anova().frame.set_index("term").loc["group"]
    assert np.isfinite(line["df2"]) and line["p"] > few.anova(df="normal").frame["p"].iloc[0]


def test_refits_keep_it():
    table = draw(7)
    few = fit(table)
    assert_allclose(refit(few, few.observed).bse, few.bse, rtol=1e-6)
    lines = leave_one_out(few)
    assert (lines[lines["term"] == "group[T.random]"]["df"] < 60).all()


def test_satterthwaite_is_for_linear_models():
    found = fit(draw(8), df="satterthwaite")
    assert found.inference.method == "kenward-roger"
    with pytest.raises(InputError, match="linear model"):
        found.anova(df="satterthwaite")


def test_where_it_cannot_be_had_the_fit_says_what_its_test_is_worth():
    # One attempt of each person at each test.
    table = draw(9, people=12, attempts=1)
    found = fit(table, "1")
    assert found.inference.method == "normal" and np.isinf(found.estimates["df"]).all()
    assert any("10 to 13 %" in warning for warning in found.warnings)
    asked = fit(table, "1", df="normal")
    assert not any("10 to 13 %" in warning for warning in asked.warnings)


@pytest.mark.slow
@pytest.mark.parametrize(("random", "step"), [("1", 0.0), ("1 + phase", 0.5)])
@pytest.mark.parametrize("spread", [0.4, 1.0])
def test_the_default_keeps_its_rate_with_six_people_a_group(random, step, spread):
    found = []
    for seed in range(300):
        p = fit(draw(seed, spread=spread, step=step), random).pvalues
        found.append([p.iloc[1] < 0.05, p.iloc[3] < 0.05])
    # .05 with a standard error of .013.
    assert ((np.mean(found, axis=0) > 0.015) & (np.mean(found, axis=0) < 0.085)).all()


def test_joint_tests_that_hang_on_no_variance_have_endless_df():
    """Poisson counts within people: two rows whose covariance the variance hardly moves."""
    rng = np.random.default_rng(3)
    person = np.repeat(np.arange(24), 12)
    table = pd.DataFrame(
        {
            "participant": person,
            "group": np.where(person < 12, "blocked", "random"),
            "phase": np.tile(np.repeat(["pretest", "posttest", "retention"], 4), 24),
            "catches": rng.poisson(np.exp(rng.normal(0, 0.5, 24)[person])),
        }
    )
    formula = "catches ~ group * phase"
    fit = ml.fit_mixed(formula, table, random={"participant": "1"}, family="poisson")
    frame = fit.anova().frame.set_index("term")
    assert frame["df2"]["phase"] > 1e4 and np.isfinite(frame["p"]).all()
    options = {"random": {"participant": "1"}, "family": "poisson", "df": "normal"}
    wald = ml.fit_mixed(formula, table, **options).anova().frame.set_index("term")
    assert_allclose(frame["p"]["phase"], wald["p"]["phase"], rtol=0.03)
