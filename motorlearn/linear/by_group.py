"""Contrasts of a least-squares fit whose residual variance may differ from group to group."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.linear.hypotheses import Estimate, FTest, t_estimate
from motorlearn.linear.least_squares import Floats, LeastSquares


def group_variances(fit: LeastSquares, codes: ArrayLike) -> tuple[Floats, Floats]:
    """Residual variance of each group and its degrees of freedom.

    ``f_g = Σ (1 - h_i)`` and ``s_g² = Σ r_i² / f_g`` over the members of a group, h the leverage;
    the degrees of freedom add up to those of the fit.

    Returns
    -------
    variances, df : array (groups,)
        Without a value (NaN) where a group leaves no degree of freedom.

    Examples
    --------
    >>> from motorlearn.linear import fit_least_squares
    >>> fit = fit_least_squares([[1, 0], [1, 0], [0, 1], [0, 1]], [1, 3, 4, 9])
    >>> [value.round(6).tolist() for value in group_variances(fit, [0, 0, 1, 1])]
    [[2.0, 12.5], [1.0, 1.0]]
    """
    group = _codes(fit, codes)
    df = np.bincount(group, 1 - fit.leverage)
    squares = np.bincount(group, fit.residuals**2)
    usable = df > 1e-8
    variances = np.where(usable, squares / np.where(usable, df, 1.0), np.nan)
    return np.asarray(variances, dtype=float), np.asarray(df, dtype=float)


def estimate_by_group(
    fit: LeastSquares, weights: ArrayLike, codes: ArrayLike, *, level: float = 0.95
) -> Estimate:
    """Estimate ``L b`` with a residual variance for each group.

    The estimate is that of least squares, ``Σ w_i y_i``; its variance is ``Σ_g a_g s_g²`` with
    ``a_g = Σ w_i²`` over the members of the group, and the degrees of freedom are Satterthwaite's,
    ``(Σ a_g s_g²)² / Σ (a_g s_g²)² / f_g``. Without a covariate this is Welch's t.

    Parameters
    ----------
    fit : LeastSquares
        The model.
    weights : array (p,)
        One weight per coefficient.
    codes : array of int (n,)
        Group of each observation, 0 to groups - 1.

    References
    ----------
    Satterthwaite, F. E. (1946). Biometrics Bulletin, 2, 110-114. https://doi.org/10.2307/3002019
    Welch, B. L. (1947). Biometrika, 34, 28-35. https://doi.org/10.1093/biomet/34.1-2.28

    Examples
    --------
    >>> from motorlearn.linear import fit_least_squares, welch
    >>> y = [1.0, 2.0, 3.0, 4.0, 2.0, 4.0, 6.0]
    >>> fit = fit_least_squares([[1, 0]] * 4 + [[0, 1]] * 3, y)
    >>> result = estimate_by_group(fit, [1, -1], [0] * 4 + [1] * 3)
    >>> round(result.df, 4), round(welch(y[:4], y[4:]).df, 4)
    (3.2347, 3.2347)
    """
    row = np.asarray(weights, dtype=float)
    variances, df = group_variances(fit, codes)
    shares = _shares(fit, row, codes)
    used = shares > 1e-14 * shares.sum()
    parts = shares[used] * variances[used]
    spread = float(parts.sum())
    freedom = spread**2 / float(np.sum(parts**2 / df[used])) if spread > 0 else float("nan")
    return t_estimate(float(row @ fit.coefficients), float(np.sqrt(spread)), freedom, level=level)


def joint_test_by_group(fit: LeastSquares, rows: ArrayLike, codes: ArrayLike) -> FTest:
    """Test that several combinations of the coefficients are zero, a variance for each group.

    ``W = (Lb)' V⁻¹ (Lb)`` with ``V = Σ_g s_g² A_g``; ``(f - q + 1) / (f q) · W`` is compared with F
    on q and f - q + 1 degrees of freedom, where f makes the total variance of V that of a Wishart
    matrix. ``sum_sq`` and ``partial_eta2`` have no meaning here and are NaN.

    References
    ----------
    Zhang, J.-T. (2012). An approximate Hotelling T²-test for heteroscedastic one-way MANOVA. Open
    Journal of Statistics, 2, 1-11. https://doi.org/10.4236/ojs.2012.21001

    Examples
    --------
    >>> from motorlearn.linear import fit_least_squares
    >>> fit = fit_least_squares([[1, 0]] * 4 + [[0, 1]] * 3, [1.0, 2, 3, 4, 2, 4, 6])
    >>> test = joint_test_by_group(fit, [[1, -1]], [0] * 4 + [1] * 3)
    >>> round(test.statistic, 4), round(test.df2, 4)
    (1.2857, 3.2347)
    """
    contrast = np.atleast_2d(np.asarray(rows, dtype=float))
    variances, df = group_variances(fit, codes)
    group = _codes(fit, codes)
    loads = contrast @ fit.unscaled @ fit.design.T
    parts = [
        variances[g] * loads[:, group == g] @ loads[:, group == g].T for g in range(len(variances))
    ]
    return wishart_test(contrast @ fit.coefficients, parts, df)


def wishart_test(
    estimate: Floats, parts: Sequence[Floats], df: ArrayLike, *, matrices: bool = False
) -> FTest:
    """F test of a vector whose covariance is a sum of independent parts with their own df.

    Parameters
    ----------
    estimate : array (q,)
        What is zero under the hypothesis.
    parts : sequence of array (q, q)
        Estimated parts of its covariance.
    df : array (parts,)
        Degrees of freedom of each part.
    matrices : bool
        Whether each part is an estimated covariance matrix (Wishart) instead of a known matrix
        times an estimated variance.
    """
    q, freedom = len(estimate), np.asarray(df, dtype=float)
    covariance = np.sum(parts, axis=0)
    nan = float("nan")
    nothing = FTest(nan, nan, q, nan, nan, nan, nan)
    if not np.isfinite(covariance).all() or np.linalg.matrix_rank(covariance) < q:
        return nothing
    values, vectors = np.linalg.eigh(covariance)
    root = vectors / np.sqrt(values)
    turned = [root.T @ part @ root for part in parts]
    doubt = sum(
        (np.sum(b**2) + (np.trace(b) ** 2 if matrices else np.sum(b**2))) / f
        for b, f in zip(turned, freedom)
        if f > 0
    )
    f = q * (q + 1) / doubt
    if not f - q + 1 > 0:
        return nothing
    wald = float(np.sum((root.T @ estimate) ** 2))
    statistic = (f - q + 1) / (f * q) * wald
    p = float(stats.f.sf(statistic, q, f - q + 1))
    return FTest(nan, nan, q, float(f - q + 1), float(statistic), p, nan)


def true_size(
    fit: LeastSquares,
    weights: ArrayLike,
    codes: ArrayLike,
    variances: ArrayLike,
    *,
    level: float = 0.95,
) -> Floats:
    """Rate at which the ordinary t test of ``L b = 0`` rejects where it holds.

    The estimate has variance ``Σ a_g σ_g²``, the pooled residual variance has mean
    ``Σ f_g σ_g² / Σ f_g`` and the degrees of freedom ``(Σ f_g σ_g²)² / Σ f_g σ_g⁴``; the t of the
    ordinary test is that of a smaller or larger variance than it takes for granted.

    Parameters
    ----------
    fit : LeastSquares
        The model; only its design matters.
    weights : array (p,)
        One weight per coefficient.
    codes : array of int (n,)
        Group of each observation.
    variances : array (..., groups)
        Residual variance of each group, for one or many cases.
    level : float
        One minus the nominal rate.

    Returns
    -------
    array (...)
        A rate for each case.

    Examples
    --------
    >>> from motorlearn.linear import fit_least_squares
    >>> fit = fit_least_squares([[1, 0]] * 10 + [[0, 1]] * 30, np.arange(40.0))
    >>> codes = [0] * 10 + [1] * 30
    >>> true_size(fit, [1, -1], codes, [[1, 1], [9, 1], [1, 9]]).round(3).tolist()
    [0.05, 0.211, 0.004]
    """
    row, sigma2 = np.asarray(weights, dtype=float), np.asarray(variances, dtype=float)
    df = np.bincount(_codes(fit, codes), 1 - fit.leverage)
    shares = _shares(fit, row, codes)
    pooled = sigma2 @ df
    freedom = pooled**2 / (sigma2**2 @ df)
    taken = pooled / df.sum() * shares.sum()
    limit = float(stats.t.isf((1 - level) / 2, fit.df))
    return np.asarray(2 * stats.t.sf(limit * np.sqrt(taken / (sigma2 @ shares)), freedom))


def _shares(fit: LeastSquares, row: Floats, codes: ArrayLike) -> Floats:
    """Sum of squared weights of the observations of each group in an estimate."""
    if row.shape != fit.coefficients.shape:
        raise InputError(
            "a contrast needs one weight per coefficient", [row.shape, fit.coefficients.shape]
        )
    squares = (row @ fit.unscaled @ fit.design.T) ** 2
    return np.asarray(np.bincount(_codes(fit, codes), squares), dtype=float)


def _codes(fit: LeastSquares, codes: ArrayLike) -> NDArray[np.intp]:
    group = np.asarray(codes, dtype=np.intp)
    if group.shape != fit.outcome.shape:
        raise InputError("each observation needs a group", [group.shape, fit.outcome.shape])
    return group
