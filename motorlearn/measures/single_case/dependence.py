"""The difference of two conditions of one person, whatever the correlation of neighbours."""

from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

CORRELATIONS = np.round(np.arange(-0.9, 0.951, 0.05), 2)
"""Serial correlations that are held possible, each as likely as the next before the data."""


@dataclass(frozen=True)
class DependentDifference:
    """Mean B minus mean A of one person, with what serial dependence does to it.

    Attributes
    ----------
    estimate, conf_low, conf_high : float
        The difference and its interval, in the unit of the scores.
    variance : float
        Its variance, averaged over the serial correlations that the sessions leave possible.
    inflation : float
        By how much they multiply the variance of such a difference, averaged likewise.
    """

    estimate: float
    conf_low: float
    conf_high: float
    variance: float
    inflation: float


def dependent_difference(
    scores: np.ndarray, codes: np.ndarray, *, level: float = 0.95
) -> DependentDifference:
    """Difference of means with an interval that allows for an unknown serial correlation.

    For each correlation ``rho`` on a grid, with ``R`` the first-order autoregressive correlation
    of the places, ``M`` the projection on the residuals of two levels, ``c`` the weights of the
    difference and ``S`` the residual sum of squares, the difference has the squared error
    ``c' R c S / tr(M R)`` on ``tr(M R)**2 / tr(M R M R)`` degrees of freedom. The grid is weighted
    by the restricted likelihood with the variance integrated out,
    ``|R|**-.5 |X' R^-1 X|**-.5 (y' P y)**(-(n - 2) / 2)``, and the interval holds its level over
    the weighted t distributions. No correlation makes it narrower than independent sessions do.

    Parameters
    ----------
    scores : ndarray of float, shape (sessions,)
        Scores in order of their sessions, missing ones left in their places.
    codes : ndarray of float, shape (sessions,)
        0 for A and 1 for B.
    level : float
        Level of the interval.

    References
    ----------
    Satterthwaite, F. E. (1946). An approximate distribution of estimates of variance components.
    Biometrics Bulletin, 2, 110-114. doi:10.2307/3002019; Harville, D. A. (1974). Bayesian inference
    for variance components using only error contrasts. Biometrika, 61, 383-385.
    doi:10.1093/biomet/61.2.383 (both from memory; the coverage of what is built from them is
    simulated in *Do the tests keep their rate?*).

    Examples
    --------
    >>> scores = np.array([4.0, 6, 5, 7, 5, 4, 9, 8, 10, 9, 11, 9])
    >>> found = dependent_difference(scores, np.repeat([0.0, 1.0], 6))
    >>> round(found.estimate, 2), round(found.conf_low, 1), round(found.conf_high, 1)
    (4.17, 2.3, 6.0)
    """
    places = np.flatnonzero(~np.isnan(scores))
    y, b = scores[places], codes[places] == 1
    n, design = len(y), np.stack([~b, b], axis=1).astype(float)
    estimate = float(y[b].mean() - y[~b].mean())
    weights = np.where(b, 1 / b.sum(), -1 / (~b).sum())
    rest = y - np.where(b, y[b].mean(), y[~b].mean())
    squares = float(rest @ rest)
    if n < 3 or squares <= 1e-20 * float(y @ y):
        return DependentDifference(estimate, np.nan, np.nan, 0.0, 1.0)
    share, per_square, factor, df = _over_correlations(rest, places, design, weights)
    errors = np.sqrt(per_square * squares)
    tail = (1 - level) / 2

    def beyond(half: float) -> float:
        return float(share @ stats.t.sf(half / errors, df)) - tail

    half = optimize.brentq(beyond, 0.0, 1.001 * float((stats.t.isf(tail, df) * errors).max()))
    return DependentDifference(
        estimate, estimate - half, estimate + half, float(share @ errors**2), float(share @ factor)
    )


def _over_correlations(
    rest: np.ndarray, places: np.ndarray, design: np.ndarray, weights: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Weight, squared error of one unit of squares, factor of the variance and df on the grid."""
    n = len(rest)
    steps = np.abs(np.subtract.outer(places, places))
    alike = CORRELATIONS[:, None, None] ** steps
    away = np.eye(n) - design @ np.linalg.pinv(design)
    left = away @ alike
    trace = np.trace(left, axis1=1, axis2=2)
    df = trace**2 / np.einsum("rij,rji->r", left, left)
    spread = np.einsum("i,rij,j->r", weights, alike, weights)
    alone = int(np.argmin(np.abs(CORRELATIONS)))
    narrower = spread / trace <= spread[alone] / trace[alone]
    per_square = np.where(narrower, spread[alone] / trace[alone], spread / trace)
    df = np.where(narrower, df[alone], df)
    factor = np.maximum(spread / spread[alone], 1.0)
    return _likelihood(rest, alike, design), per_square, factor, df


def _likelihood(rest: np.ndarray, alike: np.ndarray, design: np.ndarray) -> np.ndarray:
    """Share of each correlation: restricted likelihood, with the variance integrated out."""
    inverse = np.linalg.inv(alike)
    inner = np.einsum("ik,rij,jl->rkl", design, inverse, design)
    seen = np.einsum("rij,j->ri", inverse, rest)
    cross = seen @ design
    explained = np.einsum("rk,rk->r", cross, np.linalg.solve(inner, cross[..., None])[..., 0])
    squares = seen @ rest - explained
    logs = (
        -(
            np.linalg.slogdet(alike)[1]
            + np.linalg.slogdet(inner)[1]
            + (len(rest) - 2) * np.log(squares)
        )
        / 2
    )
    share = np.exp(logs - logs.max())
    part: np.ndarray = share / share.sum()
    return part
