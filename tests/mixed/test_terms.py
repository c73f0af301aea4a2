"""Joint tests of terms: found in any order of their factors, and said at which levels they hold."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

import motorlearn as ml
from motorlearn.exceptions import InputError

REFERENCE = Path(__file__).parents[1] / "reference" / "mixed_unequal_spread"


@pytest.fixture(scope="module")
def crossed(small_study):
    task = np.where(np.arange(len(small_study)) % 4 < 2, "near", "far")
    return ml.fit_mixed(
        "radial_error ~ group * phase * C(task, Sum)",
        small_study.assign(task=task),
        random={"participant": "1"},
    )


def test_kenward_roger_with_four_df_is_scaled():
    # pbkrtest 0.5.2, by make_values.R; for Machines it is the exact Hotelling test.
    expected = json.loads((REFERENCE / "values.json").read_text())["machines"]
    table = pd.read_csv(REFERENCE / "machines.csv")
    fit = ml.fit_mixed(
        "score ~ Machine", table, random={"Worker": "1 + Machine"}, df="kenward-roger"
    )
    found = fit.test("Machine")
    assert_allclose(found.statistic, expected["statistic"], rtol=1e-5)
    assert (found.df1, round(found.df2, 6)) == (2, 4)
    assert_allclose(found.p, expected["p"], rtol=1e-5)
    means = table.groupby(["Worker", "Machine"])["score"].mean().unstack()
    steps = means[["B", "C"]].to_numpy() - means[["A"]].to_numpy()
    gap = steps.mean(axis=0)
    squared = 6 * gap @ np.linalg.solve(np.cov(steps.T), gap)
    assert_allclose(found.statistic, squared * 4 / (2 * 5), rtol=1e-6)


def test_factors_of_a_term_in_any_order(crossed):
    for one, other in (
        ("group:phase", "phase:group"),
        ("group:phase:C(task, Sum)", "C(task,Sum):phase : group"),
        ("group:C(task, Sum)", "C(task, contr.sum):group"),
    ):
        assert crossed.test(one) == crossed.test(other)
    with pytest.raises(InputError, match="no such term"):
        crossed.test("group:speed")


def test_a_test_at_reference_levels_says_so(crossed, small_study):
    found = crossed.test("group")
    assert found.held_at == {"phase": "posttest"}
    assert "at phase = posttest only" in str(found) and "anova()" in str(found)
    assert crossed.test("group:phase:C(task, Sum)").held_at == {}
    assert crossed.test(["group", "group:phase"]).held_at == {}
    fit = ml.fit_mixed(
        "radial_error ~ C(phase, Treatment('retention')) * hits + group",
        small_study,
        random={"participant": "1"},
    )
    assert fit.test("hits").held_at == {"phase": "retention"}
    assert fit.test("C(phase, Treatment('retention'))").held_at == {"hits": 0}
    assert fit.test("group").held_at == {}


@pytest.mark.parametrize("df", ["satterthwaite", "kenward-roger"])
def test_anova_equals_type_three_of_sum_coding(computed, ring_push, df):
    # lmerTest's anova(type = 3) with sums to zero, by tests/reference/mixed_ring_push.
    fit = ml.fit_mixed("radial_error ~ group * phase", ring_push, random={"participant": "1"})
    key = {"satterthwaite": "type3_satterthwaite", "kenward-roger": "type3_kr"}[df]
    expected = computed[key].reshape(3, 4)
    found = fit.anova(df=df).frame
    assert list(found["term"]) == ["group", "phase", "group:phase"]
    assert_allclose(found[["statistic", "df1", "df2", "p"]], expected, rtol=1e-4)
    coded = ml.fit_mixed(
        "radial_error ~ C(group, Sum) * C(phase, Sum)", ring_push, random={"participant": "1"}
    )
    assert_allclose(found["p"].iloc[0], fit.anova(df=df)["p"].iloc[0])
    assert_allclose(coded.test("C(group, Sum)").p, fit.anova()["p"].iloc[0], rtol=1e-6)


def test_anova_takes_numbers_at_their_mean(ring_push):
    plain = ml.fit_mixed(
        "radial_error ~ group * time + poly(lane_number, 2)",
        ring_push.assign(lane_number=ring_push["lane"].rank()),
        random={"participant": "1"},
    )
    centred = ml.fit_mixed(
        "radial_error ~ C(group, Sum) * center(time) + poly(lane_number, 2)",
        ring_push.assign(lane_number=ring_push["lane"].rank()),
        random={"participant": "1"},
    )
    found = plain.anova().frame.set_index("term")
    assert_allclose(found.loc["group", "p"], centred.test("C(group, Sum)").p, rtol=1e-5)
    assert_allclose(found.loc["time", "p"], centred.test("center(time)").p, rtol=1e-5)
    same = centred.test("poly(lane_number, 2)").p
    assert_allclose(found.loc["poly(lane_number, 2)", "p"], same, rtol=1e-5)


def test_anova_refuses_what_has_no_type_three(small_study):
    for formula in ("radial_error ~ group:phase", "radial_error ~ 0 + group"):
        fit = ml.fit_mixed(formula, small_study, random={"participant": "1"})
        with pytest.raises(InputError, match="intercept"):
            fit.anova()
    with pytest.raises(InputError, match="type"):
        fit.anova(type=1)


def test_anova_of_hits_by_the_normal_distribution_is_chi_squared(small_study):
    fit = ml.fit_mixed(
        "hits ~ group * phase",
        small_study,
        random={"participant": "1"},
        family="binomial",
        attempts="throws",
    )
    normal = fit.anova(df="normal")
    assert np.isinf(normal["df2"]).all()
    # Few people widen the test of groups, not that of tests within people.
    assert (
        np.isfinite(fit.anova()["df2"].iloc[0]) and fit.anova()["p"].iloc[0] > normal["p"].iloc[0]
    )
    assert "Joint tests" in str(fit.anova())


def test_a_coded_factor_is_found_by_its_column(small_study):
    fit = ml.fit_mixed(
        "radial_error ~ C(group, Sum) * phase", small_study, random={"participant": "1"}
    )
    whole = fit.test("C(group, Sum):phase")
    assert fit.test("phase:group").p == whole.p == fit.test("group:phase").p
