"""Quantities of curves: hand answers, known intervals, contrasts of groups, refusals."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from scipy.optimize import curve_fit

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


@pytest.mark.parametrize("form", ["exponential", "power", "s_shaped", "apex"])
def test_a_fit_and_its_quantities_tell_one_half_life(form):
    y = CURVE + np.random.default_rng(3).normal(0, 1.5, TRIAL.size)
    fit = ml.fit_curve(TRIAL, y, form=form, interval="sandwich")
    told = curve_quantities(fit).estimates.set_index("quantity").loc["half_life"]
    assert np.isfinite(told["conf_high"])
    own = fit.estimates.set_index("term").loc["half_life"]
    for column in ("estimate", "conf_low", "conf_high"):
        assert told[column] == pytest.approx(own[column], rel=1e-6)


def test_a_half_life_of_two_rates_errs_with_both():
    # Against the covariance of scipy's curve_fit and the slope of the half-life by hand.
    def curve(n, a, g, r, m):
        return a + g / (1 + np.exp(r * (n - m)))

    y = curve(TRIAL, 20, 12, 0.2, 20) + np.random.default_rng(5).normal(0, 1.5, TRIAL.size)
    point, cover = curve_fit(curve, TRIAL, y, p0=(20, 12, 0.2, 20))

    def half_life(r, m):
        # f(n) is half of f(1) where exp(r(n - m)) is 2/f(1) - 1 = 1 + 2 exp(r(1 - m)).
        return m + np.log(1 + 2 * np.exp(r * (1 - m))) / r - 1

    h = 1e-6
    slope = [
        (half_life(point[2] + h, point[3]) - half_life(point[2] - h, point[3])) / (2 * h),
        (half_life(point[2], point[3] + h) - half_life(point[2], point[3] - h)) / (2 * h),
    ]
    error = np.sqrt(slope @ cover[2:, 2:] @ slope)
    own = ml.fit_curve(TRIAL, y, form="s_shaped").estimates.set_index("term").loc["half_life"]
    assert own["estimate"] == pytest.approx(half_life(*point[2:]), rel=1e-5)
    assert own["std_error"] == pytest.approx(error, rel=1e-4)
    wide = np.exp(stats.t.isf(0.025, TRIAL.size - 4) * error / own["estimate"])
    assert own["conf_low"] == pytest.approx(own["estimate"] / wide, rel=1e-4)
    assert own["conf_high"] == pytest.approx(own["estimate"] * wide, rel=1e-4)


def test_the_half_life_of_a_power_curve_has_the_limits_of_its_log_rate():
    y = 20 + 12 * TRIAL**-0.5 + np.random.default_rng(4).normal(0, 0.7, TRIAL.size)
    fit = ml.fit_curve(TRIAL, y, form="power")
    table = fit.estimates.set_index("term")
    rate, error = table.loc["rate", ["estimate", "std_error"]]
    wide = np.exp(stats.t.isf(0.025, fit.df) * error / rate)
    assert table.at["half_life", "conf_low"] == pytest.approx(2 ** (1 / (rate * wide)) - 1)
    assert table.at["half_life", "conf_high"] == pytest.approx(2 ** (1 / (rate / wide)) - 1)
