"""Degrees of freedom where spread and correlation are estimated, against nlme and emmeans."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t

import motorlearn as ml
from motorlearn.curves import curve_quantities
from motorlearn.curves.single.df import df_along

ROWS = pd.read_csv(Path(__file__).parents[1] / "reference/curve_df/data.csv")
# make_values.R: estimate, standard error and degrees of freedom.
WANTED = {
    "asymptote": (19.9007922, 0.169955242, 20.11),
    "gain": (12.9784668, 1.108650271, 15.49),
    "start": (32.8793, 1.038599, 14.78),
}


@pytest.fixture(scope="module")
def fit():
    noise = {"variance": "practice", "correlation": "ar1"}
    return ml.fit_curve(ROWS["n"], ROWS["y"], fixed={"rate": 0.05}, **noise)


def test_estimates_errors_and_noise_are_those_of_restricted_likelihood(fit):
    table = fit.estimates.set_index("term")
    for term, (estimate, error, _) in WANTED.items():
        assert table.at[term, "estimate"] == pytest.approx(estimate, rel=1e-5)
        assert table.at[term, "std_error"] == pytest.approx(error, rel=1e-5)
    assert fit.noise["correlation"] == pytest.approx(0.392426786, rel=1e-5)
    assert fit.noise["spread_power"] == pytest.approx(-0.366522122, rel=1e-5)


@pytest.mark.parametrize("term", WANTED)
def test_limits_rest_on_the_degrees_of_freedom_that_the_noise_leaves(fit, term):
    estimate, error, df = WANTED[term]
    row = fit.estimates.set_index("term").loc[term]
    own = df_along(np.eye(4), fit.vcov, fit.turns, fit.df)[list(fit.curve).index(term)]
    assert own == pytest.approx(df, rel=0.08)
    assert row["conf_high"] - estimate == pytest.approx(t.isf(0.025, own) * error, rel=1e-4)
    assert own < fit.df == 118


def test_bands_and_quantities_rest_on_them_too(fit):
    band = fit.bands([1.0]).iloc[0]
    row = fit.estimates.set_index("term").loc["start"]
    told = curve_quantities(fit, level_at=[1.0]).estimates.iloc[0]
    for found in (band, told):
        assert found["conf_low"] == pytest.approx(row["conf_low"], rel=1e-4)
        assert found["conf_high"] == pytest.approx(row["conf_high"], rel=1e-4)


def test_known_noise_leaves_all_degrees_of_freedom(fit):
    plain = ml.fit_curve(ROWS["n"], ROWS["y"])
    assert not len(plain.turns)
    assert df_along(np.eye(4), plain.vcov, plain.turns, plain.df) == pytest.approx(117)
    # With the spread alike and no correlation only the size of the noise is unknown.
    heavy = ml.fit_curve(ROWS["n"], ROWS["y"], errors="lognormal")
    assert df_along(np.eye(4), heavy.vcov, heavy.turns, heavy.df) == pytest.approx(117, rel=1e-3)
