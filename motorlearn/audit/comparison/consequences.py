"""How far the rate of false positives of a contrast moves: unequal spread, shape of residuals."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from motorlearn.audit.comparison.phase_model import PhaseModel
from motorlearn.linear import LeastSquares, group_variances, true_size

Floats = NDArray[np.float64]

SHUFFLES = 999
CELLS = 2_000_000
"""Values drawn at most: fewer sets of them where there are very many participants."""


@dataclass(frozen=True)
class Rate:
    """Estimated rates of false positives of the nominal 5 % test, over the contrasts.

    Attributes
    ----------
    highest, lowest : float
        Over the contrasts.
    chance_high, chance_low : float
        How often data without the fault give as much, doubled since both ends are looked at.
    """

    highest: float
    lowest: float
    chance_high: float
    chance_low: float


def residuals_apart(fit: LeastSquares) -> Floats:
    """Residuals that are put on one footing for their leverage."""
    return fit.residuals / np.sqrt(np.maximum(1 - fit.leverage, 1e-12))


def rate_under_spread(model: PhaseModel, seed: int) -> Rate:
    """Rate of the contrasts with one variance, had the groups the variances that were observed.

    Chance is found by shuffling the residuals over the groups, whatever their shape.
    """
    fit, codes = model.fit(), model.places()
    variances, df = group_variances(fit, codes)
    usable = np.where(df > 1e-8, variances, np.nanmean(variances))
    rows = [model.coefficient_weights(pair, fit) for pair in model.pairs]
    found = np.array([float(true_size(fit, row, codes, usable)) for row in rows])
    drawn = np.stack([true_size(fit, row, codes, _shuffled(fit, codes, seed)) for row in rows])
    own = _shuffled(fit, codes, None)
    there = np.array([float(true_size(fit, row, codes, own)) for row in rows])
    return Rate(
        float(found.max()),
        float(found.min()),
        min(1.0, 2 * _share(drawn.max(axis=0) >= there.max() * (1 - 1e-12))),
        min(1.0, 2 * _share(drawn.min(axis=0) <= there.min() * (1 + 1e-12))),
    )


def _shuffled(fit: LeastSquares, codes: NDArray[np.intp], seed: int | None) -> Floats:
    """Mean squares of the groups' residuals, after shuffling; as they are without a seed."""
    squares = residuals_apart(fit) ** 2
    unit = np.eye(codes.max() + 1)[codes]
    if seed is not None:
        rows = np.repeat(squares[None], max(199, min(SHUFFLES, CELLS // fit.n)), axis=0)
        squares = np.random.default_rng(seed).permuted(rows, axis=1)
    return np.asarray(np.maximum(squares @ unit / unit.sum(axis=0), 1e-300), dtype=float)


def _share(hits: NDArray[np.bool_]) -> float:
    return float((1 + hits.sum()) / (1 + hits.size))


def rate_under_shape(model: PhaseModel, *, resamples: int, seed: int) -> float:
    """Rate of the contrasts, had everybody's residual the shape that was observed.

    Residuals of all groups are drawn anew without any effect and the contrasts tested each time.
    """
    fit, codes = model.fit(), model.places()
    pool = residuals_apart(fit)
    rng = np.random.default_rng(seed)
    resamples = max(499, min(resamples, CELLS // fit.n))
    outcome = rng.choice(pool - pool.mean(), size=(resamples, fit.n))
    away = outcome - outcome @ fit.design @ fit.unscaled @ fit.design.T
    unit = np.eye(codes.max() + 1)[codes]
    df = np.bincount(codes, 1 - fit.leverage)
    rates = []
    for pair in model.pairs:
        loads = model.coefficient_weights(pair, fit) @ fit.unscaled @ fit.design.T
        if model.by_group:
            shares = loads**2 @ unit
            used = (shares > 1e-14 * shares.sum()) & (df > 1e-8)
            parts = (away**2 @ unit)[:, used] / df[used] * shares[used]
            spread = parts.sum(axis=1)
            freedom = spread**2 / np.maximum((parts**2 / df[used]).sum(axis=1), 1e-300)
        else:
            spread = (away**2).sum(axis=1) / fit.df * float(loads @ loads)
            freedom = np.full(resamples, float(fit.df))
        usable = spread > 0
        t = np.abs(outcome @ loads)[usable] / np.sqrt(spread[usable])
        rates.append(float(np.mean(2 * stats.t.sf(t, freedom[usable]) < 0.05)))
    return max(rates, default=float("nan"))
