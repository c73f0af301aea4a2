"""Profile intervals of fixed effects: lme4, a closed form, refusals."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import stats

import motorlearn as ml
from motorlearn.exceptions import InputError
from motorlearn.mixed import profile_effects, profile_intervals

HERE = Path(__file__).parents[1] / "reference"
HITS = {"family": "binomial", "attempts": "size"}
CASES = {
    "sleepstudy": ("mixed_models", "Reaction ~ Days", {"Subject": "1 + Days"}, {}),
    "penicillin": ("mixed_profiles", "diameter ~ 1", {"plate": "1", "sample": "1"}, {}),
    "cbpp": ("mixed_models", "incidence ~ C(period)", {"herd": "1"}, HITS),
}


@pytest.mark.parametrize("case", CASES)
def test_lme4(case):
    folder, formula, random, options = CASES[case]
    expected = json.loads((HERE / "mixed_profiles" / "values.json").read_text())[case]
    fit = ml.fit_mixed(
        formula, pd.read_csv(HERE / folder / f"{case}.csv"), random=random, **options
    )
    found = profile_effects(fit)
    width = np.subtract(expected["high"], expected["low"])
    assert_allclose((found["conf_low"] - expected["low"]) / width, 0, atol=2e-4)
    assert_allclose((found["conf_high"] - expected["high"]) / width, 0, atol=2e-4)


def test_lognormal_is_the_linear_model_of_logarithms():
    table = pd.read_csv(HERE / "mixed_models" / "sleepstudy.csv")
    times = ml.fit_mixed("Reaction ~ Days", table, random={"Subject": "1"}, family="lognormal")
    logs = ml.fit_mixed("log(Reaction) ~ Days", table, random={"Subject": "1"})
    bounds = ["conf_low", "conf_high"]
    found, same = (profile_effects(fit, ["Days"])[bounds] for fit in (times, logs))
    assert_allclose(found, same, rtol=1e-6)


def test_balanced_means_have_their_closed_form():
    """One mean of people's means: −2 log L rises by n log(1 + z²/n) where σ² of means is free."""
    rng = np.random.default_rng(1)
    people, each = 10, 4
    level = rng.normal(30, 6, people)
    table = pd.DataFrame({"participant": np.repeat(np.arange(people), each)})
    table["radial_error"] = level[table["participant"]] + rng.normal(0, 3, len(table))
    fit = ml.fit_mixed("radial_error ~ 1", table, random={"participant": "1"})
    means = table.groupby("participant")["radial_error"].mean()
    rise = stats.chi2.ppf(0.95, 1)
    half = np.sqrt(np.expm1(rise / people) * means.var(ddof=0))
    row = profile_effects(fit).iloc[0]
    assert_allclose([row["conf_low"], row["conf_high"]], means.mean() + half * np.array([-1, 1]))


def test_unknown_terms_are_refused():
    table = pd.read_csv(HERE / "mixed_models" / "sleepstudy.csv")
    fit = ml.fit_mixed("Reaction ~ Days", table, random={"Subject": "1"})
    with pytest.raises(InputError, match="no fixed effect"):
        profile_effects(fit, ["Nights"])
    with pytest.raises(InputError, match="level"):
        profile_effects(fit, level=95)


def test_spreads_of_several_factors_equal_lme4():
    """Plates, samples and the residual of Penicillin."""
    table = pd.read_csv(
        HERE / "mixed_profiles" / "penicillin.csv", dtype={"plate": str, "sample": str}
    )
    fit = ml.fit_mixed("diameter ~ 1", table, random={"plate": "1", "sample": "1"}, reml=False)
    found = profile_intervals(fit)
    expected = json.loads((HERE / "mixed_profiles" / "values.json").read_text())["penicillin_sd"]
    assert list(found["group"]) == ["plate", "sample", "residual"]
    assert_allclose(found["sd_low"], expected["low"], rtol=2e-4)
    assert_allclose(found["sd_high"], expected["high"], rtol=2e-4)
