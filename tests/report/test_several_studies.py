"""Several studies: the summary solves its own equations, and the page says what they say."""

import math
import re

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from motorlearn.analysis import analyse_study
from motorlearn.exceptions import InputError
from motorlearn.report.meta_analysis import Synthesis, random_effects, synthesise
from motorlearn.report.several import write_reports
from motorlearn.wording import claim_problems

Y = np.array([-0.12, -0.30, 0.05, -0.22, -0.01])
SE = np.array([0.08, 0.12, 0.10, 0.15, 0.06])


def contrast(estimate, std_error, effect="difference", n=20):
    to = math.exp if effect == "ratio" else float
    return pd.Series(
        {
            "effect": effect,
            "estimate": to(estimate),
            "std_error": std_error,
            "conf_low": to(estimate - 2 * std_error),
            "conf_high": to(estimate + 2 * std_error),
            "g": estimate * 2,
            "g_low": estimate * 2 - 0.5,
            "g_high": estimate * 2 + 0.5,
            "n_group": n,
            "n_reference": n,
        }
    )


def test_the_variance_between_studies_solves_its_equation():
    found = random_effects(Y, SE)
    w = 1 / (SE**2 + found.tau2)
    assert found.tau2 > 0
    assert float(w @ (Y - found.mean) ** 2) == pytest.approx(len(Y) - 1, rel=1e-4)


def test_alike_studies_have_no_variance_between_them():
    found = random_effects(np.array([0.1, 0.11, 0.09]), np.array([0.2, 0.2, 0.2]))
    assert found.tau2 == 0.0
    assert found.mean == pytest.approx(0.1)


def test_mean_and_interval_agree_with_statsmodels():
    found = random_effects(Y, SE)
    other = combine_effects(Y, SE**2, method_re="iterated", use_t=True)
    assert found.mean == pytest.approx(other.mean_effect_re, rel=1e-6)
    variance = max(other.var_hksj_re, other.sd_eff_w_re**2)
    half = stats.t.isf(0.025, len(Y) - 1) * math.sqrt(variance)
    assert found.interval == pytest.approx((found.mean - half, found.mean + half), rel=1e-4)
    assert found.statistic == pytest.approx(other.mean_effect_re / math.sqrt(variance), rel=1e-4)


def test_studies_that_agree_by_chance_keep_a_wide_interval():
    found = random_effects(np.array([0.1, 0.1]), np.array([0.2, 0.2]))
    half = stats.t.isf(0.025, 1) * 0.2 / math.sqrt(2)
    assert found.interval == pytest.approx((0.1 - half, 0.1 + half))


def test_ratios_are_combined_as_logarithms():
    rows = {f"study {i}": contrast(y, se, "ratio") for i, (y, se) in enumerate(zip(Y, SE))}
    found = synthesise(rows)
    assert found.scale == "ratio"
    assert found.estimate == pytest.approx(math.exp(random_effects(Y, SE).mean))
    assert found.studies["weight"].sum() == pytest.approx(100)
    assert Synthesis.from_json(found.to_json()).estimate == found.estimate


def test_unlike_outcomes_are_combined_as_g():
    rows = {"a": contrast(-0.1, 0.1), "b": contrast(-0.2, 0.1, "ratio")}
    assert synthesise(rows).scale == "g"
    assert synthesise({"a": rows["a"], "b": rows["a"]}, alike=False).scale == "g"


def test_order_does_not_matter():
    rows = {f"study {i}": contrast(y, se) for i, (y, se) in enumerate(zip(Y, SE))}
    turned = dict(reversed(rows.items()))
    assert synthesise(rows).estimate == pytest.approx(synthesise(turned).estimate)


def test_one_study_is_refused():
    with pytest.raises(InputError, match="at least two"):
        synthesise({"a": contrast(0.1, 0.1), "b": contrast(0.1, math.nan)})


def test_a_page_for_several_studies(tmp_path, small, quick_pictures, monkeypatch):
    computed = []

    def counted(study, **options):
        computed.append(study)
        return analyse_study(study, **options)

    monkeypatch.setattr("motorlearn.report.writing.analyse_study", counted)
    page = write_reports({"first": small(1), "second": small(2)}, tmp_path / "out", quiet=True)
    assert len(computed) == 2
    text = page.read_text("utf-8")
    assert "Over 2 studies" in text and re.search(r"t\(1\)\s=\s−?\d", text)
    assert (page.parent / "first" / "report.html").exists()
    assert (page.parent / "second" / "report.docx").exists()
    assert claim_problems(text.split("<main>")[1].split("data:image")[0], delayed_test=True) == []
