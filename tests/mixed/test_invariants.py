"""What must not change a fit, what must change it in a known way, and independent cross-checks."""

from math import comb

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from numpy.testing import assert_allclose
from scipy.special import expit
from statsmodels.genmod.cov_struct import Exchangeable

import motorlearn as ml

ONE = {"participant": "1"}


def fit_hits(table, **options):
    options = {"random": ONE, "attempts": "throws"} | options
    return ml.fit_mixed("hits ~ group * phase", table, family="binomial", **options)


def rows_of_hits(table):
    rows = table.loc[table.index.repeat(table["throws"])].copy()
    rows["hit"] = (rows.groupby(level=0).cumcount() < rows["hits"]).astype(int)
    return rows.reset_index(drop=True)


@pytest.mark.parametrize("quadrature", [1, 7])
def test_single_trials_and_counts_agree(small_study, quadrature):
    counts = fit_hits(small_study, quadrature=quadrature)
    single = ml.fit_mixed(
        "hit ~ group * phase",
        rows_of_hits(small_study),
        random=ONE,
        family="binomial",
        quadrature=quadrature,
    )
    assert_allclose(single.beta, counts.beta, atol=1e-10)
    assert_allclose(single.vcov, counts.vcov, atol=1e-10)
    assert single.n == 72 * 12 and counts.n == 72
    coefficients = np.sum(np.log([comb(12, hit) for hit in small_study["hits"]]))
    assert_allclose(counts.loglik - single.loglik, coefficients, rtol=1e-9)


def test_published_gap_between_counts_and_trials(cbpp):
    # 842 single rows: -2 log likelihood = aggregated + 2 x 185.475659684159
    table = cbpp.rename(columns={"size": "throws", "incidence": "hits"})
    options = {"random": {"herd": "1"}, "family": "binomial"}
    counts = ml.fit_mixed("hits ~ period", table, attempts="throws", **options)
    single = ml.fit_mixed("hit ~ period", rows_of_hits(table), **options)
    assert single.n == 842
    assert_allclose(2 * (counts.loglik - single.loglik), 2 * 185.475659684159, rtol=1e-10)


@pytest.mark.parametrize("family", ["gaussian", "binomial"])
def test_row_order_and_names_do_not_matter(small_study, family):
    outcome, options = "radial_error", {}
    if family == "binomial":
        outcome, options = "hits", {"attempts": "throws"}
    shuffled = small_study.sample(frac=1, random_state=3)
    names = {name: f"x{i * 7 % 24:02d}" for i, name in enumerate(shuffled["participant"].unique())}
    shuffled = shuffled.assign(participant=shuffled["participant"].map(names))
    formula = f"{outcome} ~ group * phase"
    one = ml.fit_mixed(formula, small_study, random=ONE, family=family, **options)
    two = ml.fit_mixed(formula, shuffled, random=ONE, family=family, **options)
    pd.testing.assert_frame_equal(one.estimates, two.estimates, rtol=1e-5)
    assert_allclose(one.variances["variance"], two.variances["variance"], rtol=1e-6)
    assert_allclose(two.fitted().to_numpy(), one.fitted().to_numpy()[shuffled.index], rtol=1e-5)


def test_shift_and_scale_of_the_outcome(small_study):
    one = ml.fit_mixed("radial_error ~ group * phase", small_study, random=ONE)
    table = small_study.assign(radial_error=7 - 100 * small_study["radial_error"])
    two = ml.fit_mixed("radial_error ~ group * phase", table, random=ONE)
    assert_allclose(two.beta[1:], -100 * one.beta[1:], rtol=1e-8)
    assert_allclose(two.beta[0], 7 - 100 * one.beta[0], rtol=1e-8)
    assert_allclose(two.estimates["df"], one.estimates["df"], rtol=1e-5)
    assert_allclose(two.variances["variance"], 1e4 * one.variances["variance"], rtol=1e-6)


def test_units_of_a_slope_do_not_matter(sleepstudy):
    one = ml.fit_mixed("Reaction ~ Days", sleepstudy, random={"Subject": "1 + Days"})
    table = sleepstudy.assign(Days=sleepstudy["Days"] * 86_400)
    two = ml.fit_mixed("Reaction ~ Days", table, random={"Subject": "1 + Days"})
    assert_allclose(two.beta * [1, 86_400], one.beta, rtol=1e-8)
    # The restricted likelihood holds log |X'X|, which a change of units moves.
    assert_allclose(one.loglik - two.loglik, np.log(86_400), rtol=1e-8)
    assert two.converged


def test_hits_and_misses_mirror_each_other(small_study):
    mirrored = small_study.assign(hits=small_study["throws"] - small_study["hits"])
    assert_allclose(fit_hits(mirrored).beta, -fit_hits(small_study).beta, atol=1e-7)


def test_integer_weights_are_repeated_rows(small_study):
    weighted = small_study.assign(count=1 + np.arange(72) % 3)
    repeated = weighted.loc[weighted.index.repeat(weighted["count"])].reset_index(drop=True)
    one = ml.fit_mixed(
        "hits ~ phase", weighted, random=ONE, family="binomial", attempts="throws", weights="count"
    )
    two = ml.fit_mixed("hits ~ phase", repeated, random=ONE, family="binomial", attempts="throws")
    assert_allclose(one.beta, two.beta, atol=1e-8)
    assert_allclose(np.diag(one.vcov), np.diag(two.vcov), rtol=1e-6)


def test_offset_shifts_the_intercept(small_study):
    table = small_study.assign(handicap=0.7)
    assert_allclose(
        fit_hits(table, offset="handicap").beta[0], fit_hits(table).beta[0] - 0.7, atol=1e-7
    )
    options = {"random": ONE}
    one = ml.fit_mixed("radial_error ~ phase", table, offset="handicap", **options)
    two = ml.fit_mixed("radial_error ~ phase", table, **options)
    assert_allclose(one.beta[0], two.beta[0] - 0.7, rtol=1e-9)
    assert_allclose(one.residuals(), two.residuals(), atol=1e-7)


def test_modes_of_hits_balance_the_score_against_the_prior():
    # At the mode of a random intercept: sum over rows of (hits - n p) equals mode / variance.
    rng = np.random.default_rng(12)
    table = pd.DataFrame({"participant": np.repeat([f"p{i}" for i in range(15)], 4), "throws": 12})
    table["handicap"] = rng.normal(0, 0.8, len(table))
    own = np.repeat(rng.normal(0, 0.9, 15), 4)
    table["hits"] = rng.binomial(12, 1 / (1 + np.exp(-(own + table["handicap"]))))
    fit = ml.fit_mixed(
        "hits ~ 1", table, random=ONE, family="binomial", attempts="throws", offset="handicap"
    )
    mode = fit.effects.set_index("level")["estimate"]
    eta = fit.beta[0] + table["handicap"] + table["participant"].map(mode).astype(float)
    pull = (table["hits"] - 12 / (1 + np.exp(-eta))).groupby(table["participant"]).sum()
    variance = fit.variances["variance"].iloc[0]
    assert_allclose(pull[mode.index], mode / variance, atol=1e-6)


def test_collapsing_like_rows_changes_nothing():
    rng = np.random.default_rng(2)
    person = np.repeat(np.arange(20), 30)
    table = pd.DataFrame(
        {
            "participant": person,
            "phase": np.tile(np.repeat(["pretest", "posttest", "retention"], 10), 20),
            "radial_error": 20 + rng.normal(0, 3, 20)[person] + rng.normal(0, 8, 600),
        }
    )
    collapsed = ml.fit_mixed("radial_error ~ phase", table, random=ONE)
    nudge = table.assign(nuisance=rng.normal(size=600) * 1e-9)
    apart = ml.fit_mixed("radial_error ~ phase", nudge, random=ONE, offset="nuisance")
    assert len(collapsed.design.x) == 60 and collapsed.n == 600
    assert_allclose(collapsed.estimates["df"], apart.estimates["df"], rtol=1e-6)
    assert_allclose(collapsed.loglik, apart.loglik, rtol=1e-9)
    x = sm.add_constant(pd.get_dummies(table["phase"], drop_first=True, dtype=float))
    other = sm.MixedLM(table["radial_error"], x, groups=table["participant"]).fit()
    assert_allclose(collapsed.beta, other.fe_params, rtol=1e-6)
    assert_allclose(collapsed.loglik, other.llf, rtol=1e-6)


def test_statsmodels_mixedlm_agrees(small_study):
    fit = ml.fit_mixed("radial_error ~ group * phase", small_study, random=ONE)
    x = pd.DataFrame(fit.design.x[fit.design.cell], columns=fit.fixed_names)
    other = sm.MixedLM(small_study["radial_error"], x, groups=small_study["participant"]).fit()
    assert_allclose(fit.beta, other.fe_params, rtol=1e-6)
    assert_allclose(fit.estimates["std_error"], other.bse_fe, rtol=1e-4)
    assert_allclose(fit.residual_sd**2, other.scale, rtol=1e-4)
    assert_allclose(fit.loglik, other.llf, rtol=1e-7)


def test_gee_agrees_on_average_probabilities(small_study):
    """A GEE estimates averages over participants; with a logistic-normal model they are close."""
    fit = fit_hits(small_study, quadrature=15)
    x = fit.design.x[fit.design.cell]
    rows = rows_of_hits(small_study)
    long = np.repeat(x, 12, axis=0)
    gee = sm.GEE(
        rows["hit"],
        long,
        groups=rows["participant"],
        family=sm.families.Binomial(),
        cov_struct=Exchangeable(),
    ).fit()
    average = fit.predict(small_study, participants="population", scale="average")
    assert_allclose(average, expit(x @ gee.params), atol=0.01)
    clear = np.abs(gee.params.to_numpy()) > 0.2
    ratio = fit.beta[clear] / gee.params.to_numpy()[clear]
    assert clear.sum() >= 3
    assert (ratio > 1).all() and (ratio < 1.4).all()  # conditional effects are larger


def test_one_factor_by_the_engine_for_several(small_study):
    """A second factor without any effect of its own reduces to the model with one."""
    rng = np.random.default_rng(12)
    table = small_study.assign(lane=rng.permutation(np.tile(np.arange(6), 12)))
    for family, outcome, options in (
        ("gaussian", "radial_error", {}),
        ("binomial", "hits", {"attempts": "throws"}),
    ):
        formula = f"{outcome} ~ group * phase"
        both = ml.fit_mixed(
            formula, table, random={"participant": "1", "lane": "1"}, family=family, **options
        )
        one = ml.fit_mixed(formula, table, random=ONE, family=family, **options)
        lane = both.variances.set_index("group").loc["lane", "variance"]
        assert both.loglik >= one.loglik - 1e-8
        if lane < 1e-8:
            assert_allclose(both.beta, one.beta, atol=1e-5)
            assert both.singular


def test_crossed_binary_at_the_size_of_a_study():
    rng = np.random.default_rng(4)
    person, item = np.divmod(np.arange(300 * 25), 25)
    item = item % 24
    eta = 0.4 * (person % 2) + rng.normal(0, 0.8, 300)[person] + rng.normal(0, 0.5, 24)[item]
    table = pd.DataFrame(
        {
            "participant": person,
            "item": item,
            "group": np.where(person % 2, "random", "blocked"),
            "hit": rng.binomial(1, expit(eta)),
        }
    )
    fit = ml.fit_mixed(
        "hit ~ group", table, random={"participant": "1", "item": "1"}, family="binomial"
    )
    sd = fit.variances.set_index("group")["sd"]
    assert fit.converged and fit.n == 7500
    assert abs(sd["participant"] - 0.8) < 0.1 and abs(sd["item"] - 0.5) < 0.2
    assert abs(fit.beta[1] - 0.4) < 3 * fit.estimates["std_error"][1]
    assert fit.effects["group"].value_counts().to_dict() == {"participant": 300, "item": 24}
