"""How far the rate of false positives moves with the residual covariance of a linear model."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse, stats
from scipy.sparse.linalg import splu

from motorlearn.audit.mixed.model import MixedModel

Floats = NDArray[np.float64]


def rate_of(std_error: Floats, df: Floats, true_error: Floats) -> float:
    """Highest rate of the nominal 5 % t test with one standard error where another is true."""
    limit = stats.t.isf(0.025, df)
    ratio = np.divide(std_error, true_error, out=np.ones_like(std_error), where=true_error > 0)
    return float(np.max(2 * stats.t.sf(limit * ratio, df)))


def rate_under_variances(model: MixedModel, focus: Sequence[int], factor: Floats) -> float:
    """Highest rate of the coefficients of interest, had the residual variance these factors.

    ``b = A y`` by generalised least squares with the covariance of the model, where y is turned so
    that its residuals are independent with variance one; the covariance of b is
    ``A (Z Ψ Z' + F) A'`` where they really have the variances F.

    Parameters
    ----------
    model : MixedModel
        A linear model.
    focus : sequence of int
        Positions of the coefficients.
    factor : array (cells,)
        True over assumed variance of the mean of each cell.
    """
    fit, whiten = model.fit, model.whitener
    x, loads = whiten @ fit.design.x, sparse.csc_matrix(whiten @ model.loadings)
    turned = x
    if loads.shape[1]:
        inner = loads.T @ loads + sparse.identity(loads.shape[1])
        turned = x - loads @ splu(sparse.csc_matrix(inner)).solve(loads.T @ x)
    rows = np.linalg.solve(x.T @ turned, turned.T)[list(focus)]
    between = ((rows @ loads) ** 2).sum(axis=1)
    within = rows**2
    frame = fit.estimates
    assumed = np.sqrt(between + within.sum(axis=1))
    true = np.sqrt(between + within @ factor)
    df = frame["df"].to_numpy(dtype=float)[list(focus)]
    return rate_of(assumed, df, true)


def level_factors(
    residuals: pd.DataFrame, levels: NDArray[np.object_], cells: NDArray[np.intp]
) -> Floats:
    """Residual variance of each cell's level over that of all, from standardised residuals."""
    square = residuals["residual"].to_numpy() ** 2
    _, place = np.unique(levels.astype(str), return_inverse=True)
    mean = np.bincount(place[cells], square) / np.bincount(place[cells])
    return np.asarray((mean / square.mean())[place], dtype=float)


def serial_factor(rho: float, count: Floats) -> Floats:
    """Variance of a mean of serially correlated trials over that of independent ones.

    ``1 + 2 Σ_k (1 - k/m) ρ^k`` for m trials in a row.

    Examples
    --------
    >>> serial_factor(0.5, np.array([1.0, 2.0, 1000.0])).round(2).tolist()
    [1.0, 1.5, 3.0]
    """
    m = np.asarray(count, dtype=float)
    if not abs(rho) < 1:
        return np.ones_like(m)
    return (1 + rho) / (1 - rho) - 2 * rho * (1 - rho**m) / (m * (1 - rho) ** 2)
