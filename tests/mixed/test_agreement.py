"""Agreement with closed forms, lme4, lmerTest, pbkrtest and independent quadrature."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

import motorlearn as ml


def variance(fit, group, term="", other=""):
    rows = fit.variances
    chosen = (rows["group"] == group) & (rows["term"] == term) & (rows["other"] == other)
    return rows.loc[chosen, "variance"].item()


@pytest.mark.parametrize(
    ("reml", "method"),
    [(True, "satterthwaite"), (True, "kenward-roger"), (False, "satterthwaite")],
)
def test_sleepstudy_equals_the_closed_form(published, sleepstudy, reml, method):
    expected = published["sleepstudy_closed_form"]["REML" if reml else "ML"]
    fit = ml.fit_mixed(
        "Reaction ~ Days", sleepstudy, random={"Subject": "1 + Days"}, reml=reml, df=method
    )
    assert_allclose(fit.estimates["estimate"], expected["fixef"], rtol=1e-9)
    assert_allclose(variance(fit, "Subject", "Intercept"), expected["var_int"], rtol=1e-6)
    assert_allclose(variance(fit, "Subject", "Days"), expected["var_slope"], rtol=1e-6)
    assert_allclose(variance(fit, "Subject", "Intercept", "Days"), expected["cov"], rtol=1e-6)
    assert_allclose(fit.residual_sd**2, expected["sigma2"], rtol=1e-6)
    assert_allclose(-2 * fit.loglik, expected["crit"], atol=1e-8)
    correlation = fit.variances["correlation"].dropna().item()
    assert_allclose(correlation, expected["corr"], rtol=1e-6)
    assert_allclose(fit.estimates["std_error"], expected["se"], rtol=1e-6)
    # lmerTest gives 18 for maximum likelihood, where the covariance has the divisor 18.
    assert_allclose(fit.estimates["df"], 17 if reml else 18, rtol=1e-5)
    assert fit.converged and not fit.singular


def test_sleepstudy_matches_the_printed_paper_as_far_as_it_was_optimised(sleepstudy):
    # Bates, Mächler, Bolker & Walker (2015) print 612.10, 35.07, 654.94 and a correlation of 0.07.
    fit = ml.fit_mixed("Reaction ~ Days", sleepstudy, random={"Subject": "1 + Days"})
    assert_allclose(variance(fit, "Subject", "Intercept"), 612.10, rtol=1e-4)
    assert_allclose(variance(fit, "Subject", "Days"), 35.07, rtol=1e-4)
    assert_allclose(fit.residual_sd**2, 654.94, rtol=1e-4)


def test_random_intercept_equals_the_closed_form(published, sleepstudy):
    expected = published["sleepstudy_closed_form"]["RI_REML"]
    fit = ml.fit_mixed("Reaction ~ Days", sleepstudy, random={"Subject": "1"})
    assert_allclose(fit.residual_sd**2, expected["sigma2"], rtol=1e-7)
    assert_allclose(variance(fit, "Subject", "Intercept"), expected["var_int"], rtol=1e-7)
    assert_allclose(
        fit.estimates["std_error"], [expected["se_int"], expected["se_slope"]], rtol=1e-7
    )
    assert_allclose(fit.estimates["df"][1], 161, rtol=1e-6)


def test_independent_terms(published, sleepstudy):
    expected = published["sleepstudy_REML_uncorr"]
    fit = ml.fit_mixed("Reaction ~ Days", sleepstudy, random={"Subject": ["1", "Days"]})
    assert_linear(fit, expected, list(expected["fixef"]))
    assert fit.variances["correlation"].isna().all()
    adjusted = ml.fit_mixed(
        "Reaction ~ Days", sleepstudy, random={"Subject": ["1", "Days"]}, df="kenward-roger"
    )
    assert_kenward_roger(adjusted, expected, list(expected["fixef"]))


DIETOX = {
    "dietox_ri_REML": ("Weight ~ Time", "1", True),
    "dietox_rs_REML": ("Weight ~ Time", "1 + Time", True),
    "dietox_rs_ML": ("Weight ~ Time", "1 + Time", False),
    "dietox_TimeCu_rs_REML": ("Weight ~ Time * Cuf", "1 + Time", True),
}
R_NAMES = {"Intercept": "(Intercept)", "Cuf[T.Cu035]": "Cuf2", "Cuf[T.Cu175]": "Cuf3"}


def r_names(fit):
    table = {"Cuf[T.2]": "Cuf2", "Cuf[T.3]": "Cuf3"} | R_NAMES
    names = []
    for name in fit.fixed_names:
        parts = [table.get(part, part) for part in name.split(":")]
        names.append(":".join(parts))
    return names


def assert_linear(fit, expected, names):
    def column(key):
        return [expected[key][name] for name in names]

    estimates = fit.estimates
    assert_allclose(estimates["estimate"], column("fixef"), rtol=1e-6)
    assert_allclose(estimates["std_error"], column("se"), rtol=1e-6)
    assert_allclose(estimates["df"], column("satterthwaite_df"), rtol=1e-4)
    assert_allclose(-2 * fit.loglik, expected["minus2logLik"], atol=1e-7)
    assert_allclose([fit.aic, fit.bic], [expected["AIC"], expected["BIC"]], atol=1e-7)
    theirs = sorted(row["vcov"] for row in expected["varcorr"])
    assert_allclose(sorted(fit.variances["variance"]), theirs, rtol=1e-5)


def assert_kenward_roger(fit, expected, names):
    def column(key):
        return [expected[key][name] for name in names]

    assert_allclose(fit.estimates["std_error"], column("kr_se"), rtol=1e-6)
    assert_allclose(fit.estimates["df"], column("kr_df"), rtol=1e-4)
    assert_allclose(fit.estimates["statistic"], column("kr_t"), rtol=1e-6)


@pytest.mark.parametrize("case", DIETOX)
def test_dietox(published, dietox, case):
    formula, random, reml = DIETOX[case]
    expected = published[case]
    fit = ml.fit_mixed(formula, dietox, random={"Pig": random}, reml=reml)
    names = r_names(fit)
    assert_linear(fit, expected, names)
    if reml:
        adjusted = ml.fit_mixed(formula, dietox, random={"Pig": random}, df="kenward-roger")
        assert_kenward_roger(adjusted, expected, names)


@pytest.mark.parametrize("method", ["satterthwaite", "kenward-roger"])
def test_tests_of_whole_terms(published, dietox, method):
    fit = ml.fit_mixed("Weight ~ Time * Cuf", dietox, random={"Pig": "1 + Time"}, df=method)
    key = "anova_type3_" + method.replace("-", "_")
    expected = next(row for row in published["dietox_TimeCu_rs_REML"][key] if ":" in row["term"])
    found = fit.test("Time:Cuf")
    assert_allclose(found.statistic, expected["F value"], rtol=1e-6)
    assert found.df1 == expected["NumDF"]
    assert_allclose(found.df2, expected["DenDF"], rtol=1e-4)
    assert_allclose(found.p, expected["Pr(>F)"], rtol=1e-5)


@pytest.mark.parametrize("random", [{"batch/cask": "1"}, {"batch:cask": "1", "batch": "1"}])
def test_nested_factors(published, pastes, random):
    expected = published["pastes_nested_REML"]
    fit = ml.fit_mixed("strength ~ 1", pastes, random=random)
    assert_linear(fit, expected, ["(Intercept)"])
    assert fit.n_groups == {"batch": 10, "batch:cask": 30}
    adjusted = ml.fit_mixed("strength ~ 1", pastes, random=random, df="kenward-roger")
    assert_kenward_roger(adjusted, expected, ["(Intercept)"])


@pytest.mark.parametrize("case", ["shoes_bal", "shoes_imb"])
def test_shoes_part_satterthwaite_from_kenward_roger(published, case):
    expected = published[case]
    table = pd.DataFrame({name: expected[name] for name in ("wear", "boy", "material")})
    for method in ("satterthwaite", "kenward-roger"):
        fit = ml.fit_mixed("wear ~ material", table, random={"boy": "1"}, df=method)
        rows = expected[method.replace("-", "_")]
        assert_allclose(fit.estimates["std_error"], [r["Std. Error"] for r in rows], rtol=1e-6)
        assert_allclose(fit.estimates["df"], [r["df"] for r in rows], rtol=1e-5)
    found = fit.test("material")
    assert_allclose(found.statistic, expected["KR_F"], rtol=1e-6)
    assert_allclose([found.df2, found.p], [expected["KR_ddf"], expected["KR_p"]], rtol=1e-6)


def test_unbalanced_shoes_as_published(published):
    # pbkrtest vignette: F 5.9893 on 1 and 7.0219 df, p .04418; Satterthwaite 7.010863.
    expected = published["shoes_imb"]
    table = pd.DataFrame({name: expected[name] for name in ("wear", "boy", "material")})
    fit = ml.fit_mixed("wear ~ material", table, random={"boy": "1"})
    assert_allclose(fit.estimates["df"][1], 7.0108633, rtol=1e-6)
    found = ml.fit_mixed("wear ~ material", table, random={"boy": "1"}, df="kenward-roger").test(
        "material"
    )
    assert_allclose([found.statistic, found.df2], [5.9893239, 7.0219044], rtol=1e-6)


def test_cbpp_laplace_optimum(published, cbpp):
    expected = published["cbpp_laplace_exact"]["independent"]
    fit = ml.fit_mixed(
        "incidence ~ period",
        cbpp,
        random={"herd": "1"},
        family="binomial",
        attempts="size",
        df="normal",
    )
    assert_allclose(fit.estimates["estimate"], expected["fixef"], rtol=1e-6)
    assert_allclose(fit.estimates["std_error"], expected["se_from_full_hessian"], rtol=1e-5)
    assert_allclose(variance(fit, "herd", "Intercept"), expected["herd_var"], rtol=1e-6)
    assert_allclose(-2 * fit.loglik, expected["minus2logLik"], atol=1e-7)
    assert_allclose(fit.aic, published["cbpp_laplace_exact"]["AIC"], atol=1e-6)


@pytest.mark.parametrize("nodes", [9, 25])
def test_cbpp_adaptive_quadrature(published, cbpp, nodes):
    expected = published[f"cbpp_agq{nodes}_exact"]
    fit = ml.fit_mixed(
        "incidence ~ period",
        cbpp,
        random={"herd": "1"},
        family="binomial",
        attempts="size",
        quadrature=nodes,
        df="normal",
    )
    assert_allclose(fit.estimates["estimate"], expected["fixef"], rtol=1e-6)
    assert_allclose(fit.estimates["std_error"], expected["se_from_full_hessian"], rtol=1e-5)
    assert_allclose(variance(fit, "herd", "Intercept"), expected["herd_var"], rtol=1e-6)
    assert_allclose(-2 * fit.loglik, expected["minus2logLik"], atol=1e-7)


def fixed_order(fit, names):
    """Positions of our fixed effects in the order R gives them."""
    return [fit.fixed_names.index(name) for name in names]


GROUP_PHASE = [
    "Intercept",
    "group[T.random]",
    "group[T.serial]",
    "phase[T.pretest]",
    "phase[T.retention]",
    "group[T.random]:phase[T.pretest]",
    "group[T.serial]:phase[T.pretest]",
    "group[T.random]:phase[T.retention]",
    "group[T.serial]:phase[T.retention]",
]


def assert_computed(fit, computed, key, *, rtol=1e-6, rtol_se=1e-6, rtol_variance=1e-5, names=None):
    order = fixed_order(fit, names) if names else slice(None)
    assert_allclose(fit.beta[order], computed[f"{key}_fixef"], rtol=rtol, atol=rtol)
    error = fit.estimates["std_error"].to_numpy()[order]
    assert_allclose(error, computed[f"{key}_se"], rtol=rtol_se)
    assert_allclose(-2 * fit.loglik, computed[f"{key}_deviance"][0], atol=1e-5)
    ours = np.sort(fit.variances["variance"])
    theirs = np.sort(computed[f"{key}_variances"])
    assert_allclose(ours, theirs, rtol=rtol_variance, atol=1e-6)


def test_unbalanced_groups_by_phases(computed, ring_push):
    fit = ml.fit_mixed("radial_error ~ group * phase", ring_push, random={"participant": "1"})
    assert_computed(fit, computed, "intercept", names=GROUP_PHASE)
    order = fixed_order(fit, GROUP_PHASE)
    assert_allclose(
        fit.estimates["df"].to_numpy()[order], computed["intercept_satterthwaite_df"], rtol=1e-4
    )
    test = fit.test("group:phase")
    assert_allclose(
        [test.statistic, test.df1, test.df2, test.p],
        computed["interaction_satterthwaite"],
        rtol=1e-4,
    )


def test_kenward_roger_on_unbalanced_groups_by_phases(computed, ring_push):
    fit = ml.fit_mixed(
        "radial_error ~ group * phase",
        ring_push,
        random={"participant": "1"},
        df="kenward-roger",
    )
    order = fixed_order(fit, GROUP_PHASE)
    estimates = fit.estimates.iloc[order]
    assert_allclose(estimates["std_error"], computed["intercept_kr_se"], rtol=1e-5)
    assert_allclose(estimates["df"], computed["intercept_kr_df"], rtol=1e-4)
    test = fit.test("group:phase")
    assert_allclose(
        [test.statistic, test.df1, test.df2, test.p], computed["interaction_kr"], rtol=1e-4
    )


def test_conditional_modes_and_their_errors(computed, ring_push):
    fit = ml.fit_mixed("radial_error ~ group * phase", ring_push, random={"participant": "1"})
    assert_allclose(fit.effects["estimate"], computed["modes"], rtol=1e-5)
    assert_allclose(fit.effects["std_error"], computed["modes_se"], rtol=1e-5)


def test_weights_with_correlated_slopes(computed, ring_push):
    fit = ml.fit_mixed(
        "radial_error ~ group + time",
        ring_push,
        random={"participant": "1 + time"},
        weights="attempts",
    )
    assert_computed(fit, computed, "weighted_slope", rtol_variance=1e-4)
    assert_allclose(fit.estimates["df"], computed["weighted_slope_df"], rtol=1e-4)


def test_independent_slopes_by_maximum_likelihood(computed, ring_push):
    fit = ml.fit_mixed(
        "radial_error ~ group + time",
        ring_push,
        random={"participant": ["1", "time"]},
        reml=False,
    )
    assert_computed(fit, computed, "independent_ml")
    assert_allclose(fit.estimates["df"], computed["independent_ml_df"], rtol=1e-4)


CROSSED = {
    "crossed": ("radial_error ~ group", {"participant": "1", "lane": "1"}),
    "crossed_slope": ("radial_error ~ time", {"participant": "1 + time", "lane": "1"}),
}


@pytest.mark.parametrize("key", CROSSED)
def test_crossed_factors(computed, ring_push, key):
    formula, random = CROSSED[key]
    fit = ml.fit_mixed(formula, ring_push, random=random)
    assert_computed(fit, computed, key)
    if key == "crossed":
        assert_allclose(fit.estimates["df"], computed["crossed_df"], rtol=1e-4)
    adjusted = ml.fit_mixed(formula, ring_push, random=random, df="kenward-roger")
    assert_allclose(adjusted.estimates["std_error"], computed[f"{key}_kr_se"], rtol=1e-5)
    assert_allclose(adjusted.estimates["df"], computed[f"{key}_kr_df"], rtol=1e-4)


BINOMIAL = {
    "binomial": ("hits ~ group * phase", {"participant": "1"}, None, GROUP_PHASE),
    "offset": ("hits ~ time", {"participant": "1"}, "handicap", None),
    "binomial_slope": ("hits ~ time", {"participant": "1 + time"}, None, None),
    "binomial_crossed": ("hits ~ time", {"participant": "1", "lane": "1"}, None, None),
}


@pytest.mark.parametrize("key", BINOMIAL)
def test_binomial_laplace(computed, ring_push, key):
    formula, random, offset, names = BINOMIAL[key]
    fit = ml.fit_mixed(
        formula,
        ring_push,
        random=random,
        family="binomial",
        attempts="attempts",
        offset=offset,
        df="normal",
    )
    assert_computed(fit, computed, key, rtol=1e-4, rtol_se=2e-3, rtol_variance=1e-4, names=names)
    assert fit.singular == (key == "binomial_crossed")


@pytest.mark.parametrize("link", ["probit", "cloglog"])
def test_other_links(computed, ring_push, link):
    fit = ml.fit_mixed(
        "hits ~ time",
        ring_push,
        random={"participant": "1"},
        family="binomial",
        attempts="attempts",
        link=link,
        quadrature=25,
    )
    assert_allclose(fit.beta, computed[f"{link}_fixef"], rtol=1e-4)
    assert_allclose(fit.variances["sd"], computed[f"{link}_sd"], rtol=1e-4)


@pytest.mark.parametrize("method", ["satterthwaite", "kenward-roger"])
def test_small_sample_inference_at_a_variance_of_zero(singular, method):
    table, expected = singular
    fit = ml.fit_mixed("y ~ g * t", table, random={"p": "1"}, df=method)
    key = method.replace("-", "_")
    assert fit.singular and fit.converged
    assert_allclose(fit.estimates["estimate"], expected["estimate"], atol=1e-7)
    assert_allclose(fit.estimates["std_error"], expected[f"{key}_se"], atol=1e-7)
    assert_allclose(fit.estimates["df"], expected[f"{key}_df"], rtol=1e-6)


@pytest.mark.parametrize(
    ("method", "key"),
    [("satterthwaite", "type3_satterthwaite"), ("kenward-roger", "type3_kr")],
)
def test_main_effects_under_sum_coding_are_type_three(computed, ring_push, method, key):
    fit = ml.fit_mixed(
        "radial_error ~ C(group, Sum) * C(phase, Sum)",
        ring_push,
        random={"participant": "1"},
        df=method,
    )
    terms = ("C(group, Sum)", "C(phase, Sum)", "C(group, Sum):C(phase, Sum)")
    found = [(t.statistic, t.df1, t.df2, t.p) for t in map(fit.test, terms)]
    assert_allclose(np.ravel(found), computed[key], rtol=1e-4)
