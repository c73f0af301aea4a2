import tomllib

import numpy as np
import pandas as pd
import pytest
from plans_of_tests import SOUND
from statsmodels.regression.mixed_linear_model import MixedLM

from motorlearn.design import design_from_mapping
from motorlearn.plan import pilot_page


def two_tests(people, trials, *, hits, seed, between, within=10.0, stability=0.8):
    """Trials of two tests whose true scores correlate ``stability``; hits on log odds."""
    rng = np.random.default_rng(seed)
    lasting = np.sqrt(stability) * rng.standard_normal((people, 1))
    true = between * (lasting + np.sqrt(1 - stability) * rng.standard_normal((people, 2)))
    rows = []
    for test, phase in enumerate(("pretest", "retention")):
        level = np.repeat(true[:, test], trials)
        if hits:
            value = (rng.random(len(level)) < 1 / (1 + np.exp(0.8 - level))).astype(float)
        else:
            value = 38 + level + rng.normal(0, within, len(level))
        names = np.repeat([f"P{i:03d}" for i in range(people)], trials)
        rows.append(pd.DataFrame({"participant": names, "phase": phase, "score": value}))
    return pd.concat(rows, ignore_index=True)


def test_the_pilot_gives_true_spread_and_stability_and_not_that_of_means():
    page = pilot_page(two_tests(400, 12, hits=False, seed=1, between=5.0), "score")
    value = page.assumptions.set_index("name")["value"]
    assert value["baseline"] == pytest.approx(38, abs=0.8)
    assert value["between_sd"] == pytest.approx(5.0, abs=0.4)
    assert value["within_sd"] == pytest.approx(10.0, abs=0.3)
    assert value["stability"] == pytest.approx(0.8, abs=0.08)
    means = page.table.set_index(["phase", "quantity"])["value"]
    assert means["pretest", "SD of people's means"] > 5.5


def test_components_agree_with_restricted_maximum_likelihood():
    # statsmodels MixedLM, balanced data: the one-way components are the REML estimates.
    table = two_tests(30, 10, hits=False, seed=2, between=6.0).query("phase == 'pretest'")
    fit = MixedLM(table["score"], np.ones(len(table)), groups=table["participant"]).fit(reml=True)
    value = pilot_page(table, "score").assumptions.set_index("name")["value"]
    assert value["between_sd"] == pytest.approx(float(np.sqrt(fit.cov_re.iloc[0, 0])), rel=1e-3)
    assert value["within_sd"] == pytest.approx(float(np.sqrt(fit.scale)), rel=1e-3)


def test_hits_give_log_odds_and_the_rate():
    pages = [
        pilot_page(two_tests(150, 20, hits=True, seed=seed, between=0.9), "score")
        for seed in range(6)
    ]
    value = pd.concat([page.assumptions.set_index("name")["value"] for page in pages], axis=1)
    value = value.mean(axis=1)
    # E of 1 / (1 + exp(0.8 - 0.9 z)), z standard normal, by quadrature of order 60.
    z, weight = np.polynomial.hermite_e.hermegauss(60)
    rate = float(weight @ (1 / (1 + np.exp(0.8 - 0.9 * z))) / weight.sum())
    assert value["baseline"] == pytest.approx(rate, abs=0.02)
    assert value["between_sd"] == pytest.approx(0.9, abs=0.06)
    assert value["stability"] == pytest.approx(0.8, abs=0.08)
    assert "within_sd" not in value


def test_the_block_can_be_pasted_into_a_plan():
    page = pilot_page(two_tests(20, 12, hits=False, seed=4, between=5.0), "score")
    assumed = tomllib.loads(page.plan_text)["assumptions"]
    assert assumed["source"] == "pilot of 20 people"
    plan = design_from_mapping({**SOUND, "assumptions": assumed})
    assert plan.assumptions.between_sd == pytest.approx(assumed["between_sd"])
    assert "[assumptions]" in page.plan_text


def test_what_a_pilot_cannot_tell_is_a_remark_with_the_reason():
    table = two_tests(12, 10, hits=False, seed=5, between=1e-9).query("phase == 'pretest'")
    page = pilot_page(table, "score")
    value = page.assumptions.set_index("name")["value"]
    assert np.isnan(value["stability"])
    assert "# stability =" in page.plan_text
    assert "one test" in page.plan_text
    assert set(tomllib.loads(page.plan_text)["assumptions"]) <= {
        "baseline",
        "within_sd",
        "between_sd",
        "source",
    }
