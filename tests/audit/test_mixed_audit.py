"""Audit of mixed models: modes, simulated residuals, removals, and what is flagged."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import motorlearn as ml
from motorlearn.audit.mixed.consequences import rate_under_variances, serial_factor
from motorlearn.audit.mixed.leave_out import fit_without_each
from motorlearn.audit.mixed.model import MixedModel
from motorlearn.audit.mixed.refits import conclusions, robust_conclusions, with_row_effects

PHASES = ("pretest", "retention")


def hits(seed=0, n=20, attempts=20, sd=0.6, extra=0.0, effects=None, level=0.0):
    """Hits of 20 at two tests, three groups; ``extra`` adds scatter by row."""
    rng = np.random.default_rng(seed)
    rows = []
    for group in ("blocked", "random", "serial"):
        for i in range(n):
            b = sd * (rng.normal() if effects is None else effects(rng))
            for phase in PHASES:
                eta = level + b + 0.5 * (phase == "retention") + extra * rng.normal()
                k = rng.binomial(attempts, 1 / (1 + np.exp(-eta)))
                rows.append((f"{group[0]}{i:02d}", group, phase, k, attempts))
    columns = ["participant", "group", "phase", "hits", "attempts"]
    return pd.DataFrame(rows, columns=columns)


def errors(seed=0, n=10, trials=10, spread=(1.0, 1.0, 1.0), rho=0.0, shape=None):
    """Trial errors of two tests, three groups, possibly correlated from trial to trial."""
    rng = np.random.default_rng(seed)
    rows = []
    for g, group in enumerate(("blocked", "random", "serial")):
        for i in range(n):
            b = 3 * rng.normal()
            for phase in PHASES:
                last = 0.0
                for trial in range(trials):
                    fresh = rng.normal() if shape is None else shape(rng)
                    last = rho * last + np.sqrt(1 - rho**2) * fresh
                    y = 30 + b - 4 * (phase == "retention") + 5 * spread[g] * last
                    rows.append((f"{group[0]}{i:02d}", group, phase, trial, y))
    return pd.DataFrame(rows, columns=["participant", "group", "phase", "trial", "radial_error"])


def fit_hits(table, **options):
    options = {
        "random": {"participant": "1"},
        "family": "binomial",
        "attempts": "attempts",
    } | options
    return ml.fit_mixed("hits ~ group * phase", table, **options)


def fit_errors(table, **options):
    options = {"random": {"participant": "1"}} | options
    return ml.fit_mixed("radial_error ~ group * phase", table, **options)


def grade(fit, words, **options):
    options = {"remedies": False, "simulations": 199} | options
    table = ml.check_assumptions(fit, **options).table
    chosen = table[table["assumption"].str.contains(words, regex=False)]
    assert len(chosen) == 1, table["assumption"].tolist()
    return chosen.iloc[0]


# Equivalence ------------------------------------------------------------------------------------


@pytest.mark.parametrize("make", [lambda: fit_hits(hits()), lambda: fit_errors(errors())])
def test_modes_equal_those_of_the_fit(make):
    fit = make()
    model = MixedModel(fit)
    effects = model.first_effects(model.modes(fit.observed))[:, 0]
    sd = np.sqrt(fit.covariances["participant"][0, 0])
    assert effects * sd == pytest.approx(fit.effects["estimate"].to_numpy(), abs=1e-5)


def test_removal_of_a_participant_equals_a_new_fit_of_hits():
    table = hits(n=8)
    removed = fit_without_each(MixedModel(fit_hits(table)))
    for person in ("b03", "s07"):
        again = fit_hits(table[table["participant"] != person])
        own = removed[removed["participant"] == person]
        assert own["contrast"].tolist() == again.estimates["term"].tolist()
        assert own["estimate"].to_numpy() == pytest.approx(again.beta, abs=1e-4)


def test_removal_of_a_participant_equals_a_new_linear_fit():
    table = errors()
    fit = fit_errors(table)
    removed = fit_without_each(MixedModel(fit))
    again = fit_errors(table[table["participant"] != "r04"])
    own = removed[removed["participant"] == "r04"]
    errors_of = again.estimates["std_error"].to_numpy()
    assert np.abs(own["estimate"].to_numpy() - again.beta).max() < 1e-4 * errors_of.min()


def test_removal_with_crossed_factors_agrees_with_a_new_fit():
    table = errors(n=6).assign(item=lambda t: t["trial"] % 5)
    random = {"participant": "1", "item": "1"}
    removed = fit_without_each(MixedModel(fit_errors(table, random=random)))
    again = fit_errors(table[table["participant"] != "b02"], random=random)
    own = removed[removed["participant"] == "b02"]
    step = np.abs(own["estimate"].to_numpy() - again.beta) / again.estimates["std_error"].to_numpy()
    assert step.max() < 1e-3


def test_row_effects_vanish_where_there_is_no_overdispersion_and_show_where_there_is():
    clean, rough = (with_row_effects(fit_hits(hits(seed=1, extra=e))) for e in (0.0, 0.8))
    assert clean.covariances["row"][0, 0] < 0.1
    assert rough.covariances["row"][0, 0] == pytest.approx(0.64, rel=0.5)


# What is flagged --------------------------------------------------------------------------------


def test_clean_hits_and_clean_errors_pass():
    for fit in (fit_hits(hits()), fit_errors(errors())):
        table = ml.check_assumptions(fit, simulations=150, remedies=False).table
        assert not table["grade"].isin(["act"]).any()
        assert (table["grade"] == "fine").mean() > 0.8


def test_overdispersion_is_flagged_and_row_effects_widen_the_interval():
    fit = fit_hits(hits(extra=0.9))
    found = grade(fit, "scatter as a binomial", remedies=True)
    assert found["grade"] != "fine"
    assert found["value"] > 1.2
    larger = with_row_effects(fit)
    place = fit.fixed_names.index("group[T.random]:phase[T.retention]")
    errors_of = [one.estimates["std_error"].iloc[place] for one in (fit, larger)]
    assert errors_of[1] > 1.2 * errors_of[0]


def test_unequal_spread_between_groups_is_flagged():
    found = grade(fit_errors(errors(spread=(0.4, 0.4, 2.5))), "alike in every group")
    assert found["grade"] == "act"
    assert found["value"] == pytest.approx(0.105, abs=0.02)  # both formulas by hand
    assert grade(fit_errors(errors(spread=(0.7, 1.0, 1.4))), "alike in every group")["value"] < 0.06


def test_tests_of_unequal_spread_are_flagged_by_their_rate():
    """One score per person and test, SD 3, 3 and 9: 26 % false positives at the wide test."""
    rng, rows = np.random.default_rng(1), []
    for group in ("blocked", "random"):
        for i in range(16):
            level = rng.normal()
            for phase, sd in (("pretest", 3), ("retention", 3), ("transfer", 9)):
                score = 30 + sd * (level + rng.normal()) / np.sqrt(2)
                rows.append((f"{group}{i}", group, phase, score))
    table = pd.DataFrame(rows, columns=["participant", "group", "phase", "radial_error"])
    found = grade(fit_errors(table), "alike in every phase", remedies=True)
    assert found["grade"] == "act"
    assert found["value"] > 0.075
    assert "jackknife" in found["remedied"]


def test_serial_factor_is_that_of_a_mean_of_correlated_trials():
    rho, m = 0.4, 7
    place = np.arange(m)
    matrix = rho ** np.abs(place[:, None] - place)
    assert serial_factor(rho, np.array([7.0]))[0] == pytest.approx(matrix.sum() / m)


def test_the_rate_under_equal_variances_is_the_nominal_one():
    model = MixedModel(fit_errors(errors(n=6)))
    rate = rate_under_variances(model, model.focus(), np.ones(model.cells))
    assert rate == pytest.approx(0.05, abs=1e-6)
    # Four times the residual variance everywhere: the contrast of phases has no other part.
    wide = rate_under_variances(model, model.focus(), np.full(model.cells, 4.0))
    df = model.fit.estimates["df"].to_numpy()[model.focus()[0]]
    assert wide == pytest.approx(2 * stats.t.sf(stats.t.isf(0.025, df) / 2, df), rel=1e-6)


def test_serial_correlation_is_flagged():
    found = grade(fit_errors(errors(rho=0.5, trials=20)), "depend on the one before")
    assert found["grade"] != "fine"
    assert 0.2 < found["value"] < 0.6


def test_skewed_residuals_are_flagged():
    fit = fit_errors(errors(shape=lambda rng: rng.exponential() ** 1.5 - 1.3))
    assert grade(fit, "residuals are roughly normal")["grade"] != "fine"


def test_skewed_random_effects_are_flagged():
    fit = fit_hits(hits(n=30, sd=1.0, effects=lambda rng: 0.8 * (rng.exponential() ** 1.4 - 1.2)))
    assert grade(fit, "random effects are roughly normal")["grade"] != "fine"


def test_ceiling_is_flagged():
    found = grade(fit_hits(hits(level=3.5)), "floor or ceiling")
    assert found["grade"] != "fine"
    assert "ceiling" in found["finding"]


def test_wald_tests_with_few_participants_need_action():
    table = errors(n=5)
    normal = grade(fit_errors(table, df="normal"), "few participants", remedies=True)
    assert normal["grade"] == "act"
    assert "Satterthwaite" in normal["remedied"]
    assert grade(fit_errors(table), "few participants")["grade"] == "fine"


def test_a_missing_random_slope_is_found():
    rng = np.random.default_rng(4)
    table = errors(n=12, seed=4)
    change = dict(zip(table["participant"].unique(), 6 * rng.normal(size=36)))
    table["radial_error"] += table["participant"].map(change) * (table["phase"] == "retention")
    found = grade(fit_errors(table), "slopes of their own", remedies=True)
    assert found["grade"] == "act"
    assert "random slope of phase" in found["remedied"]


def test_laplace_is_compared_with_quadrature():
    rough = grade(fit_hits(hits(attempts=3, sd=1.8)), "approximation", remedies=True)
    smooth = grade(fit_hits(hits(attempts=40)), "approximation", remedies=True)
    assert rough["value"] > smooth["value"]
    assert smooth["grade"] == "fine"
    assert "15 quadrature points" in smooth["remedied"]


def test_single_attempts_cannot_show_overdispersion_but_are_audited():
    table = hits(n=8)
    single = table.loc[table.index.repeat(table["attempts"])].reset_index(drop=True)
    order = single.groupby(["participant", "phase"]).cumcount()
    single["hit"] = (order < single["hits"]).astype(int)
    fit = ml.fit_mixed(
        "hit ~ group * phase", single, random={"participant": "1"}, family="binomial"
    )
    found = grade(fit, "scatter as a binomial")
    assert found["grade"] in ("fine", "look")


def test_same_seed_same_audit():
    fit = fit_hits(hits(n=8))
    first, second = (ml.check_assumptions(fit, simulations=60, seed=5).table for _ in range(2))
    pd.testing.assert_frame_equal(first, second)


def test_jackknife_agrees_with_the_model_where_the_model_is_right():
    fit = fit_errors(errors(n=14))
    model = MixedModel(fit)
    focus = model.focus()
    robust = robust_conclusions(fit, focus, fit_without_each(model))
    for before, after in zip(conclusions(fit, focus), robust):
        assert after.estimate == pytest.approx(before.estimate)
        ratio = (after.conf_high - after.conf_low) / (before.conf_high - before.conf_low)
        assert 0.6 < ratio < 1.6


# Residual covariances ---------------------------------------------------------------------------


def wider_tests(rng, n=16):
    rows = []
    for group in ("blocked", "random"):
        for i in range(n):
            person = rng.normal()
            for test, sd in (("pretest", 3.0), ("posttest", 3.0), ("retention", 9.0)):
                score = 40 + sd * (0.7 * person + 0.7 * rng.normal())
                rows.append((f"{group}{i}", group, test, score))
    return pd.DataFrame(rows, columns=["participant", "group", "phase", "radial_error"])


@pytest.mark.parametrize("free", [False, True])
def test_a_model_with_a_spread_for_each_test_is_judged_by_it(free):
    """Tests that scatter 1 : 1 : 3: an act for one variance, nothing where the model allows it."""
    table = wider_tests(np.random.default_rng(3))
    options = {"random": {"participant": "1"}, "variance": "phase"}
    if free:
        options = {"random": {"participant": "0"}, "variance": "phase", "within": "phase",
                   "correlation": "unstructured", "df": "kenward-roger"}  # fmt: skip
    fit = ml.fit_mixed("radial_error ~ group * phase", table, **options)
    audit = ml.check_assumptions(fit, simulations=200, remedies=False)
    found = audit.table.set_index("assumption")
    assert found.loc["residuals spread alike in every phase", "grade"] == "fine"
    assert ("no random variance is zero" in found.index) is not free
    if free:
        assert audit.residuals["residual"].std() == pytest.approx(1, abs=0.05)
    plain = ml.fit_mixed("radial_error ~ group * phase", table, random={"participant": "1"})
    alike = ml.check_assumptions(plain, simulations=200, remedies=False).table
    alike = alike.set_index("assumption").loc["residuals spread alike in every phase"]
    assert alike["grade"] == "act"


def test_correlated_residuals_are_turned_independent():
    """Whitening by the Cholesky root: of the model's own draws the covariance is the identity."""
    fit = ml.fit_mixed(
        "radial_error ~ group * phase", wider_tests(np.random.default_rng(3)), variance="phase",
        random={"participant": "0"}, correlation="unstructured", within="phase",
    )  # fmt: skip
    model = MixedModel(fit)
    drawn = model.simulate(np.random.default_rng(1), 4000)
    found = model.standardised(drawn, model.conditional(np.zeros((0, 1))))
    own = found[fit.design.random[0].index[fit.design.cell] == 0]
    assert np.cov(own) == pytest.approx(np.eye(3), abs=0.08)


def test_modes_of_many_data_sets_are_those_of_each_alone():
    """Batched Newton steps of one factor against steps by a sparse factorisation."""
    rng = np.random.default_rng(2)
    table = wider_tests(rng, 8).assign(hits=rng.binomial(20, 0.6, 48), attempts=20)
    fit = ml.fit_mixed("hits ~ group * phase", table, random={"participant": "1 + phase"},
                       family="binomial", attempts="attempts")  # fmt: skip
    model = MixedModel(fit)
    rows = model.simulate(rng, 5)
    u, hits = model.modes(rows), model.by_cell(rows)
    for place in range(5):
        p = model.mean(model.conditional(u[:, [place]]))[:, 0]
        slope = model.loadings.T @ (hits[:, place] - model.weight * p) - u[:, place]
        assert np.abs(slope).max() < 1e-4


def test_one_zero_that_chance_gives_in_a_quarter_of_studies_is_no_finding():
    rng = np.random.default_rng([1000, 23])
    rows = []
    for group in ("blocked", "random", "serial"):
        for i in range(24):
            own = 0.7 * rng.normal()
            for phase, shift in (("pretest", -0.5), ("retention", 0.3)):
                p = 1 / (1 + np.exp(-(own + shift + 0.0 * rng.normal())))
                rng.random()
                rows.append((f"{group}{i}", group, phase, rng.binomial(20, p), 20))
    table = pd.DataFrame(rows, columns=["participant", "group", "phase", "hits", "attempts"])
    assert (table["hits"] == 0).sum() == 1
    fit = ml.fit_mixed(
        "hits ~ group * phase", table, family="binomial", random={"participant": "1"},
        attempts="attempts",
    )  # fmt: skip
    found = ml.check_assumptions(fit).table.set_index("assumption")
    row = found.loc["no more scores of zero than the model expects"]
    assert row["value"] > 3 and row["grade"] == "fine"
    assert "chance alone gives as much in 24.8 %" in row["finding"]
