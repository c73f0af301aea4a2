from fractions import Fraction

import numpy as np
import pytest
import statsmodels.api as sm

from motorlearn.exceptions import FitError, InputError
from motorlearn.linear import fit_least_squares


@pytest.fixture
def data():
    rng = np.random.default_rng(6)
    x = np.column_stack([np.ones(40), rng.normal(50, 8, 40), rng.normal(0, 1, 40)])
    return x, x @ [3.0, 0.5, -2.0] + rng.normal(0, np.linspace(0.5, 4, 40))


def test_agrees_with_an_independent_fit(data):
    fit, other = fit_least_squares(*data), sm.OLS(data[1], data[0]).fit()
    np.testing.assert_allclose(fit.coefficients, other.params, rtol=1e-10)
    np.testing.assert_allclose(fit.covariance(), other.cov_params(), rtol=1e-9)
    np.testing.assert_allclose(fit.covariance("HC3"), other.cov_HC3, rtol=1e-9)
    np.testing.assert_allclose(fit.leverage, other.get_influence().hat_matrix_diag, rtol=1e-9)
    assert (fit.n, fit.df) == (40, 37)
    assert fit.sse == pytest.approx(other.ssr)


def test_shift_and_scale_of_the_outcome(data):
    x, y = data
    one, other = fit_least_squares(x, y), fit_least_squares(x, 10 * y + 7)
    np.testing.assert_allclose(other.coefficients, 10 * one.coefficients + [7, 0, 0], rtol=1e-9)


def test_a_vast_offset_costs_the_slope_few_digits():
    # The exact slope in rational numbers; a fit about the mean loses none of them.
    x, y = np.cos(np.arange(1.0, 13.0)), 1e10 + np.round(100 * np.sin(2.0 * np.arange(12)))
    a, b = [Fraction(value) for value in x], [Fraction(value) for value in y]
    mean_a, mean_b = sum(a) / 12, sum(b) / 12
    product = sum((i - mean_a) * (j - mean_b) for i, j in zip(a, b, strict=True))
    exact = float(product / sum((i - mean_a) ** 2 for i in a))
    fit = fit_least_squares(np.column_stack([np.ones(12), x]), y)
    assert fit.coefficients[1] == pytest.approx(exact, abs=5e-8)


def test_columns_that_cannot_be_told_apart_are_named(data):
    x, y = data
    with pytest.raises(FitError, match=r"cannot be told apart.*: (copy|age)"):
        fit_least_squares(np.column_stack([x[:, :2], x[:, 1]]), y, names=["1", "age", "copy"])


def test_a_column_on_another_scale_is_not_taken_for_aliased(data):
    x, y = data
    fit = fit_least_squares(x * [1, 1e-9, 1e9], y)
    np.testing.assert_allclose(
        fit.coefficients * [1, 1e-9, 1e9], fit_least_squares(x, y).coefficients, rtol=1e-6
    )


@pytest.mark.parametrize(
    ("change", "error", "match"),
    [
        (lambda x, y: (x[:2], y[:2]), FitError, "2 scores"),
        (lambda x, y: (x, y[:5]), InputError, "match"),
        (lambda x, y: (x, np.where(y > 0, np.nan, y)), InputError, "finite"),
    ],
)
def test_refusals(data, change, error, match):
    with pytest.raises(error, match=match):
        fit_least_squares(*change(*data))


def test_unknown_covariance_is_refused(data):
    with pytest.raises(InputError, match="HC3"):
        fit_least_squares(*data).covariance("HC9")
