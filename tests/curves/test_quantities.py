"""Quantities of curves: hand answers, known intervals, contrasts of groups, refusals."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.curves import curve_quantities
from motorlearn.exceptions import InputError

TRIAL = np.arange(1.0, 61.0)
CURVE = 20 + 15 * np.exp(-0.1 * (TRIAL - 1))


def test_quantities_of_a_curve_without_noise_are_those_of_paper_and_pencil():
    found = curve_quantities(
        ml.fit_curve(TRIAL, CURVE), level_at=[11], rate_at=[11], criterion=25.0
    ).estimates.set_index("quantity")["estimate"]
    assert found["level_at"] == pytest.approx(20 + 15 / np.e, rel=1e-6)
    assert found["rate_at"] == pytest.approx(1.5 / np.e, rel=1e-5)
    assert found["trials_to"] == pytest.approx(1 + 10 * np.log(3), rel=1e-6)
    assert found["half_life"] == pytest.approx(10 * np.log(2), rel=1e-6)


def test_intervals_of_a_level_cover_what_they_promise():
    inside = []
    for seed in range(60):
        y = CURVE + np.random.default_rng(seed).normal(0, 1.5, TRIAL.size)
        table = curve_quantities(ml.fit_curve(TRIAL, y), level_at=[20]).estimates
        inside.append(table.loc[0, "conf_low"] <= CURVE[19] <= table.loc[0, "conf_high"])
    # Binomial(60, .95) is below 52 with probability .009 (scipy.stats.binom).
    assert sum(inside) >= 52


def test_groups_are_compared_by_differences_of_levels_and_ratios_of_times():
    rng = np.random.default_rng(5)
    parts = []
    for who in range(40):
        rate = np.exp(np.log(0.1 if who % 2 else 0.2) + rng.normal(0, 0.2))
        y = rng.normal(20, 1) + 15 * np.exp(-rate * (TRIAL - 1)) + rng.normal(0, 1, 60)
        parts.append(
            pd.DataFrame({"participant": who, "group": "ab"[who % 2], "n": TRIAL, "error": y})
        )
    fit = ml.fit_population_curve(
        pd.concat(parts), "error", practice="n", group="group", vary=("asymptote", "rate")
    )
    found = curve_quantities(fit, level_at=[11], criterion=25.0).contrasts.set_index("quantity")
    assert found.loc["half_life", "conf_low"] < 2.0 < found.loc["half_life", "conf_high"]
    assert found.loc["half_life", "kind"] == "ratio"
    wanted = 15 * (np.exp(-1.0) - np.exp(-2.0))
    assert found.loc["level_at", "conf_low"] < wanted < found.loc["level_at", "conf_high"]
    delta = fit.estimates.set_index("term").loc["log_rate[b]", "estimate"]
    assert found.loc["half_life", "estimate"] == pytest.approx(np.exp(-delta), rel=1e-8)


def test_what_is_not_estimated_is_missing_with_its_reason():
    y = 20 + np.random.default_rng(3).normal(0, 1, TRIAL.size)
    found = curve_quantities(ml.fit_curve(TRIAL, y), level_at=[5]).estimates
    row = found.set_index("quantity").loc["half_life"]
    assert np.isnan(row["estimate"]) and row["reason"] == "no change"
    far = curve_quantities(ml.fit_curve(TRIAL, CURVE + 0.1 * np.sin(TRIAL)), criterion=5.0)
    assert "does not reach" in far.estimates.iloc[-1]["reason"]


def test_what_is_no_curve_is_refused():
    fit = ml.fit_curve(TRIAL, CURVE + 0.1 * np.sin(TRIAL))
    for call in (
        lambda: curve_quantities(fit.estimates),
        lambda: curve_quantities(fit, level=95),
        lambda: curve_quantities(fit, level_at=["x"]),
        lambda: curve_quantities(fit, criterion=np.nan),
    ):
        with pytest.raises(InputError):
            call()


def test_savings_are_a_row_of_each_session_and_one_of_a_population():
    rng, day = np.random.default_rng(1), np.repeat([1, 2, 3], 20)
    rise = 3 * np.exp(-0.1 * (TRIAL - 21)) * (day > 1)
    y = CURVE + rise + rng.normal(0, 0.5, 60)
    fit = ml.fit_curve(TRIAL, y, session=day, restart="savings")
    found = curve_quantities(fit).estimates.query("quantity == 'savings'")
    assert found["at"].tolist() == [21.0, 41.0]
    # What is gained by trial 21 is 15 (1 - exp(-2)); 3 of it are lost.
    gained = 15 * (1 - np.exp(-2))
    assert found["conf_low"].iloc[0] < 1 - 3 / gained < found["conf_high"].iloc[0]
    table = fit.estimates.set_index("term").loc["savings[2]"]
    assert found[["estimate", "conf_low", "conf_high"]].iloc[0].tolist() == pytest.approx(
        table[["estimate", "conf_low", "conf_high"]].tolist()
    )
    assert "savings" not in curve_quantities(ml.fit_curve(TRIAL, y)).estimates["quantity"].tolist()


def test_a_half_life_of_several_rates_is_as_uncertain_as_refits_scatter():
    trial = np.arange(1.0, 41.0)
    truth = 20 + 15 / (1 + np.exp(0.4 * (trial - 15)))
    rng, halves, errors = np.random.default_rng(4), [], []
    for _ in range(40):
        fit = ml.fit_curve(trial, truth + rng.normal(0, 1, 40), form="s_shaped")
        row = fit.estimates.set_index("term").loc["half_life"]
        halves.append(row["estimate"])
        errors.append(row["std_error"])
    # The SD of 40 numbers is known to within 11 %.
    assert np.std(halves, ddof=1) == pytest.approx(np.mean(errors), rel=0.33)
    told = curve_quantities(fit).estimates.set_index("quantity").loc["half_life"]
    ends = ["conf_low", "conf_high"]
    assert row[ends].tolist() == pytest.approx(told[ends].tolist(), rel=1e-4)
