"""Least squares by statsmodels, with a rank check that names the columns that cannot be told apart.

Ours are the refusals in words and the fit about the mean of a vast outcome; estimates, covariances
and tests are those of ``statsmodels.OLS``.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg
from statsmodels.regression.linear_model import OLS, RegressionResults

from motorlearn.exceptions import FitError, InputError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LeastSquares:
    """A linear model fitted to one outcome.

    Parameters
    ----------
    coefficients : array (p,)
        Estimates, in the order of the columns.
    unscaled : array (p, p)
        ``(X'X)⁻¹``.
    design, outcome, fitted, residuals : array
        What was fitted and what came out.
    df : int
        Residual degrees of freedom, n - p.
    names : tuple of str
        Names of the columns.
    results : RegressionResults
        What statsmodels gave; its outcome is the one about the mean where a column is constant.
    """

    coefficients: Floats
    unscaled: Floats
    design: Floats
    outcome: Floats
    fitted: Floats
    residuals: Floats
    df: int
    names: tuple[str, ...]
    results: RegressionResults = field(repr=False, compare=False)

    @property
    def n(self) -> int:
        """Observations."""
        return len(self.outcome)

    @cached_property
    def sse(self) -> float:
        """Residual sum of squares."""
        return float(self.residuals @ self.residuals)

    @property
    def variance(self) -> float:
        """Residual mean square; NaN without residual degrees of freedom."""
        return self.sse / self.df if self.df > 0 else float("nan")

    @cached_property
    def leverage(self) -> Floats:
        """Diagonal of the hat matrix."""
        found: Floats = self.results.get_influence().hat_matrix_diag
        return found

    def covariance(self, kind: str = "ordinary") -> Floats:
        """Covariance of the estimates: ``ordinary`` or ``HC3`` (robust to unequal variances).

        ``HC3`` is NaN where one observation alone decides a coefficient (a leverage of 1).

        References
        ----------
        MacKinnon, J. G., & White, H. (1985). Journal of Econometrics, 29, 305-325.
        https://doi.org/10.1016/0304-4076(85)90158-7
        """
        if kind == "ordinary":
            return self.variance * self.unscaled
        if kind != "HC3":
            raise InputError("this covariance is not known", [kind], "use 'ordinary' or 'HC3'")
        if (self.leverage > 1 - 1e-10).any():
            return np.full_like(self.unscaled, np.nan)
        found: Floats = self.results.cov_HC3
        return found


def fit_least_squares(
    design: ArrayLike, outcome: ArrayLike, *, names: Sequence[str] | None = None
) -> LeastSquares:
    """Fit ``y = X b + e`` by least squares.

    Parameters
    ----------
    design : array (n, p)
        Columns of the model, intercept included.
    outcome : array (n,)
        Outcome.
    names : sequence of str, optional
        Names of the columns, for messages.

    Raises
    ------
    FitError
        If columns cannot be told apart (they are named), or there are fewer rows than columns.
    InputError
        If a value is missing or infinite, or the shapes disagree.

    Examples
    --------
    >>> fit = fit_least_squares([[1, 0], [1, 1], [1, 2]], [1, 3, 5])
    >>> fit.coefficients.round(9).tolist(), fit.df
    ([1.0, 2.0], 1)
    """
    x, y = np.asarray(design, dtype=float), np.asarray(outcome, dtype=float)
    if x.ndim != 2 or y.shape != x.shape[:1]:
        raise InputError("design and outcome do not match", [x.shape, y.shape])
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise InputError("least squares needs finite values", remedy="leave out missing rows first")
    labels = tuple(names) if names is not None else tuple(f"column {i}" for i in range(x.shape[1]))
    if x.shape[0] < x.shape[1]:
        raise FitError(f"{x.shape[0]} scores are too few for the {x.shape[1]} terms of the model.")
    _refuse_aliased(x, labels)
    offset, constant = _offset(x, y)
    results = OLS(y - offset, x).fit(method="qr")
    return LeastSquares(
        results.params + offset * constant,
        results.normalized_cov_params,
        x,
        y,
        offset + results.fittedvalues,
        results.resid,
        x.shape[0] - x.shape[1],
        labels,
        results,
    )


def _offset(x: Floats, y: Floats) -> tuple[float, Floats]:
    """Mean of the outcome and where the coefficients carry it; zero without a constant column.

    A vast outcome is fitted about its mean (the subtraction is exact there), so that the other
    coefficients lose no digits to it.
    """
    constant = np.zeros(x.shape[1])
    flat = np.flatnonzero((x == x[:1]).all(axis=0) & (x[0] != 0))
    if len(flat) == 0:
        return 0.0, constant
    constant[flat[0]] = 1.0 / x[0, flat[0]]
    return float(y.mean()), constant


def _refuse_aliased(x: Floats, names: tuple[str, ...]) -> None:
    size = np.linalg.norm(x, axis=0)
    scaled = x / np.where(size > 0, size, 1.0)
    r, order = linalg.qr(scaled, mode="r", pivoting=True)
    small = np.abs(np.diag(r)) < 1e-10
    if small.any():
        aliased = sorted(names[order[i]] for i in np.flatnonzero(small))
        raise FitError(
            f"these terms cannot be told apart from the others: {', '.join(aliased)}; leave them "
            "out or collect data that vary in them."
        )
