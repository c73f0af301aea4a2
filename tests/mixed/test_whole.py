"""What is asked of a model of spread, or of one part of it; words for columns; ends of splines."""

import warnings

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

import motorlearn as ml
from motorlearn import mixed
from motorlearn.audit import check_assumptions
from motorlearn.exceptions import FormulaError, InputError
from motorlearn.mixed.formula.formulas import pieces_of_term, split_term
from motorlearn.mixed.variability import statistics_of_spread, under_equal_spread

ONE = {"participant": "1"}


@pytest.fixture(scope="module")
def table():
    rng = np.random.default_rng(8)
    person, block = (place.ravel() for place in np.indices((16, 8)))
    wide = np.where(person % 2, 2.0, 1.0) * np.exp(rng.normal(0, 0.2, 16))[person]
    return pd.DataFrame(
        {
            "participant": [f"p{n:02d}" for n in person],
            "group": np.where(person % 2, "random", "blocked"),
            "block": block + 1.0,
            "error": 20 + rng.normal(0, 2, 16)[person] - 0.3 * block + wide * rng.normal(size=128),
            "hit": rng.integers(0, 2, 128),
            "still": 1.0,
        }
    )


@pytest.fixture(scope="module")
def spread(table):
    return ml.fit_variability("error ~ group * block", table, spread="group + block")


OF_ONE_MODEL = {
    "marginal_means": lambda fit, table: mixed.marginal_means(fit, "group"),
    "contrasts": lambda fit, table: mixed.contrasts(fit, "group"),
    "predict_ratings": lambda fit, table: mixed.predict_ratings(fit, table),
    "partial_odds": lambda fit, table: mixed.partial_odds(fit, "group"),
}
OF_OUTCOMES = {
    "bootstrap_intervals": lambda fit, table: mixed.bootstrap_intervals(fit, seed=1),
    "profile_intervals": lambda fit, table: mixed.profile_intervals(fit),
    "profile_effects": lambda fit, table: mixed.profile_effects(fit),
    "random_structures": lambda fit, table: mixed.random_structures(fit),
    "leave_one_out": lambda fit, table: mixed.leave_one_out(fit),
    "refit": lambda fit, table: mixed.refit(fit, table["error"].to_numpy()),
    "refit_many": lambda fit, table: mixed.refit_many(fit, table["error"].to_numpy()[None]),
    "likelihood_ratio": lambda fit, table: mixed.likelihood_ratio(fit, fit),
}
OF_A_PART = {
    "prediction_intervals": lambda fit, table: mixed.prediction_intervals(fit, table, seed=1),
    "bootstrap_tests": lambda fit, table: mixed.bootstrap_tests(fit, "group", seed=1),
    "check_assumptions": lambda fit, table: check_assumptions(fit),
    "predict": lambda fit, table: fit.predict(table),
    "fitted": lambda fit, table: fit.fitted(),
    "residuals": lambda fit, table: fit.residuals("pearson"),
    "simulate": lambda fit, table: fit.simulate(2, seed=1),
    "explained": lambda fit, table: fit.explained,
    "anova": lambda fit, table: fit.anova(df="kenward-roger"),
}


@pytest.mark.parametrize("name", [*OF_ONE_MODEL, *OF_OUTCOMES])
def test_what_one_model_is_asked_a_model_of_spread_refuses_in_words(spread, table, name):
    with pytest.raises(InputError, match="ask its own"):
        (OF_ONE_MODEL | OF_OUTCOMES)[name](spread, table)
    with pytest.raises(InputError, match="fit_mixed made"):
        (OF_ONE_MODEL | OF_OUTCOMES)[name](None, table)


@pytest.mark.parametrize("name", [*OF_OUTCOMES, *OF_A_PART])
def test_what_asks_for_outcomes_a_part_refuses_in_words(spread, table, name):
    for part in (spread.of_level, spread.of_spread):
        with pytest.raises(InputError, match="no model of outcomes"):
            (OF_OUTCOMES | OF_A_PART)[name](part, table)


def test_ratios_of_spread_at_values_and_by_slope(spread):
    by_block = spread.params["block"]
    slope = spread.spreads("group", slope="block").frame
    assert_allclose(slope["estimate"], np.exp(by_block))
    assert "one unit of block" in slope["quantity"].iloc[0]
    at = spread.spreads("group", at={"block": [2, 5]}).frame.set_index(["block", "group"])
    ratio = at["estimate"].loc[5] / at["estimate"].loc[2]
    assert_allclose(ratio, np.exp(3 * by_block))
    found = spread.ratios("group", at={"block": [2, 5]}).frame
    assert_allclose(found["estimate"], np.exp(spread.params["group[T.random]"]))
    assert_allclose(spread.ratios("group", slope="block").frame["estimate"], 1)
    level = spread.differences("group", slope="block").frame["estimate"]
    assert_allclose(level, spread.level.set_index("term")["estimate"].iloc[-1])
    assert spread.summary() == str(spread)
    interval = spread.conf_int(0.95).loc["block"]
    assert_allclose(interval, spread.estimates.iloc[-1][["conf_low", "conf_high"]].astype(float))


def test_the_bootstrap_of_spread_draws_from_the_model_without_the_effect(table, spread):
    lines = np.eye(3)[[1]]
    without = ml.fit_variability("error ~ group * block", table, spread="block")
    null = under_equal_spread(spread, lines)
    assert null.params["group[T.random]"] == pytest.approx(0, abs=1e-12)
    assert_allclose(null.params[["Intercept", "block"]], without.params, atol=2e-3)
    (one,) = null.simulate(1, seed=1)
    again = ml.fit_variability(
        "error ~ group * block", table.assign(error=one), spread="group + block"
    )
    (statistic,) = statistics_of_spread(spread, one[None], lines)
    people = again.people / (again.people - 2)  # tests of the fit carry this factor
    expected = (again.params.iloc[1] / again.bse.iloc[1]) ** 2 * people
    assert statistic == pytest.approx(expected, rel=1e-3)
    with pytest.raises(InputError, match="without a level"):
        under_equal_spread(spread, np.eye(3)[[0]])


@pytest.mark.slow
def test_the_bootstrap_of_spread_finds_twice_the_spread(spread):
    found = mixed.bootstrap_tests(spread, "group", simulations=40, seed=2).frame.iloc[0]
    assert found["p_bootstrap"] == pytest.approx(1 / 41) and found["failed"] == 0


def test_slopes_where_a_spline_ends_are_those_of_its_cubic(table):
    # Without inner knots a cubic spline is a polynomial of degree three.
    spline, cubic = (
        ml.fit_mixed(f"error ~ group + {term}", table, random=ONE)
        for term in ("bs(block, df=3)", "poly(block, 3)")
    )
    at = {"block": [1, 4.5, 8]}
    found, expected = (
        mixed.marginal_means(fit, "group", slope="block", at=at).frame for fit in (spline, cubic)
    )
    assert_allclose(found["estimate"], expected["estimate"], atol=2e-5)
    assert_allclose(found["std_error"], expected["std_error"], rtol=1e-4)
    with pytest.raises(InputError, match="end where the data end"):
        mixed.marginal_means(spline, "group", slope="block", at={"block": 9})


def test_columns_beside_a_spline_have_words(table):
    formula = "error ~ group * bs(block, df=3) + group:still"
    with pytest.raises(ml.exceptions.FitError, match=r"group: random × still"):
        ml.fit_mixed(formula, table, random=ONE)
    assert pieces_of_term("time [s]:bs(block, df=3)[1]") == ["time [s]", "bs(block, df=3)[1]"]
    assert split_term("phase[7:00]:group") == {"phase[7:00]", "group"}
    fit = ml.fit_mixed("error ~ group", table, random={"participant": "1 + group"})
    names = mixed.random_structures(fit).frame["structure"]
    assert list(names) == [
        "intercept, group: random correlated",
        "intercept, group: random independent",
        "intercept alone",
    ]


def test_terms_that_cannot_be_computed_are_refused_without_a_warning(table):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(FormulaError, match="same value in every row"):
            ml.fit_mixed("error ~ group + poly(still, 2)", table, random=ONE)
        with pytest.raises(FormulaError, match="logarithms need values above zero"):
            ml.fit_mixed("error ~ group + log(still - 1)", table, random=ONE)
        fit = ml.fit_mixed("error ~ log(block)", table, random=ONE)
        with pytest.raises(FormulaError, match="logarithms need values above zero"):
            fit.predict(table.assign(block=0.0))


@pytest.mark.parametrize("high", [1, 0])
def test_the_audit_of_separated_hits_has_a_row_and_not_an_error(table, high):
    late = table["block"] > 4
    split = table.assign(late=np.where(late, "late", "early"))
    split.loc[late, "hit"] = np.where(split.loc[late, "group"] == "random", 1, 1 - high)
    fit = ml.fit_mixed("hit ~ group * late", split, random=ONE, family="binomial")
    audit = check_assumptions(fit, simulations=50, seed=1)
    (row,) = audit.table[audit.table["assumption"] == "no single participant decides"].to_dict(
        "records"
    )
    assert row["grade"] == "look" and "no standard error" in row["finding"]


def test_profiles_are_made_without_a_warning(table):
    rng = np.random.default_rng(1)
    rated = table.assign(rating=rng.integers(1, 4, len(table)))
    fit = ml.fit_mixed("rating ~ 1", rated, random=ONE, family="ordinal", link="probit")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = mixed.profile_intervals(fit)
    assert (found["sd_low"] <= found["sd"]).all() and np.isfinite(found["sd_high"]).all()
