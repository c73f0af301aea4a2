import numpy as np
import pytest
import statsmodels.api as sm

from motorlearn.exceptions import InputError
from motorlearn.linear import (
    coefficient_table,
    compare_models,
    estimate_contrast,
    f_test,
    fit_least_squares,
    joint_test,
    t_estimate,
)

RNG = np.random.default_rng(12)
X = np.column_stack([np.ones(30), RNG.normal(size=(30, 3))])
Y = X @ [1.0, 0.4, 0.0, -0.6] + RNG.normal(size=30)


def test_contrasts_and_joint_tests_agree_with_an_independent_fit():
    fit, other = fit_least_squares(X, Y), sm.OLS(Y, X).fit()
    found, expected = estimate_contrast(fit, [0, 1, -1, 0]), other.t_test([0, 1, -1, 0])
    assert found.statistic == pytest.approx(expected.tvalue.item())
    assert found.p == pytest.approx(expected.pvalue.item())
    assert [found.conf_low, found.conf_high] == pytest.approx(expected.conf_int()[0])
    rows = np.eye(4)[1:3]
    joint, wald = joint_test(fit, rows), other.f_test(rows)
    assert joint.statistic == pytest.approx(float(wald.fvalue))
    assert joint.p == pytest.approx(float(wald.pvalue))
    robust = sm.OLS(Y, X).fit(cov_type="HC3", use_t=True)
    assert joint_test(fit, rows, covariance="HC3").statistic == pytest.approx(
        float(robust.f_test(rows).fvalue)
    )


def test_a_joint_test_of_one_row_is_the_square_of_t():
    fit = fit_least_squares(X, Y)
    t = estimate_contrast(fit, [0, 0, 1, 0])
    joint = joint_test(fit, [0, 0, 1, 0])
    assert joint.statistic == pytest.approx(t.statistic**2)
    assert joint.p == pytest.approx(t.p)
    assert compare_models(fit_least_squares(X[:, [0, 1, 3]], Y), fit).statistic == pytest.approx(
        joint.statistic
    )


def test_every_coefficient_in_order():
    fit = fit_least_squares(X, Y)
    np.testing.assert_allclose([row.estimate for row in coefficient_table(fit)], fit.coefficients)


def test_without_spread_there_is_no_test_but_there_is_an_estimate():
    row = t_estimate(2.0, 0.0, 5)
    assert row.estimate == 2.0 and np.isnan(row.p)
    assert np.isnan(f_test(1.0, 1, 0.0, 5).p)


def test_far_tails_do_not_vanish():
    assert 0 < t_estimate(60.0, 1.0, 40).p < 1e-35


def test_models_of_other_rows_are_not_compared():
    with pytest.raises(InputError, match="same rows"):
        compare_models(fit_least_squares(X[:20, :2], Y[:20]), fit_least_squares(X, Y))
