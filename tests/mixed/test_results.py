"""The result: tidy frames, predictions, simulation, JSON, means, contrasts and comparisons."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import integrate
from scipy.special import expit
from scipy.stats import norm

import motorlearn as ml
from motorlearn.exceptions import InputError, RefusedError
from motorlearn.mixed import (
    MixedFit,
    bootstrap_intervals,
    leave_one_out,
    likelihood_ratio,
    profile_intervals,
    refit,
    refit_many,
)
from motorlearn.vocabulary import ESTIMATE_COLUMNS

ONE = {"participant": "1"}


@pytest.fixture(scope="module")
def hits(small_study):
    return ml.fit_mixed(
        "hits ~ group * phase", small_study, random=ONE, family="binomial", attempts="throws"
    )


@pytest.fixture(scope="module")
def errors(small_study):
    return ml.fit_mixed("radial_error ~ group * phase", small_study, random=ONE)


def test_frames_have_the_agreed_columns(hits, errors):
    for fit in (hits, errors):
        assert list(fit.estimates.columns) == list(ESTIMATE_COLUMNS)
        assert list(fit.variances.columns) == [
            "group",
            "term",
            "other",
            "variance",
            "sd",
            "correlation",
        ]
        assert fit.n == 72 and fit.n_groups == {"participant": 24}
        assert fit.fixed_names[:2] == ("Intercept", "group[T.random]")
        assert len(fit.effects) == 24
        assert fit.recipe.call == "fit_mixed" and fit.recipe.engine
    assert (hits.estimates["df"] > 20).all() and np.isnan(hits.residual_sd)


def test_printing_says_method_and_numbers(hits, errors):
    assert "Laplace" in str(hits) and "participant: 24" in str(hits)
    assert "Satterthwaite" in str(errors)
    assert "<caption>" in errors._repr_html_()


def test_json_round_trip(hits, errors):
    for fit in (hits, errors):
        again = MixedFit.from_json(fit.to_json())
        pd.testing.assert_frame_equal(again.estimates, fit.estimates)
        pd.testing.assert_frame_equal(again.variances, fit.variances)
        assert_allclose(again.fitted(), fit.fitted())
        new = pd.DataFrame({"participant": ["p03"], "group": ["random"], "phase": ["retention"]})
        assert_allclose(again.predict(new), fit.predict(new))
        assert again.test("group:phase") == fit.test("group:phase")
        assert str(again) == str(fit)
        assert_allclose(refit(again, again.observed).beta, fit.beta, atol=1e-6)


def test_known_and_population_predictions(hits, small_study):
    known = hits.predict(small_study)
    assert_allclose(known, hits.fitted(), atol=1e-12)
    effect = hits.effects.set_index("level")["estimate"]
    link = hits.predict(small_study, participants="population", scale="link")
    shifted = link + small_study["participant"].map(effect).to_numpy(float)
    assert_allclose(known, expit(shifted), atol=1e-12)
    typical = hits.predict(small_study, participants="population")
    average = hits.predict(small_study, participants="population", scale="average")
    assert (np.abs(average - 0.5) < np.abs(typical - 0.5)).all()
    first = integrate.quad(
        lambda b: (
            expit(link[0] + b) * norm.pdf(b, scale=np.sqrt(hits.covariances["participant"][0, 0]))
        ),
        -12,
        12,
    )[0]
    assert_allclose(average[0], first, atol=1e-8)


def test_unknown_people_levels_and_gaps_are_refused(hits, small_study):
    new = small_study.head(2).assign(participant="p99")
    with pytest.raises(InputError, match=r"p99.*population"):
        hits.predict(new)
    assert hits.predict(new, participants="population").between(0, 1).all()
    with pytest.raises(InputError, match="day after"):
        hits.predict(small_study.assign(phase="day after"))
    with pytest.raises(InputError, match="no value"):
        hits.predict(small_study.assign(group=None))
    with pytest.raises(InputError, match="not a prediction for known"):
        hits.predict(small_study, scale="average")
    with pytest.raises(InputError):
        hits.predict(small_study, participants="everybody")


@pytest.mark.parametrize("family", ["gaussian", "binomial"])
def test_the_offset_of_the_fit_is_used_in_predictions(small_study, family):
    table = small_study.assign(handicap=np.linspace(-1, 1, 72))
    outcome, options = (
        ("hits", {"attempts": "throws"})
        if family == "binomial"
        else (
            "radial_error",
            {},
        )
    )
    fit = ml.fit_mixed(
        f"{outcome} ~ phase", table, random=ONE, family=family, offset="handicap", **options
    )
    assert_allclose(fit.predict(table), fit.fitted(), atol=1e-10)
    with pytest.raises(InputError, match="handicap"):
        fit.predict(small_study)


def test_residuals_sum_to_zero_within_the_fixed_part(errors, small_study):
    rest = small_study["radial_error"] - errors.fitted(participants="population")
    assert_allclose(rest.groupby(small_study["phase"]).mean(), 0, atol=1e-9)  # balanced
    assert_allclose(errors.residuals(), small_study["radial_error"] - errors.fitted())
    assert_allclose(errors.residuals("pearson"), errors.residuals() / errors.residual_sd)


def test_explained_variance_by_hand(errors, hits):
    between = errors.covariances["participant"][0, 0]
    within = errors.residual_sd**2
    fixed = np.var(errors.design.x @ errors.beta)
    total = fixed + between + within
    found = errors.explained
    assert_allclose(found["r2_marginal"], fixed / total)
    assert_allclose(found["r2_conditional"], (fixed + between) / total)
    assert_allclose(found["icc"], between / (between + within))
    between = hits.covariances["participant"][0, 0]
    assert_allclose(hits.explained["icc"], between / (between + np.pi**2 / 3))


def test_simulated_outcomes_have_the_moments_of_the_model(errors, hits):
    draws = errors.simulate(4000, seed=1)
    eta = errors.design.x @ errors.beta
    spread = np.sqrt(errors.covariances["participant"][0, 0] + errors.residual_sd**2)
    assert_allclose(draws.mean(axis=0), eta[errors.design.cell], atol=5 * spread / np.sqrt(4000))
    assert_allclose(draws.std(axis=0).mean(), spread, rtol=0.02)
    assert_allclose(draws, errors.simulate(4000, seed=1))
    counts = hits.simulate(10, seed=2)
    assert counts.min() >= 0 and counts.max() <= 12


def test_refit_to_the_same_outcome_changes_nothing(errors, hits):
    for fit in (errors, hits):
        again = refit(fit, fit.observed)
        assert_allclose(again.beta, fit.beta, atol=1e-6)
        assert_allclose(again.loglik, fit.loglik, atol=1e-7)
    with pytest.raises(InputError):
        refit(errors, np.zeros(3))
    full = refit(errors, errors.observed, reml=False)
    assert not full.reml and full.recipe.options["reml"] is False


@pytest.mark.parametrize("family", ["gaussian", "binomial"])
def test_leaving_one_out_equals_fitting_without(small_study, family, hits, errors):
    fit = hits if family == "binomial" else errors
    found = leave_one_out(fit)
    assert len(found) == 24 * 6 and (found["reason"] == "").all()
    table = small_study[small_study["participant"] != "p05"]
    outcome = "hits" if family == "binomial" else "radial_error"
    options = {"attempts": "throws"} if family == "binomial" else {}
    alone = ml.fit_mixed(f"{outcome} ~ group * phase", table, random=ONE, family=family, **options)
    rows = found[found["level"] == "p05"]
    assert_allclose(rows["estimate"], alone.estimates["estimate"], atol=1e-6)
    assert_allclose(rows["std_error"], alone.estimates["std_error"], rtol=1e-5)


@pytest.mark.parametrize("weighted", [False, True])
@pytest.mark.parametrize("family", ["gaussian", "binomial"])
def test_refitting_many_equals_refitting_each(small_study, family, weighted):
    options = {"attempts": "throws"} if family == "binomial" else {}
    options |= {"offset": "handicap", "weights": "count"} if weighted else {}
    table = small_study.assign(handicap=0.3, count=1 + np.arange(72) % 2)
    outcome = "hits" if family == "binomial" else "radial_error"
    fit = ml.fit_mixed(f"{outcome} ~ group", table, random=ONE, family=family, **options)
    draws = fit.simulate(4, seed=9)
    found, failed = refit_many(fit, draws)
    for number, observed in enumerate(draws):
        again = refit(fit, observed)
        assert_allclose(found.beta[number], again.beta, atol=1e-5)
        assert_allclose(found.deviance[number], -2 * again.loglik, atol=1e-6)
        assert_allclose(found.psi[number], again.covariances["participant"], rtol=1e-3, atol=1e-6)
    assert failed == 0


def test_leaving_out_what_is_needed_gives_a_reason():
    table = pd.DataFrame(
        {
            "participant": np.repeat(list("abcde"), 2),
            "group": ["blocked"] * 8 + ["random"] * 2,
            "phase": ["pretest", "retention"] * 5,
            "score": [3.0, 4.0, 5.0, 5.5, 2.0, 4.0, 6.0, 7.5, 4.0, 4.5],
        }
    )
    found = leave_one_out(ml.fit_mixed("score ~ group + phase", table, random=ONE))
    without_e = found[found["level"] == "e"]
    assert without_e["estimate"].isna().all()
    assert without_e["reason"].str.contains("group").all()


def test_marginal_means_and_pairs_equal_emmeans(computed, ring_push):
    fit = ml.fit_mixed("radial_error ~ group * phase", ring_push, random=ONE, df="kenward-roger")
    means = ml.marginal_means(fit, "group", within="phase")
    for name, key in (("estimate", "means"), ("std_error", "means_se"), ("df", "means_df")):
        assert_allclose(means[name], computed[key], rtol=1e-5)
    pairs = ml.contrasts(fit, "group", within="phase")
    assert pairs["contrast"].tolist()[:3] == [
        "random - blocked",
        "serial - blocked",
        "serial - random",
    ]
    for name, key in (
        ("estimate", "pairs"),
        ("std_error", "pairs_se"),
        ("df", "pairs_df"),
        ("p_adjusted", "pairs_p"),
    ):
        assert_allclose(pairs[name], computed[key], rtol=1e-5)
    trend = ml.contrasts(fit, "phase", kind="polynomial")
    assert_allclose(trend["statistic"], computed["poly_t"], rtol=1e-5)


def test_binomial_means_equal_emmeans(computed, ring_push):
    fit = ml.fit_mixed(
        "hits ~ group * phase",
        ring_push,
        random=ONE,
        family="binomial",
        attempts="attempts",
        df="normal",
    )
    link = ml.marginal_means(fit, "group", within="phase")
    assert_allclose(link["estimate"], computed["binomial_means"], atol=1e-4)
    assert_allclose(link["std_error"], computed["binomial_means_se"], rtol=2e-3)
    typical = ml.marginal_means(fit, "group", within="phase", scale="typical")
    assert_allclose(typical["estimate"], computed["binomial_typical"], atol=1e-4)
    assert_allclose(typical["conf_low"], computed["binomial_typical_low"], atol=1e-3)


def test_averages_use_the_correlation_of_random_slopes():
    rng = np.random.default_rng(21)
    table = pd.DataFrame(
        [
            (f"p{i:02d}", phase, t)
            for i in range(30)
            for phase in ("early", "late")
            for t in range(4)
        ],
        columns=["participant", "phase", "time"],
    )
    own = rng.multivariate_normal(
        [0, 0], [[1.0, -0.3], [-0.3, 0.25]], 30, method="cholesky"
    ).repeat(8, axis=0)
    eta = 0.4 + 0.5 * (table["phase"] == "late") + own[:, 0] + own[:, 1] * table["time"]
    table = table.assign(throws=20, hits=rng.binomial(20, expit(eta)))
    fit = ml.fit_mixed(
        "hits ~ phase", table, random={"participant": "1 + time"}, family="binomial",
        attempts="throws",
    )  # fmt: skip
    psi, z = fit.covariances["participant"], np.array([1.0, 1.5])
    assert psi[0, 1] < -0.05
    sd = np.sqrt(z @ psi @ z)
    means = ml.marginal_means(fit, "phase", scale="average")
    for eta, value in zip([fit.beta[0], fit.beta.sum()], means["estimate"], strict=True):
        expected = integrate.quad(lambda b, e=eta: expit(e + b) * norm.pdf(b, scale=sd), -9, 9)[0]
        assert_allclose(value, expected, atol=1e-8)


def test_average_probabilities_and_their_errors(hits):
    means = ml.marginal_means(hits, "group", within="phase", scale="average")
    link = ml.marginal_means(hits, "group", within="phase")
    sd = np.sqrt(hits.covariances["participant"][0, 0])
    for eta, value in zip(link["estimate"], means["estimate"], strict=True):
        expected = integrate.quad(lambda b, e=eta: expit(e + b) * norm.pdf(b, scale=sd), -9, 9)[0]
        assert_allclose(value, expected, atol=1e-8)
    assert means["quantity"].eq("probability, average over participants").all()
    assert "typical participant" in means.attrs["note"]
    # The standard error against the spread over parameters drawn from their joint covariance.
    rng = np.random.default_rng(3)
    joint = np.append(hits.beta, sd**2)
    draws = rng.multivariate_normal(joint, hits.inference.joint_vcov, 4000, method="cholesky")
    row = np.zeros(len(hits.beta))
    row[0] = 1
    spread = np.sqrt(np.clip(draws[:, -1], 0, None))[:, None] * np.linspace(-6, 6, 121)
    weight = norm.pdf(np.linspace(-6, 6, 121))
    sampled = expit((draws[:, :-1] @ row)[:, None] + spread) @ (weight / weight.sum())
    base = means[(means["group"] == "blocked") & (means["phase"] == "posttest")]
    assert_allclose(base["std_error"], sampled.std(), rtol=0.06)


def test_scales_of_contrasts(hits, errors):
    ratio = ml.contrasts(hits, "group", within="phase", scale="ratio")
    link = ml.contrasts(hits, "group", within="phase")
    for name in ("estimate", "conf_low", "conf_high"):
        assert_allclose(ratio[name], np.exp(link[name]))
    assert_allclose(ratio["p"], link["p"])
    assert set(ratio["quantity"]) == {"odds ratio, typical participant"}
    # The delta method by hand: the slope of exp is exp.
    assert_allclose(ratio["std_error"], np.exp(link["estimate"]) * link["std_error"])
    means = ml.marginal_means(hits, "group", within="phase", scale="average")
    gaps = means.pivot(index="phase", columns="group", values="estimate")
    average = ml.contrasts(hits, "group", within="phase", scale="average")
    assert_allclose(average["estimate"], (gaps["random"] - gaps["blocked"])[average["phase"]])
    with pytest.raises(InputError, match="logit"):
        ml.contrasts(errors, "group", scale="ratio")


def test_contrasts_against_a_reference(hits):
    found = ml.contrasts(hits, "phase", kind="reference", reference="pretest", adjust="none")
    assert found["contrast"].tolist() == ["posttest - pretest", "retention - pretest"]
    assert_allclose(found["p"], found["p_adjusted"])


@pytest.mark.parametrize(
    "arguments",
    [
        {"by": "throws"},
        {"by": "group", "within": "group"},
        {"by": "group", "scale": "percent"},
        {"by": "group", "adjust": "sidak"},
        {"by": "group", "kind": "waves"},
        {"by": "group", "kind": "reference", "reference": "serial"},
    ],
)
def test_contrasts_that_make_no_sense(hits, arguments):
    with pytest.raises(InputError):
        ml.contrasts(hits, **arguments)


def test_terms_that_do_not_exist(errors):
    with pytest.raises(InputError, match="task"):
        errors.test("task")
    both = errors.test(["group", "group:phase"])
    assert both.df1 == 3


def test_likelihood_ratio_and_profiles_equal_lme4(computed, ring_push):
    options = {"random": {"participant": ["1", "time"]}, "reml": False}
    larger = ml.fit_mixed("radial_error ~ group + time", ring_push, **options)
    smaller = ml.fit_mixed("radial_error ~ time", ring_push, **options)
    found = likelihood_ratio(smaller, larger)
    assert_allclose([found.statistic, found.df, found.p], computed["lrt"], rtol=1e-5)
    assert likelihood_ratio(larger, smaller).statistic == found.statistic
    # lme4 interpolates its profiles by splines, which costs about four digits.
    profile = profile_intervals(larger)[["sd_low", "sd_high"]].to_numpy().ravel()
    assert_allclose(profile, computed["profile"], rtol=2e-4)


def test_profile_reaches_zero_where_zero_is_not_ruled_out(small_study):
    table = small_study.assign(radial_error=np.random.default_rng(7).normal(size=72))
    found = profile_intervals(ml.fit_mixed("radial_error ~ phase", table, random=ONE))
    assert found["sd_low"][0] == 0 and found["sd_high"][0] > 0


def test_profile_of_a_binomial_model(hits):
    found = profile_intervals(hits)
    sd = np.sqrt(hits.covariances["participant"][0, 0])
    assert found["sd_low"][0] < sd < found["sd_high"][0]
    # At a bound the deviance has risen by the quantile of chi-squared: check on a fine grid of one.
    assert_allclose(found["variance_high"], found["sd_high"] ** 2)


def test_restricted_likelihoods_with_different_fixed_parts_are_refused(small_study):
    one = ml.fit_mixed("radial_error ~ phase", small_study, random=ONE)
    two = ml.fit_mixed("radial_error ~ phase + group", small_study, random=ONE)
    with pytest.raises(RefusedError, match="reml=False"):
        likelihood_ratio(one, two)
    slope = small_study.assign(time=np.tile([0, 1, 2], 24))
    one = ml.fit_mixed("radial_error ~ phase", slope, random=ONE)
    two = ml.fit_mixed("radial_error ~ phase", slope, random={"participant": ["1", "time"]})
    assert "about twice" in likelihood_ratio(one, two).notes[0]
    full = ml.fit_mixed("radial_error ~ phase", slope, random=ONE, reml=False)
    with pytest.raises(RefusedError):
        likelihood_ratio(full, two)
    three = ml.fit_mixed("radial_error ~ phase", slope.head(60), random=ONE, reml=False)
    with pytest.raises(InputError, match="same rows"):
        likelihood_ratio(full, three)


def test_models_that_are_not_nested(small_study):
    options = {"random": ONE, "reml": False}
    one = ml.fit_mixed("radial_error ~ group", small_study, **options)
    two = ml.fit_mixed("radial_error ~ phase", small_study, **options)
    with pytest.raises(InputError, match="not inside"):
        likelihood_ratio(one, two)


def test_bootstrap_is_seeded_and_fair(small_study):
    options = {"random": ONE, "family": "binomial", "attempts": "throws"}
    larger = ml.fit_mixed("hits ~ phase + group", small_study, **options)
    smaller = ml.fit_mixed("hits ~ phase", small_study, **options)
    found = likelihood_ratio(smaller, larger, simulations=50, seed=5)
    again = likelihood_ratio(smaller, larger, simulations=10, seed=6)
    assert_allclose(
        again.simulated, likelihood_ratio(smaller, larger, simulations=10, seed=6).simulated
    )
    assert abs(found.p_bootstrap - found.p) < 0.2
    assert 0.4 < found.simulated.mean() < 2.0  # chi-squared with one df has mean 1
    assert "p bootstrap" in str(found)
    with pytest.raises(InputError, match="seed"):
        likelihood_ratio(smaller, larger, simulations=10)


def test_bootstrap_intervals_are_near_wald_ones(small_study):
    fit = ml.fit_mixed("radial_error ~ phase", small_study, random=ONE)
    found = bootstrap_intervals(fit, simulations=200, seed=2).set_index("term")
    assert list(found.index[-2:]) == ["sd(participant: Intercept)", "sd(residual)"]
    assert_allclose(found["std_error"].iloc[:3], fit.estimates["std_error"], rtol=0.2)
    assert (found["conf_low"] < found["estimate"]).all()


@pytest.mark.parametrize("random", [ONE, {"participant": "1 + phase"}])
def test_people_left_out_side_by_side_equal_each_left_out_alone(monkeypatch, random):
    rng = np.random.default_rng(3)
    people, phases = np.repeat(np.arange(15), 9), np.tile(np.repeat(["a", "b", "c"], 3), 15)
    own = rng.normal(0, 3, (15, 3))[people, np.tile(np.repeat([0, 1, 2], 3), 15)]
    score = 20 + rng.normal(0, 4, 15)[people] + own + rng.normal(0, 2, 135)
    table = pd.DataFrame(
        {"participant": people, "group": np.where(people % 2, "x", "y"), "phase": phases,
         "score": score}
    ).drop([0, 1, 2, 40])  # fmt: skip
    fit = ml.fit_mixed("score ~ group * phase", table, random=random)
    together = leave_one_out(fit)
    monkeypatch.setattr("motorlearn.mixed.refitting._side_by_side_without", lambda fit: [None] * 15)
    alone = leave_one_out(fit)
    for name in ("estimate", "std_error", "df"):
        assert_allclose(together[name], alone[name], rtol=1e-4, atol=1e-6)
    assert (together["reason"] == "").all()
