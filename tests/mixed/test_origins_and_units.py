"""Neither the origin of a covariate nor the unit or level of the outcome changes what is found."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

import motorlearn as ml
from motorlearn.exceptions import FitError
from motorlearn.mixed import fit_linear_many, profile_intervals

SLOPES = {"Subject": "1 + Days"}
METHODS = ("satterthwaite", "kenward-roger")


@pytest.mark.parametrize("df", METHODS)
@pytest.mark.parametrize("shift", [5000, 30000, 1e8])
def test_days_since_long_ago(published, sleepstudy, shift, df):
    # Balanced sleepstudy has a closed form; the slope does not know where day zero is.
    expected = published["sleepstudy_closed_form"]["REML"]
    table = sleepstudy.assign(Days=sleepstudy["Days"] + shift)
    fit = ml.fit_mixed("Reaction ~ Days", table, random=SLOPES, df=df)
    slope = fit.estimates.iloc[1]
    assert_allclose(slope["estimate"], expected["fixef"][1], rtol=1e-6)
    assert_allclose(slope["std_error"], expected["se"][1], rtol=1e-6)
    assert_allclose(slope["df"], 17, rtol=1e-4)
    assert_allclose(-2 * fit.loglik, expected["crit"], atol=1e-5)
    assert fit.converged and not fit.singular and not fit.warnings


@pytest.mark.parametrize("df", METHODS)
@pytest.mark.parametrize("level", [1e8, 1e9])
def test_an_outcome_far_from_zero(published, sleepstudy, level, df):
    expected = published["sleepstudy_closed_form"]["REML"]
    table = sleepstudy.assign(Reaction=sleepstudy["Reaction"] + level)
    fit = ml.fit_mixed("Reaction ~ Days", table, random=SLOPES, df=df)
    assert_allclose(fit.estimates["std_error"], expected["se"], rtol=1e-5)
    assert_allclose(fit.beta - [level, 0], expected["fixef"], rtol=1e-6)


def test_many_outcomes_far_from_zero(sleepstudy):
    x = np.column_stack([np.ones(180), sleepstudy["Days"] + 3e4])
    y = sleepstudy["Reaction"].to_numpy()
    found = fit_linear_many(x, np.array([y, y + 1e8]), sleepstudy["Subject"].to_numpy(), z=x)
    errors = np.sqrt(found.vcov[:, 1, 1])
    assert_allclose(errors, 1.545789, rtol=1e-6)


def test_years_as_slope_for_hits():
    rng = np.random.default_rng(4)
    person = np.repeat(np.arange(40), 6)
    year = np.tile([2021.0, 2022.0, 2023.0], 80)
    level, slope = rng.normal(0, 0.8, 40)[person], rng.normal(0.4, 0.5, 40)[person]
    eta = level + slope * (year - 2022)
    table = pd.DataFrame(
        {
            "participant": person,
            "year": year,
            "since": year - 2022,
            "hits": rng.binomial(20, 1 / (1 + np.exp(-eta))),
            "attempts": 20,
        }
    )
    options = {"family": "binomial", "attempts": "attempts"}
    near = ml.fit_mixed("hits ~ since", table, random={"participant": "1 + since"}, **options)
    far = ml.fit_mixed("hits ~ year", table, random={"participant": "1 + year"}, **options)
    columns = ["estimate", "std_error", "p"]
    assert_allclose(far.estimates[columns].iloc[1], near.estimates[columns].iloc[1], rtol=1e-5)
    assert_allclose(far.loglik, near.loglik, atol=1e-6)
    assert not far.singular and not far.warnings
    assert_allclose(far.fitted(), near.fitted(), rtol=1e-5)


@pytest.mark.parametrize("unit", [1e-5, 1e5])
def test_profile_intervals_in_any_unit(sleepstudy, unit):
    columns = ["sd", "sd_low", "sd_high"]
    plain = profile_intervals(ml.fit_mixed("Reaction ~ Days", sleepstudy, random=SLOPES))
    table = sleepstudy.assign(Reaction=sleepstudy["Reaction"] * unit)
    other = profile_intervals(ml.fit_mixed("Reaction ~ Days", table, random=SLOPES))
    assert_allclose(other[columns].iloc[[0, 2]] / unit, plain[columns].iloc[[0, 2]], rtol=1e-5)


def test_no_residual_spread_is_refused_without_warnings():
    person, x = np.repeat(np.arange(8), 4), np.tile(np.arange(4.0), 8)
    table = pd.DataFrame({"participant": person, "x": x, "y": 2.0 * person + x})
    with pytest.raises(FitError, match="no residual spread"):
        ml.fit_mixed("y ~ x", table, random={"participant": "1"})
    with pytest.raises(FitError, match="no residual spread"):
        ml.fit_mixed("y ~ x", table.assign(y=3 * x), random={"participant": "1"})


def test_a_constant_covariate_is_called_constant(small_study):
    table = small_study.assign(distance=2.0)
    with pytest.raises(FitError, match="distance has the same value in every row"):
        ml.fit_mixed("radial_error ~ distance", table, random={"participant": "1"})
    with pytest.raises(FitError, match=r"random part of 'participant'.*distance"):
        ml.fit_mixed("radial_error ~ 1", table, random={"participant": "1 + distance"})
