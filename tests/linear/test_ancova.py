import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from pingouin import read_dataset
from statsmodels.stats.anova import anova_lm

from motorlearn.exceptions import FitError, InputError
from motorlearn.linear import ancova, ancova_batch

CASE = Path(__file__).parents[1] / "reference" / "ancova" / "values.json"
INCOME = json.loads(CASE.read_text(encoding="utf-8"))["income"]
TABLE = read_dataset("ancova")
CODES = pd.factorize(TABLE["Method"], sort=True)[0]


@pytest.fixture(scope="module")
def model():
    return ancova(TABLE["Scores"], CODES, TABLE["Income"])


def test_adjusted_means(model):
    for i, expected in enumerate(INCOME["adjusted_means"].values()):
        row = model.adjusted_mean(i)
        assert [row.estimate, row.std_error, row.conf_low, row.conf_high] == pytest.approx(
            expected, rel=1e-9
        )
        assert row.df == INCOME["df"]


def test_differences_against_the_first_group(model):
    for i, expected in enumerate(INCOME["differences"].values(), start=1):
        row = model.difference(i, 0)
        assert [row.estimate, row.std_error, row.statistic, row.p] == pytest.approx(
            expected, rel=1e-9
        )


def test_group_and_slopes_tests(model):
    assert [model.group_test.statistic, model.group_test.p] == pytest.approx(INCOME["group"])
    assert [model.slopes_test.statistic, model.slopes_test.p] == pytest.approx(INCOME["slopes"])


def test_two_covariates_agree_with_an_independent_fit():
    found = ancova(TABLE["Scores"], CODES, TABLE[["Income", "BMI"]], names=["Income", "BMI"])
    other = smf.ols("Scores ~ C(Method) + Income + BMI", TABLE).fit()
    assert found.difference(1, 0).p == pytest.approx(other.pvalues["C(Method)[T.B]"])
    for test, name in zip(found.covariate_tests, ["Income", "BMI"], strict=True):
        assert test.statistic == pytest.approx(other.tvalues[name] ** 2)
    groups = anova_lm(other, typ=2).loc["C(Method)"]
    assert found.group_test.sum_sq == pytest.approx(groups["sum_sq"])
    assert found.group_test.statistic == pytest.approx(groups["F"])
    assert (found.group_test.df1, found.group_test.p) == pytest.approx(
        (groups["df"], groups["PR(>F)"])
    )


def test_robust_difference_agrees_with_an_independent_fit(model):
    other = smf.ols("Scores ~ C(Method) + Income", TABLE).fit(cov_type="HC3", use_t=True)
    row = model.difference(2, 0, covariance="HC3")
    assert row.std_error == pytest.approx(other.bse["C(Method)[T.C]"])
    assert row.p == pytest.approx(other.pvalues["C(Method)[T.C]"])


def test_order_of_groups_does_not_matter(model):
    turned = ancova(TABLE["Scores"], 3 - CODES, TABLE["Income"])
    assert turned.difference(2, 3).estimate == pytest.approx(model.difference(1, 0).estimate)
    assert turned.group_test.p == pytest.approx(model.group_test.p)


def test_shift_of_the_covariate_changes_no_adjusted_mean(model):
    moved = ancova(TABLE["Scores"], CODES, TABLE["Income"] + 1e6)
    assert moved.adjusted_mean(1).estimate == pytest.approx(model.adjusted_mean(1).estimate)


def test_one_group_has_no_group_test():
    alone = ancova([1.0, 2.0, 4.0, 5.0], [0, 0, 0, 0], [1.0, 2.0, 3.0, 5.0])
    assert np.isnan(alone.group_test.p) and alone.slopes_test is None


@pytest.mark.parametrize(
    ("y", "g", "x", "error", "match"),
    [
        ([1, 2, 3, 4], [0, 0, 1, 1], [5, 5, 5, 5], FitError, "told apart"),
        ([1, 2, 3], [0, 1, 1], [5, 6, 7], FitError, "too few"),
        ([1, 2, 3, 4], [0, 0, 2, 2], [1, 2, 3, 5], FitError, "every group"),
        ([], [], [], FitError, "every group"),
        ([1, 2, 3, 4], [0, 0, 1], [1, 2, 3, 5], InputError, "length"),
    ],
)
def test_refusals(y, g, x, error, match):
    with pytest.raises(error, match=match):
        ancova(y, g, x)


def simulated(studies, sizes, effect=0.0, seed=0, r=0.6):
    rng = np.random.default_rng(seed)
    codes = np.repeat(np.arange(len(sizes)), sizes)
    x = rng.normal(size=(studies, codes.size))
    y = r * x + effect * codes + rng.normal(0, np.sqrt(1 - r**2), size=x.shape)
    return y, codes, x


def test_batch_agrees_study_by_study():
    y, codes, x = simulated(20, (7, 11, 9), seed=3)
    y[4, 2] = x[5, 20] = np.nan
    batch = ancova_batch(y, codes, x, weights=[-1, 0, 1])
    for i in range(20):
        use = ~np.isnan(y[i]) & ~np.isnan(x[i])
        row = ancova(y[i][use], codes[use], x[i][use]).difference(2, 0)
        assert batch.estimate[i] == pytest.approx(row.estimate)
        assert batch.std_error[i] == pytest.approx(row.std_error)
        assert (batch.df[i], batch.p[i]) == pytest.approx((row.df, row.p))
    assert batch.n.tolist().count(26) == 2


def test_batch_takes_groups_that_differ_between_studies():
    y, codes, x = simulated(6, (5, 5), seed=4)
    mixed = np.stack([codes, 1 - codes] * 3)
    turned, plain = ancova_batch(y, mixed, x), ancova_batch(y, codes, x)
    np.testing.assert_allclose(turned.estimate[::2], plain.estimate[::2])
    np.testing.assert_allclose(turned.estimate[1::2], -plain.estimate[1::2])


def test_batch_without_covariate_is_the_pooled_t():
    y, codes, _ = simulated(5, (6, 9), effect=1.0, seed=8)
    batch = ancova_batch(y, codes)
    for i in range(5):
        other = smf.ols("y ~ g", pd.DataFrame({"y": y[i], "g": codes})).fit()
        assert batch.p[i] == pytest.approx(other.pvalues["g"])


def test_batch_marks_studies_that_cannot_be_analysed():
    y, codes, x = simulated(3, (3, 3), seed=1)
    y[0, :3] = np.nan
    x[1] = 2.0
    batch = ancova_batch(y, codes, x)
    assert np.isnan(batch.p).tolist() == [True, True, False]


def test_batch_holds_its_level_and_finds_effects():
    y, codes, x = simulated(4000, (12, 12), seed=21)
    assert np.mean(ancova_batch(y, codes, x).p < 0.05) == pytest.approx(0.05, abs=0.011)
    y, codes, x = simulated(4000, (24, 24), effect=0.55, seed=22, r=0.7)
    # Pretest correlation .7 makes 24 per group worth about 47 without adjustment.
    assert np.mean(ancova_batch(y, codes, x).p < 0.05) == pytest.approx(0.75, abs=0.03)
    assert np.mean(ancova_batch(y, codes).p < 0.05) == pytest.approx(0.46, abs=0.03)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"weights": [1, 1]}, "sum to zero"),
        ({"weights": [1.0]}, "per group"),
        ({"covariate": np.ones((2, 4))}, "shape"),
    ],
)
def test_batch_refusals(change, match):
    y, codes, x = simulated(2, (3, 3))
    with pytest.raises(InputError, match=match):
        ancova_batch(y, codes, **({"covariate": x} | change))
