"""Estimates and tests of linear combinations of the coefficients."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from motorlearn.exceptions import InputError
from motorlearn.linear.least_squares import Floats, LeastSquares


@dataclass(frozen=True)
class Estimate:
    """An estimate with its t test and interval.

    Parameters
    ----------
    estimate, std_error, df, statistic, p, conf_low, conf_high : float
        The usual; p is two-sided.
    """

    estimate: float
    std_error: float
    df: float
    statistic: float
    p: float
    conf_low: float
    conf_high: float


@dataclass(frozen=True)
class FTest:
    """An F test.

    Parameters
    ----------
    sum_sq : float
        Sum of squares of the hypothesis.
    error_sum_sq : float
        Residual sum of squares.
    df1, df2 : float
        Degrees of freedom.
    statistic, p : float
        F and its upper tail.
    partial_eta2 : float
        ``SS / (SS + SS_error)``.
    """

    sum_sq: float
    error_sum_sq: float
    df1: float
    df2: float
    statistic: float
    p: float
    partial_eta2: float


def require_level(level: float) -> None:
    """Refuse a confidence level that is not a share.

    Examples
    --------
    >>> require_level(0.95)
    """
    if isinstance(level, bool) or not 0 < level < 1:
        percent = 1 < level < 100 and f"write {level / 100:g} for {level:g} %"
        raise InputError(
            "a confidence level lies between 0 and 1", [level], percent or "use for example 0.95"
        )


def t_quantile(level: float, df: Floats | float) -> Floats:
    """Two-sided quantile of t, of the normal distribution where ``df`` is infinite.

    Raises
    ------
    InputError
        If the level does not lie between 0 and 1.

    Examples
    --------
    >>> round(float(t_quantile(0.95, 10)), 4), round(float(t_quantile(0.95, np.inf)), 4)
    (2.2281, 1.96)
    """
    require_level(level)
    found: Floats = -special.stdtrit(df, (1 - level) / 2)  # t.isf without its checks of shapes
    return found


def t_estimate(estimate: float, std_error: float, df: float, *, level: float = 0.95) -> Estimate:
    """Complete an estimate and its standard error with t, two-sided p and interval.

    Examples
    --------
    >>> result = t_estimate(2.0, 1.0, 10)
    >>> round(result.p, 4), round(result.conf_low, 4)
    (0.0734, -0.2281)
    """
    require_level(level)
    if not (std_error > 0 and df > 0):
        nan = float("nan")
        return Estimate(float(estimate), nan, float(df), nan, nan, nan, nan)
    reach = float(t_quantile(level, df)) * std_error
    t = estimate / std_error
    p = float(2 * special.stdtr(df, -abs(t)))
    return Estimate(
        float(estimate),
        float(std_error),
        float(df),
        float(t),
        p,
        estimate - reach,
        estimate + reach,
    )


def f_test(sum_sq: float, df1: float, error_sum_sq: float, df2: float) -> FTest:
    """F test of a sum of squares against an error sum of squares.

    Examples
    --------
    >>> round(f_test(10.0, 2, 30.0, 12).p, 4)
    0.178
    """
    mean_error = error_sum_sq / df2 if df2 > 0 else float("nan")
    f = sum_sq / df1 / mean_error if df1 > 0 and mean_error > 0 else float("nan")
    total = sum_sq + error_sum_sq
    return FTest(
        float(sum_sq),
        float(error_sum_sq),
        float(df1),
        float(df2),
        float(f),
        float(stats.f.sf(f, df1, df2)),
        float(sum_sq / total) if total > 0 else float("nan"),
    )


def estimate_contrast(
    fit: LeastSquares, weights: ArrayLike, *, level: float = 0.95, covariance: str = "ordinary"
) -> Estimate:
    """Estimate ``L b`` with its t test on the residual degrees of freedom.

    Parameters
    ----------
    fit : LeastSquares
        The model.
    weights : array (p,)
        One weight per coefficient.
    covariance : {"ordinary", "HC3"}
        Covariance of the coefficients.

    Examples
    --------
    >>> from motorlearn.linear import fit_least_squares
    >>> fit = fit_least_squares([[1, 0], [1, 0], [1, 1], [1, 1]], [1, 2, 4, 6])
    >>> round(estimate_contrast(fit, [0, 1]).statistic, 4)
    3.1305
    """
    row = np.asarray(weights, dtype=float)
    if row.shape != fit.coefficients.shape:
        raise InputError(
            "a contrast needs one weight per coefficient", [row.shape, fit.coefficients.shape]
        )
    spread = float(row @ fit.covariance(covariance) @ row)
    return t_estimate(float(row @ fit.coefficients), np.sqrt(spread), fit.df, level=level)


def joint_test(fit: LeastSquares, rows: ArrayLike, *, covariance: str = "ordinary") -> FTest:
    """Test that several linear combinations of the coefficients are all zero.

    With ``HC3`` the sum of squares is that of the Wald form, scaled by the residual mean square.

    Examples
    --------
    >>> from motorlearn.linear import fit_least_squares
    >>> fit = fit_least_squares([[1, 0], [1, 0], [1, 1], [1, 1]], [1, 2, 4, 6])
    >>> round(joint_test(fit, [[0, 1]]).statistic, 4)
    9.8
    """
    weights = np.atleast_2d(np.asarray(rows, dtype=float))
    estimate = weights @ fit.coefficients
    if fit.df == 0 or not fit.variance > 0:
        return f_test(float("nan"), len(weights), fit.sse, fit.df)
    spread = weights @ fit.covariance(covariance) @ weights.T
    sum_sq = float(estimate @ np.linalg.solve(spread, estimate)) * fit.variance
    return f_test(sum_sq, len(weights), fit.sse, fit.df)


def compare_models(small: LeastSquares, large: LeastSquares) -> FTest:
    """F test of the terms that the larger model has and the smaller one lacks.

    Examples
    --------
    >>> from motorlearn.linear import fit_least_squares
    >>> y = [1, 2, 4, 6]
    >>> small = fit_least_squares([[1]] * 4, y)
    >>> large = fit_least_squares([[1, 0], [1, 0], [1, 1], [1, 1]], y)
    >>> round(compare_models(small, large).statistic, 4)
    9.8
    """
    if small.n != large.n or small.df <= large.df:
        raise InputError(
            "models can be compared where one holds the other on the same rows",
            [small.df, large.df],
        )
    return f_test(small.sse - large.sse, small.df - large.df, large.sse, large.df)


def coefficient_table(
    fit: LeastSquares, *, level: float = 0.95, covariance: str = "ordinary"
) -> list[Estimate]:
    """Every coefficient with its t test, in the order of the columns.

    Examples
    --------
    >>> from motorlearn.linear import fit_least_squares
    >>> fit = fit_least_squares([[1, 0], [1, 0], [1, 1], [1, 1]], [1, 2, 4, 6])
    >>> [round(row.estimate, 2) for row in coefficient_table(fit)]
    [1.5, 3.5]
    """
    return [
        estimate_contrast(fit, row, level=level, covariance=covariance)
        for row in np.eye(len(fit.coefficients))
    ]
