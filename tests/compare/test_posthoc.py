"""Pairs of blocks and trends over groups: against R's multivariate model and by hand."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

import motorlearn as ml
from motorlearn.compare.posthoc import orthonormal

DATA = Path(__file__).parents[2] / "data" / "ring-push"
CASE = Path(__file__).parents[1] / "reference" / "posthoc"


@pytest.fixture(scope="module")
def table():
    return pd.read_csv(CASE / "data.csv")


@pytest.fixture(scope="module")
def result(table):
    return ml.compare_blocks(table, "time", group="group", phase=None)


def test_pairs_and_trends_are_those_of_the_multivariate_model(result):
    assert tomllib.loads((CASE / "source.toml").read_text())["status"] == "computed"
    values = json.loads((CASE / "values.json").read_text())
    ours = result.posthoc
    names = [f"X{row.to_block} - X{row.from_block}" for row in ours.itertuples()]
    theirs = pd.DataFrame(values["pairs"]).set_index("contrast").loc[names]
    assert len(ours) == len(theirs) == 10
    for name, column in {
        "estimate": "estimate",
        "std_error": "SE",
        "p_adjusted": "p.value",
    }.items():
        np.testing.assert_allclose(ours[name], theirs[column], rtol=1e-8)
    assert ours["df"].unique().tolist() == [16]
    np.testing.assert_allclose(
        result.trends["statistic"], [t["t.ratio"] for t in values["trends"]], rtol=1e-8
    )
    np.testing.assert_allclose(result.trends["f_groups"], values["groups"]["F"], rtol=1e-8)
    np.testing.assert_allclose(result.trends["p_groups"], values["groups"]["p"], rtol=1e-8)


def test_each_pair_is_the_intercept_of_its_own_differences(table, result):
    wide = table.pivot(index=["participant", "group"], columns="block", values="time")
    wide = wide.dropna().reset_index()
    for row in result.posthoc.itertuples():
        differences = wide.assign(d=wide[row.to_block] - wide[row.from_block])
        fit = smf.ols("d ~ C(group, Sum)", differences).fit()
        low, high = fit.conf_int().loc["Intercept"]
        assert row.estimate == pytest.approx(fit.params["Intercept"])
        assert row.std_error == pytest.approx(fit.bse["Intercept"])
        assert (row.conf_low, row.conf_high) == pytest.approx((low, high))


def test_a_straight_fall_has_a_linear_trend_and_no_other():
    rows = [
        {"participant": p, "group": "all", "block": b, "time": 10.0 + p - 2.0 * b + wobble}
        for p, wobble in enumerate((0.0, 1.0, -1.0, 0.5))
        for b in (1, 2, 3, 4)
    ]
    rows[0]["time"] += 1e-6
    trends = ml.compare_blocks(pd.DataFrame(rows), "time", group="group", phase=None).trends
    # A fall of 2 at each of four places: 2 times the root of 1.5² + 0.5² + 0.5² + 1.5² = 5.
    assert trends["estimate"].round(5).tolist() == [round(-2 * np.sqrt(5), 5), 0.0, 0.0]
    assert trends["p_groups"].isna().all()


def test_one_pair_of_tests_needs_no_correction():
    rows = ml.read_study(DATA).trials.table
    rows = rows[rows["phase"].isin(["pretest", "retention"])]
    found = ml.compare_phases(rows, "radial_error", group="group", baseline="pretest")
    row = found.posthoc.iloc[0]
    assert (row["from_phase"], row["to_phase"]) == ("pretest", "retention")
    assert row["p"] == row["p_adjusted"] and row["n"] == row["df"] + 3


def test_polynomials_of_unequal_places_are_orthonormal():
    basis = orthonormal(np.array([0.0, 1.0, 4.0, 9.0]))
    np.testing.assert_allclose(basis.T @ basis, np.eye(4), atol=1e-12)
    assert (basis[-1] > 0).all()


def test_nobody_complete_gives_no_pairs():
    rows = [("a", 1, 1.0), ("a", 2, 2.0), ("b", 2, 3.0), ("b", 3, 1.0), ("c", 1, 2.0)]
    table = pd.DataFrame(rows, columns=["participant", "block", "time"])
    found = ml.compare_blocks(table, "time", group=None, phase=None)
    assert found.posthoc["estimate"].isna().all() and found.trends["estimate"].isna().all()
