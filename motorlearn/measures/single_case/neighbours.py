"""How alike successive sessions of one person are, and what that does to a difference."""

from dataclasses import dataclass

import numpy as np

LIMIT = 0.95
"""Greatest serial correlation that is believed."""
LEAST_SLOPE = 0.4
"""Smallest share of a true correlation that short phases are taken to show."""


@dataclass(frozen=True)
class Neighbours:
    """Serial dependence of the sessions of a person.

    Attributes
    ----------
    lag_one : float
        Correlation of neighbours' deviations from the means of their phases, as it comes out.
    corrected : float
        The same with its bias taken out.
    bias : float
        Bias expected at the corrected value.
    pairs : int
        Pairs of neighbours inside phases.
    """

    lag_one: float
    corrected: float
    bias: float
    pairs: int


def lag_one(scores: np.ndarray, phases: np.ndarray) -> Neighbours:
    """Correlation of neighbours inside phases, and with its bias taken out.

    ``r = sum e[t] e[t+1] / sum e[t]**2`` over neighbours of one phase, with ``e`` the deviations
    from the mean of the phase. With ``P`` phases in ``n`` sessions its expectation is about
    ``rho - (P (1 + 3 rho) + P rho) / n`` (a phase loses one of its pairs), so that ``r`` is too
    low in short phases.

    Parameters
    ----------
    scores : ndarray of float, shape (sessions,)
        Scores in order; missing ones belong to no pair.
    phases : ndarray of int, shape (sessions,)
        Number of the phase of each session.

    References
    ----------
    Kendall, M. G. (1954). Note on bias in the estimation of autocorrelation. Biometrika, 41,
    403-404. doi:10.1093/biomet/41.3-4.403 (from memory).
    """
    rest = np.full(len(scores), np.nan)
    kinds = np.unique(phases)
    for phase in kinds:
        mine = phases == phase
        rest[mine] = scores[mine] - np.nanmean(scores[mine])
    beside = (phases[1:] == phases[:-1]) & ~np.isnan(rest[1:]) & ~np.isnan(rest[:-1])
    squares, n = float(np.nansum(rest**2)), int((~np.isnan(rest)).sum())
    if squares <= 0 or not beside.any():
        return Neighbours(np.nan, np.nan, np.nan, int(beside.sum()))
    found = float((rest[1:] * rest[:-1])[beside].sum()) / squares
    share = len(kinds) / n
    slope = max(1 - 4 * share, LEAST_SLOPE)
    corrected = float(np.clip((found + share) / slope, -LIMIT, LIMIT))
    return Neighbours(found, corrected, found - corrected, int(beside.sum()))


def variance_inflation(codes: np.ndarray, correlation: float) -> float:
    """By how much serial correlation multiplies the variance of mean B minus mean A.

    ``c' R c / c' c`` with ``c`` the weights of the sessions in the difference and ``R`` the
    first-order autoregressive correlation of their places.

    Parameters
    ----------
    codes : ndarray of float, shape (sessions,)
        0 for A, 1 for B, missing where there is no score.
    correlation : float
        Correlation of neighbours.

    Examples
    --------
    >>> round(variance_inflation(np.repeat([0.0, 1.0], 9), 0.3), 3)
    1.653
    """
    held = np.flatnonzero(~np.isnan(codes))
    b = codes[held] == 1
    weights = np.where(b, 1 / b.sum(), -1 / (~b).sum())
    alike = np.sign(correlation) * np.abs(correlation) ** np.abs(np.subtract.outer(held, held))
    if correlation < 0:
        alike = np.where(np.subtract.outer(held, held) % 2 == 0, np.abs(alike), alike)
    np.fill_diagonal(alike, 1.0)
    return float(weights @ alike @ weights / (weights @ weights))
