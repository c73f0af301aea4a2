"""Classic data sets of textbooks against lmerTest and glmmTMB: estimates, df, joint tests."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

import motorlearn as ml

REFERENCE = Path(__file__).parents[1] / "reference" / "mixed_classics"
VALUES = json.loads((REFERENCE / "values.json").read_text())
WORDS = {
    "cake": ["recipe", "temperature", "replicate"],
    "oats": ["Block", "Variety", "nitro"],
    "npk": ["block", "N", "P", "K"],
    "arabidopsis": ["popu", "gen", "rack", "amd", "status"],
}
LINEAR = {
    "cake": ("angle ~ recipe * temperature", {"recipe:replicate": "1"}),
    "oats": ("`yield` ~ nitro * Variety", {"Block/Variety": "1"}),
    "npk": ("`yield` ~ N * P * K - N:P:K", {"block": "1"}),
}


def table_of(name):
    return pd.read_csv(REFERENCE / f"{name}.csv", dtype=dict.fromkeys(WORDS[name], "str"))


@pytest.mark.parametrize("name", LINEAR)
def test_linear_models_equal_lmertest(name):
    formula, random = LINEAR[name]
    expected = VALUES[name]
    fit = ml.fit_mixed(formula, table_of(name), random=random)
    assert fit.loglik > expected["loglik"] - 1e-6

    # Columns come in another order where interactions have several: by their size.
    def alike(ours, theirs, rtol):
        assert_allclose(np.sort(np.asarray(ours)), np.sort(theirs), rtol=rtol, atol=1e-6)

    alike(fit.params, expected["estimate"], 1e-4)
    alike(fit.bse, expected["se"], 1e-3)
    alike(fit.estimates["df"], expected["df"], 1e-3)
    sd = fit.variances.loc[fit.variances["other"].isna() | (fit.variances["other"] == ""), "sd"]
    alike(sd, expected["sd"], 1e-4)
    found = fit.anova().frame.set_index("term")
    assert list(found.index) == expected["terms"]
    assert_allclose(found["statistic"], expected["f"], rtol=1e-3)
    assert_allclose(found["df1"], expected["df1"])
    assert_allclose(found["df2"], expected["df2"], rtol=1e-3)


def test_fruits_of_arabidopsis_equal_glmmtmb():
    expected = VALUES["arabidopsis"]
    fit = ml.fit_mixed(
        "fruits ~ nutrient * amd + rack + status",
        table_of("arabidopsis"),
        random={"popu": "1", "gen": "1"},
        family="negative-binomial",
    )
    assert fit.loglik > expected["loglik"] - 1e-6
    assert_allclose(np.sort(fit.beta), np.sort(expected["estimate"]), rtol=1e-4, atol=2e-5)
    own = np.sqrt(np.diag(fit.inference.joint_vcov))[: len(fit.beta)]
    assert_allclose(np.sort(own), np.sort(expected["se"]), rtol=1e-3)
    assert_allclose(fit.dispersion, expected["dispersion"], rtol=1e-4)
    spreads = [float(np.sqrt(psi[0, 0])) for psi in fit.covariances.values()]
    assert_allclose(spreads, expected["sd"], rtol=1e-4)
