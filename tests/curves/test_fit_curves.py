"""Many learners at once: against scipy and the one-learner fit, ragged data, choice, refusals."""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import curve_fit
from scipy.stats import binom, norm

import motorlearn as ml
from motorlearn.exceptions import ColumnError, InputError

TRIALS = np.arange(1.0, 61.0)


def exponential(n, a, g, r):
    return a + g * np.exp(-r * (n - 1))


def power(n, a, g, r):
    return a + g * n ** (-r)


TIGHT = {"maxfev": 20000, "ftol": 1e-15, "xtol": 1e-13, "gtol": 0.0}
CURVES = {"exponential": exponential, "power": power}


def learners(count=40, noise=3.0, seed=1):
    rng = np.random.default_rng(seed)
    a, g = rng.normal(20, 4, count), rng.normal(15, 3, count)
    r = np.exp(rng.normal(np.log(0.08), 0.5, count))
    y = a[:, None] + g[:, None] * np.exp(-r[:, None] * (TRIALS - 1))
    return y + rng.normal(0, noise, y.shape), np.stack([a, g, r], axis=1)


def long_table(y):
    count = len(y)
    return pd.DataFrame(
        {
            "participant": np.repeat([f"p{i:03d}" for i in range(count)], y.shape[1]),
            "trial": np.tile(TRIALS[: y.shape[1]], count),
            "radial_error": y.ravel(),
        }
    )


def fit(table, **options):
    return ml.fit_curves(table, "radial_error", practice="trial", by="participant", **options)


def indexed(fits):
    return fits.table.set_index(["participant", "form"])


def test_never_worse_than_a_well_started_general_optimiser():
    y, truth = learners(150)
    table = indexed(fit(long_table(y)))
    compared = 0
    for i in range(len(y)):
        for form, start in (("exponential", truth[i]), ("power", (15.0, 20.0, 0.5))):
            row = table.loc[(f"p{i:03d}", form)]
            try:
                best, cov = curve_fit(CURVES[form], TRIALS, y[i], p0=start, **TIGHT)
            except RuntimeError:
                continue
            if best[2] <= 0:
                continue
            sse = np.sum((y[i] - CURVES[form](TRIALS, *best)) ** 2)
            assert row["sse"] <= sse * (1 + 1e-6)
            if row["status"] == "ok" and abs(sse / row["sse"] - 1) < 1e-9:
                compared += 1
                errors = row[["se_asymptote", "se_gain", "se_rate"]].to_numpy(float)
                assert errors == pytest.approx(np.sqrt(np.diag(cov)), rel=1e-4)
    assert compared > 100


@pytest.mark.parametrize("form", ml.curves.FORMS)
def test_agrees_with_the_fit_of_one_learner(form):
    y, _ = learners(12)
    holes = y.copy()
    holes[np.random.default_rng(2).random(y.shape) < 0.1] = np.nan
    for scores in (y, holes):
        table = indexed(fit(long_table(scores), forms=(form,)))
        for i in range(len(y)):
            one = ml.fit_curve(TRIALS, scores[i], form=form)
            row = table.loc[(f"p{i:03d}", form)]
            assert row["n"] == one.n
            runaway = row["status"] == "rate at a bound"
            assert row["sse"] == pytest.approx(one.sse, rel=1e-4 if runaway else 1e-6)
            if one.status == "ok" and not one.recipe.at_bound:
                errors = one.estimates.set_index("term")["std_error"]
                assert row["status"] == "ok"
                assert abs(row["rate"] - one.value("rate")) < 5e-3 * errors["rate"]
                assert row["se_asymptote"] == pytest.approx(errors["asymptote"], rel=5e-3)
            assert row["aicc"] == pytest.approx(one.aicc, abs=1e-2 if runaway else 1e-4)


def test_ragged_and_irregular_practice_counts():
    rng = np.random.default_rng(3)
    rows = []
    for i in range(10):
        n = np.sort(rng.choice(np.arange(1, 200), size=rng.integers(25, 60), replace=False))
        y = exponential(n, 20, 15, 0.03) + rng.normal(0, 1, n.size)
        rows.append(pd.DataFrame({"participant": i, "trial": n, "radial_error": y}))
    table = pd.concat(rows)
    found = indexed(fit(table))
    for i, part in table.groupby("participant"):
        for form in ("exponential", "power"):
            one = ml.fit_curve(part["trial"], part["radial_error"], form=form)
            assert found.loc[(i, form), "sse"] == pytest.approx(one.sse, rel=1e-6)


def test_hits_of_unequal_attempts():
    rng = np.random.default_rng(4)
    blocks = np.arange(1.0, 13.0)
    rows = []
    for i in range(8):
        attempts = rng.integers(6, 19, blocks.size)
        logit = 1.0 - 2.5 * np.exp(-0.3 * (blocks - 1))
        hits = rng.binomial(attempts, 1 / (1 + np.exp(-logit)))
        rows.append(
            pd.DataFrame({"participant": i, "block": blocks, "hits": hits, "throws": attempts})
        )
    table = pd.concat(rows)
    fits = ml.fit_curves(table, "hits", practice="block", by="participant", attempts="throws")
    assert fits.family == "binomial"
    found = indexed(fits)
    for i, part in table.groupby("participant"):
        one = ml.fit_curve(part["block"], part["hits"], attempts=part["throws"])
        assert found.loc[(i, "exponential"), "loglik"] == pytest.approx(one.loglik, abs=1e-6)
        assert found.loc[(i, "exponential"), "sse"] == pytest.approx(one.sse, abs=1e-6)


def test_order_of_rows_and_labels_do_not_matter():
    y, _ = learners(15)
    table = long_table(y)
    straight = indexed(fit(table))
    mixed = table.sample(frac=1, random_state=1)
    shuffled = indexed(fit(mixed)).loc[straight.index]
    clear = (straight["status"] == "ok").to_numpy()
    for name in ("sse", "rate", "asymptote", "se_rate"):
        assert shuffled[name][clear].to_numpy() == pytest.approx(straight[name][clear], rel=1e-5)
    assert shuffled["sse"].to_numpy() == pytest.approx(straight["sse"], rel=1e-8)
    renamed = table.assign(participant=table["participant"].map(lambda p: hash(p) % 10**9))
    assert np.array_equal(fit(renamed).table["rate"], straight["rate"], equal_nan=True)


def test_noise_free_curves_are_recovered():
    y, truth = learners(30, noise=0.0)
    rows = indexed(fit(long_table(y))).xs("exponential", level="form")
    assert rows[["asymptote", "gain", "rate"]].to_numpy() == pytest.approx(truth, rel=1e-6)


def test_the_true_form_is_preferred_and_ties_are_no_preference():
    y, _ = learners(60, noise=0.3)
    fits = fit(long_table(y))
    assert (fits.preferred["form"] == "exponential").mean() > 0.9
    rng = np.random.default_rng(5)
    powers = np.array([power(TRIALS, 18, 18, 0.6) + rng.normal(0, 0.3, 60) for _ in range(60)])
    assert (fit(long_table(powers)).preferred["form"] == "power").mean() > 0.9
    short = fit(long_table(y[:, :6] + rng.normal(0, 2, (60, 6))))
    assert "no preference" in set(short.preferred["form"])
    weights = fits.table.groupby("participant")["weight_aicc"].sum()
    assert weights.to_numpy() == pytest.approx(1.0)


def test_the_table_has_the_columns_of_its_forms_and_none_of_the_search():
    table = fit(long_table(learners(2)[0][:, :12]), forms=("exponential", "s_shaped")).table
    rates = ["rate", "midpoint"]
    assert list(table) == [
        "participant", "form", "n", "asymptote", "gain", *rates, "start", "se_asymptote", "se_gain",
        *(f"se_{name}" for name in rates), "sse", "loglik", "aicc", "bic", "status", "converged",
        "weight_aicc", "weight_bic",
    ]  # fmt: skip


def test_hopeless_learners_keep_a_row_with_a_status():
    y, _ = learners(4)
    y[0] = 7.0
    y[1, 2:] = np.nan
    table = fit(long_table(y)).table.set_index(["participant", "form"])
    assert table.loc[("p000", "exponential"), "status"] == "no change"
    assert table.loc[("p001", "power"), "status"] == "too few trials"
    assert table.loc[("p001", "power"), "n"] == 2
    assert table.loc[("p002", "exponential"), "status"] == "ok"
    assert len(table) == 8


def test_missing_outcomes_are_listed():
    y, _ = learners(3)
    y[1, :4] = np.nan
    left = fit(long_table(y)).recipe.left_out
    assert left[["participant", "rows"]].to_numpy().tolist() == [["p001", 4]]


def test_several_columns_tell_learners_apart():
    y, _ = learners(6)
    table = long_table(y).assign(task="straight")
    both = pd.concat([table, table.assign(task="bank")])
    fits = ml.fit_curves(both, "radial_error", practice="trial", by=["participant", "task"])
    assert len(fits.preferred) == 12
    assert list(fits.table.columns[:3]) == ["participant", "task", "form"]


def test_what_a_bound_leaves_unknown_is_missing_and_not_there_to_be_averaged():
    rng = np.random.default_rng(8)
    y = 40 - 0.2 * TRIALS - 0.001 * TRIALS**2 + rng.normal(0, 0.5, (4, 60))
    found = indexed(fit(long_table(y), forms=("exponential",)))
    for i in range(4):
        row = found.loc[(f"p{i:03d}", "exponential")]
        one = ml.fit_curve(TRIALS, y[i])
        terms = one.estimates.set_index("term")
        assert row["status"] == one.status == "rate at a bound"
        for term in ("asymptote", "gain", "rate"):
            assert np.isnan(row[term]) and np.isnan(row[f"se_{term}"])
            assert terms.loc[term, ["estimate", "std_error", "conf_low", "conf_high"]].isna().all()
        assert np.isnan(one.value("half_life"))
        assert row["start"] == pytest.approx(one.value("start"), rel=1e-6)
        assert one.predict(TRIALS) == pytest.approx(np.polyval(np.polyfit(TRIALS, y[i], 1), TRIALS))


def test_averages_bring_a_warning():
    y, _ = learners(12)
    table = long_table(y).assign(group=np.repeat(["blocked", "random"], 6 * 60))
    means = table.groupby(["group", "trial"], as_index=False)["radial_error"].mean()
    pooled = ml.fit_curves(means, "radial_error", practice="trial", by="group")
    assert "average" in pooled.warnings[0]
    assert fit(table).warnings == ()


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        (lambda t: t.drop(columns="trial"), ColumnError, "trial"),
        (lambda t: t.assign(trial=t["trial"] - 1), InputError, "at least 1"),
        (lambda t: t.assign(radial_error=np.inf), InputError, "infinite"),
        (lambda t: pd.concat([t, t.iloc[[3]]]), InputError, "more than once for p000"),
        (lambda t: pd.concat([t, t]), InputError, "twice"),
        (
            lambda t: t.assign(participant=t["participant"].where(t["trial"] > 1)),
            InputError,
            "no learner",
        ),
        (lambda t: t.iloc[:0], InputError, "no rows"),
    ],
)
def test_bad_tables_are_refused_in_a_sentence(change, error, words):
    y, _ = learners(3)
    with pytest.raises(error, match=words):
        fit(change(long_table(y)))


def test_weights_and_repeated_blocks_agree_with_the_fit_of_one_learner():
    rng = np.random.default_rng(6)
    rows = []
    for i in range(8):
        block = np.repeat(np.arange(1.0, 13.0), 4)[: 48 - 2 * i]
        y = exponential(block, 20, 12, 0.3) + rng.normal(0, 1.5, block.size)
        weight = rng.integers(1, 6, block.size)
        rows.append(
            pd.DataFrame({"participant": i, "trial": block, "radial_error": y, "weight": weight})
        )
    table = pd.concat(rows)
    for options in ({}, {"weights": "weight"}):
        found = indexed(fit(table, **options))
        for i, part in table.groupby("participant"):
            for form in ("exponential", "power"):
                weights = part["weight"] if options else None
                one = ml.fit_curve(part["trial"], part["radial_error"], form=form, weights=weights)
                row = found.loc[(i, form)]
                errors = one.estimates.set_index("term")["std_error"]
                assert row["sse"] == pytest.approx(one.sse, rel=1e-7)
                assert row["loglik"] == pytest.approx(one.loglik, abs=1e-5)
                assert row["status"] == one.status
                if one.status == "ok":
                    assert row["se_asymptote"] == pytest.approx(errors["asymptote"], rel=1e-4)
                    assert row["se_rate"] == pytest.approx(errors["rate"], rel=1e-4)


def test_weighted_likelihood_of_a_form_with_two_rates_is_that_of_normal_scores():
    rng = np.random.default_rng(7)
    weight = rng.integers(1, 6, TRIALS.size).astype(float)
    y = 20 + 30 * (TRIALS + 5) ** -0.8 + rng.normal(0, 1, TRIALS.size) / np.sqrt(weight)
    table = long_table(y[None]).assign(weight=weight)
    row = fit(table, forms=("power_prior",), weights="weight").table.iloc[0]
    height = row["gain"] * (TRIALS + row["prior_practice"]) ** -row["rate"]
    residual = y - row["asymptote"] - height
    variance = np.sum(weight * residual**2) / TRIALS.size
    expected = norm.logpdf(residual, scale=np.sqrt(variance / weight)).sum()
    assert row["loglik"] == pytest.approx(expected, abs=1e-8)


def test_criteria_of_hits_count_the_parameters_of_the_curve_alone():
    rng = np.random.default_rng(8)
    block = np.arange(1.0, 31.0)
    chance = 1 / (1 + np.exp(-exponential(block, 1.0, -2.5, 0.2)))
    table = pd.DataFrame({"who": "a", "block": block, "hits": rng.binomial(18, chance)})
    table["throws"] = 18
    fits = ml.fit_curves(table, "hits", practice="block", by="who", attempts="throws")
    row = fits.table.set_index("form").loc["exponential"]
    logit = row["asymptote"] + row["gain"] * np.exp(-row["rate"] * (block - 1))
    loglik = binom.logpmf(table["hits"], 18, 1 / (1 + np.exp(-logit))).sum()
    assert row["loglik"] == pytest.approx(loglik, abs=1e-8)
    assert row["aicc"] == pytest.approx(-2 * loglik + 2 * 3 + 2 * 3 * 4 / (30 - 3 - 1), abs=1e-7)
    assert row["bic"] == pytest.approx(-2 * loglik + 3 * np.log(30), abs=1e-7)


def test_learners_who_join_late_are_fitted_as_well_as_alone():
    y, _ = learners(20, seed=9)
    for i in range(20):
        y[i, : 2 * (i % 7)] = np.nan
    found = indexed(fit(long_table(y)))
    for i in range(20):
        for form in ("exponential", "power"):
            one = ml.fit_curve(TRIALS, y[i], form=form)
            assert found.loc[(f"p{i:03d}", form), "sse"] <= one.sse * (1 + 1e-6)
