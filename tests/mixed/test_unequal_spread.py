"""Residuals that differ in spread between tests, or correlate freely: nlme and pbkrtest."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import stats

import motorlearn as ml
from motorlearn.exceptions import FitError, InputError
from motorlearn.mixed import MixedFit, leave_one_out, likelihood_ratio, refit

REFERENCE = Path(__file__).parents[1] / "reference" / "mixed_unequal_spread"
PHASES = ["pretest", "posttest", "retention"]
FREE = {"variance": "phase", "correlation": "unstructured", "within": "phase"}
NOTHING = {"participant": "0"}
FORMULA = "radial_error ~ group * phase"


def read(name):
    table = pd.read_csv(REFERENCE / name)
    return table.assign(phase=pd.Categorical(table["phase"], PHASES))


@pytest.fixture(scope="module")
def expected():
    return json.loads((REFERENCE / "values.json").read_text())


@pytest.fixture(scope="module")
def tests():
    return read("tests.csv")


@pytest.fixture(scope="module")
def trials():
    return read("trials.csv")


def assert_fixed(fit, values, rtol=1e-4):
    names = [
        name.replace("(Intercept)", "Intercept")
        .replace("grouprandom", "group[T.random]")
        .replace("phaseposttest", "phase[T.posttest]")
        .replace("phaseretention", "phase[T.retention]")
        for name in values["names"]
    ]
    rows = fit.estimates.set_index("term").loc[names]
    assert_allclose(rows["estimate"], values["fixef"], rtol=rtol)
    assert_allclose(rows["std_error"], values["se"], rtol=rtol)
    assert_allclose(-2 * fit.loglik, values["minus2loglik"], rtol=1e-6)
    return rows


def spreads(fit):
    rows = fit.variances[(fit.variances["group"] == "residual") & (fit.variances["other"] == "")]
    return dict(zip(rows["term"], rows["sd"], strict=True))


@pytest.mark.parametrize("method", ["REML", "ML"])
def test_unstructured_covariance_equals_gls(expected, tests, method):
    reml = method == "REML"
    fit = ml.fit_mixed(FORMULA, tests, random=NOTHING, reml=reml, **FREE)
    values = expected[f"unstructured_{method}"]
    # gls takes the divisor of restricted likelihood for its standard errors in either case.
    shrink = 1.0 if reml else np.sqrt((fit.n - 6) / fit.n)
    assert_fixed(fit, values | {"se": np.array(values["se"]) * shrink})
    assert_allclose(list(spreads(fit).values()), [values["sd"][p] for p in PHASES], rtol=1e-3)
    correlations = fit.variances["correlation"].dropna()
    assert_allclose(correlations.to_numpy()[[0, 1, 2]], values["correlation"], rtol=2e-3)
    assert fit.converged and not fit.singular


def test_free_correlations_with_one_variance_equal_gls(expected, tests):
    options = FREE | {"variance": "equal"}
    fit = ml.fit_mixed(FORMULA, tests, random=NOTHING, **options)
    assert_fixed(fit, expected["correlated_equal"])
    assert_allclose(list(spreads(fit).values()), expected["correlated_equal"]["sigma"], rtol=1e-4)


@pytest.mark.parametrize(
    ("case", "random"), [("trials_lme", "participant"), ("trials_nested", "participant/phase")]
)
def test_a_variance_for_each_test_equals_lme(expected, trials, case, random):
    fit = ml.fit_mixed(FORMULA, trials, random={random: "1"}, variance="phase")
    assert_fixed(fit, expected[case])
    assert_allclose(
        [spreads(fit)[p] for p in PHASES], [expected[case]["sd"][p] for p in PHASES], rtol=1e-4
    )


def test_kenward_roger_of_unequal_spreads_equals_pbkrtest(expected, trials, tests):
    two = tests[tests["phase"] != "posttest"].assign(phase=lambda t: t["phase"].astype(str))
    for key, table, random, options in (
        ("trials_kr", trials, {"participant": "1"}, {"variance": "spread"}),
        ("two_tests_kr", two, NOTHING, FREE),
    ):
        fit = ml.fit_mixed(FORMULA, table, random=random, df="kenward-roger", **options)
        rows = assert_fixed(fit, expected[key])
        assert_allclose(rows["df"], expected[key]["df"], rtol=1e-3)
        found = fit.test("group:phase")
        assert_allclose(
            [found.statistic, found.df1, found.df2, found.p],
            expected[key]["interaction"],
            rtol=1e-3,
        )


def test_complete_tests_give_the_two_sample_t(tests):
    whole = tests.groupby("participant").filter(lambda rows: len(rows) == 3)
    fit = ml.fit_mixed(FORMULA, whole, random=NOTHING, df="kenward-roger", **FREE)
    found = ml.contrasts(fit, "group", within="phase", adjust="none")
    for row in found.itertuples():
        here = whole[whole["phase"] == row.phase]
        samples = [here.loc[here["group"] == g, "radial_error"] for g in ("random", "blocked")]
        plain = stats.ttest_ind(*samples)
        assert_allclose(
            [row.statistic, row.df, row.p], [*plain[:1], plain.df, plain.pvalue], rtol=1e-5
        )


def test_complete_tests_give_hotelling(tests):
    whole = tests.groupby("participant").filter(lambda rows: len(rows) == 3)
    fit = ml.fit_mixed(FORMULA, whole, random=NOTHING, df="kenward-roger", **FREE)
    wide = whole.pivot(index=["participant", "group"], columns="phase", values="radial_error")
    steps = np.diff(wide.to_numpy(), axis=1)
    group = wide.index.get_level_values("group") == "random"
    one, two = steps[group], steps[~group]
    n, gap = len(steps), one.mean(axis=0) - two.mean(axis=0)
    pooled = sum((len(part) - 1) * np.cov(part.T) for part in (one, two)) / (n - 2)
    squared = gap @ np.linalg.solve(pooled, gap) / (1 / len(one) + 1 / len(two))
    statistic, df = squared * (n - 3) / (2 * (n - 2)), n - 3
    found = fit.test("group:phase")
    assert_allclose([found.statistic, found.df2], [statistic, df], rtol=1e-5)


def test_one_level_and_one_variance_are_the_plain_model(trials):
    plain = ml.fit_mixed(FORMULA, trials, random={"participant": "1 + phase"})
    same = ml.fit_mixed(
        FORMULA, trials.assign(hall="one"), random={"participant": "1 + phase"}, variance="hall"
    )
    assert_allclose(same.loglik, plain.loglik, atol=1e-6)
    columns = ["estimate", "std_error", "df"]
    assert_allclose(same.estimates[columns], plain.estimates[columns], rtol=1e-3)
    assert_allclose(same.effects["estimate"], plain.effects["estimate"], rtol=1e-3, atol=1e-5)
    assert_allclose(same.effects["std_error"], plain.effects["std_error"], rtol=1e-3)
    both = [
        ml.fit_mixed(FORMULA, t, random={"participant": "1"}, df="kenward-roger", **o)
        for t, o in ((trials, {}), (trials.assign(hall="one"), {"variance": "hall"}))
    ]
    assert_allclose(both[1].estimates[columns], both[0].estimates[columns], rtol=1e-4)


def test_units_weights_and_order_of_rows_do_not_matter(tests, trials):
    fit = ml.fit_mixed(FORMULA, tests, random=NOTHING, df="kenward-roger", **FREE)
    other = tests.sample(frac=1, random_state=2).assign(
        radial_error=tests["radial_error"] * 1e-4 + 7
    )
    again = ml.fit_mixed(FORMULA, other, random=NOTHING, df="kenward-roger", **FREE)
    assert_allclose(again.estimates["statistic"][1:], fit.estimates["statistic"][1:], rtol=1e-4)
    assert_allclose(again.estimates["df"][1:], fit.estimates["df"][1:], rtol=1e-4)
    doubled = trials.assign(weight=2.0)
    options = {"random": {"participant": "1"}, "variance": "phase"}
    one = ml.fit_mixed(FORMULA, trials, **options)
    two = ml.fit_mixed(FORMULA, doubled, weights="weight", **options)
    assert_allclose(two.estimates["std_error"], one.estimates["std_error"], rtol=1e-4)


def test_what_can_be_asked_of_such_a_fit(tests):
    fit = ml.fit_mixed(FORMULA, tests, random=NOTHING, df="kenward-roger", **FREE)
    drawn = fit.simulate(4000, seed=1) - fit.fitted().to_numpy()
    spread = pd.Series(drawn.std(axis=0)).groupby(tests["phase"].to_numpy()).mean()
    assert_allclose([spread[p] for p in PHASES], [spreads(fit)[p] for p in PHASES], rtol=0.05)
    whole = tests.groupby("participant").filter(lambda rows: len(rows) == 3).sort_values("phase")
    pair = np.corrcoef(
        drawn[:, whole.index[whole["participant"] == whole["participant"].iloc[0]]].T
    )
    correlation = fit.variances["correlation"].dropna().to_numpy()[0]
    assert pair[0, 1] == pytest.approx(correlation, abs=0.05)
    assert fit.residuals("pearson").std() == pytest.approx(1.0, abs=0.15)
    again = refit(fit, fit.observed)
    assert_allclose(again.loglik, fit.loglik, atol=1e-8)
    assert len(leave_one_out(fit)) == 23 * 6
    assert MixedFit.from_json(fit.to_json()).test("group").p == fit.test("group").p
    predicted = fit.predict(tests.head(3))
    assert_allclose(predicted, fit.fitted().to_numpy()[:3])
    assert "residual" in str(fit) and "correlated freely" in fit.recipe.engine
    assert 0 < fit.explained["r2_marginal"] < 1
    ratio = ml.mixed.likelihood_ratio(
        *(
            ml.fit_mixed(f, tests, random=NOTHING, reml=False, **FREE)
            for f in ("radial_error ~ phase", FORMULA)
        ),
        simulations=5,
        seed=1,
    )
    assert ratio.df == 3 and len(ratio.simulated) == 5


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (FREE | {"random": {"participant": "1"}}, "'participant': '0'"),
        (FREE | {"within": None}, "within"),
        (FREE | {"variance": "group"}, "variance"),
        (FREE | {"correlation": "ar7"}, "unstructured"),
        ({"random": NOTHING}, "no random term"),
        ({"within": "phase", "random": {"participant": "1"}}, "go together"),
        (FREE | {"family": "binomial"}, "linear model"),
        ({"variance": "speed", "random": {"participant": "1"}}, "speed"),
    ],
)
def test_what_does_not_fit_together_is_refused(tests, options, words):
    with pytest.raises(InputError, match=words):
        ml.fit_mixed(FORMULA, tests, **({"random": NOTHING} | options))


def test_two_rows_at_one_test_are_refused(trials):
    with pytest.raises(InputError, match="several rows"):
        ml.fit_mixed(FORMULA, trials, random=NOTHING, **FREE)


def test_residual_covariances_are_nested_and_counted(tests):
    free = {"random": {"participant": "0"}, "correlation": "unstructured", "within": "phase"}
    complete = tests.groupby("participant").filter(lambda part: len(part) == 3)
    intercept = ml.fit_mixed("radial_error ~ group * phase", complete, random={"participant": "1"})
    equal = ml.fit_mixed("radial_error ~ group * phase", complete, **free)
    every = ml.fit_mixed("radial_error ~ group * phase", complete, variance="phase", **free)
    # Two variances; three correlations and one variance; three of each.
    assert [likelihood_ratio(one, every).df for one in (intercept, equal)] == [4, 2]
    assert likelihood_ratio(intercept, equal).df == 2
    found = likelihood_ratio(intercept, every)
    assert found.statistic == pytest.approx(2 * (every.loglik - intercept.loglik))
    own = ml.fit_mixed(
        "radial_error ~ group * phase", complete, random={"participant": "1"}, variance="phase"
    )
    assert likelihood_ratio(intercept, own).df == 2
    wide = complete.assign(spread=np.where(complete["phase"] == "retention", "wide", "narrow"))
    other = ml.fit_mixed(
        "radial_error ~ group * phase", wide, random={"participant": "1"}, variance="spread"
    )
    with pytest.raises(InputError, match="residuals of the smaller model"):
        likelihood_ratio(other, own)


def test_rows_that_follow_from_one_another_are_refused():
    table = pd.DataFrame(
        {
            "participant": np.repeat(np.arange(12), 3),
            "phase": np.tile(["pretest", "posttest", "retention"], 12),
        }
    )
    table["radial_error"] = 2.0 * table["participant"] + 3.0 * (table["phase"] == "posttest")
    with pytest.raises(FitError, match="follow from one another"):
        ml.fit_mixed(
            "radial_error ~ phase",
            table,
            random={"participant": "0"},
            variance="phase",
            correlation="unstructured",
            within="phase",
        )
