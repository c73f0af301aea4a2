"""Chance-corrected agreement on categories: kappa, weighted kappa, Fleiss' kappa, AC1 and alpha.

Two raters give a square table of counts. Any number of raters, with missing ratings, gives a
table of items by categories that counts how many raters chose each. Every coefficient is a
function of how common each pattern of ratings is; the ``…_of`` functions take many sets of such
weights at once, so that the same line gives the estimate and its interval.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from motorlearn.exceptions import InputError
from motorlearn.measures.agreement.patterns import (
    SIMULATIONS,
    Patterns,
    counted_patterns,
    patterns_of,
    quantile_interval,
)

Weights = Literal["none", "linear", "quadratic"]
Metric = Literal["nominal", "ordinal", "interval", "ratio"]


@dataclass(frozen=True)
class Coefficient:
    """An agreement coefficient with its large-sample standard error and its interval."""

    estimate: float
    std_error: float
    conf_low: float
    conf_high: float


@dataclass(frozen=True)
class TwoRaterIndices:
    """What stands behind kappa for two raters: agreement, chance, prevalence and bias."""

    agreement: float
    chance: float
    prevalence: float
    bias: float
    kappa_maximum: float


UNKNOWN = Coefficient(np.nan, np.nan, np.nan, np.nan)


def agreement_weights(categories: int, weights: Weights = "quadratic") -> np.ndarray:
    """Give agreement weights for ordered categories: 1 on the diagonal, 0 in the far corners.

    Examples
    --------
    >>> agreement_weights(3, "linear")[0].tolist()
    [1.0, 0.5, 0.0]
    """
    return weights_between(np.arange(categories, dtype=float), weights)


def weights_between(codes: np.ndarray, weights: Weights = "quadratic") -> np.ndarray:
    """Give agreement weights between categories by the values that stand for them.

    Examples
    --------
    >>> weights_between(np.array([0.0, 1.0, 4.0]), "linear")[0].tolist()
    [1.0, 0.75, 0.0]
    """
    span = np.ptp(codes) if len(codes) else 0.0
    if weights == "none" or span == 0:
        return np.eye(len(codes))
    share = np.abs(np.subtract.outer(codes, codes)) / span
    agreed: np.ndarray = 1 - (share if weights == "linear" else share**2)
    return agreed


def cohen_kappa(
    counts: ArrayLike,
    *,
    weights: ArrayLike | None = None,
    level: float = 0.95,
    simulations: int = SIMULATIONS,
    seed: int = 0,
) -> Coefficient:
    r"""Give Cohen's kappa, weighted where agreement weights are given.

    :math:`\kappa_w = (p_o - p_e)/(1 - p_e)` with :math:`p_o = \sum w_{ij} p_{ij}` and
    :math:`p_e = \sum w_{ij} p_{i.} p_{.j}`; the standard error is the large-sample one of
    Fleiss, Cohen and Everitt, the interval that of :mod:`motorlearn.measures.agreement.patterns`.

    Parameters
    ----------
    counts : array_like, shape (c, c)
        How often the first rater (rows) and the second (columns) chose each pair of categories.
    weights : array_like, shape (c, c), optional
        Agreement weights, 1 for full agreement; the identity where none are given.
    level : float
        Confidence level.
    simulations, seed : int
        Draws behind the interval, and their seed.

    References
    ----------
    Cohen, J. (1960). Educational and Psychological Measurement, 20, 37-46.
    doi:10.1177/001316446002000104. Cohen, J. (1968). Psychological Bulletin, 70, 213-220.
    doi:10.1037/h0026256. Fleiss, J. L., Cohen, J. and Everitt, B. S. (1969). Psychological
    Bulletin, 72, 323-327. doi:10.1037/h0028106.

    Examples
    --------
    >>> round(cohen_kappa([[106, 10, 4], [22, 28, 10], [2, 12, 6]]).estimate, 3)
    0.429
    """
    table = _square(counts)
    w = np.eye(len(table)) if weights is None else np.asarray(weights, dtype=float)
    codes = np.arange(len(table), dtype=float)
    cells = np.argwhere(table > 0)
    found = counted_patterns(
        cells.astype(float),
        table[table > 0],
        codes,
        ordered=weights is not None,
        simulations=simulations,
        seed=seed,
    )
    estimate = float(_kappa(table[None] / table.sum(), w)[0])
    samples = kappa_of(found.ratings, found.draws, codes, w)
    error = _kappa_error(table / table.sum(), w, estimate, table.sum())
    low, high = quantile_interval(samples, estimate, level=level)
    return Coefficient(estimate, error, low, high)


def kappa_of(
    ratings: np.ndarray, weights: np.ndarray, codes: np.ndarray, agreement: np.ndarray
) -> np.ndarray:
    """Kappa of two raters for each set of weights of the patterns, shape (n_sets,)."""
    first, second = (np.searchsorted(codes, column) for column in ratings.T)
    c = len(codes)
    cells = np.zeros((len(ratings), c * c))
    cells[np.arange(len(ratings)), first * c + second] = 1
    shares = (weights @ cells).reshape(-1, c, c) / weights.sum(axis=1)[:, None, None]
    return _kappa(shares, agreement)


def _kappa(shares: np.ndarray, agreement: np.ndarray) -> np.ndarray:
    rows, columns = shares.sum(axis=2), shares.sum(axis=1)
    observed = np.einsum("sij,ij->s", shares, agreement)
    expected = np.einsum("si,sj,ij->s", rows, columns, agreement)
    return _corrected(observed, expected)


def _kappa_error(p: np.ndarray, w: np.ndarray, kappa: float, n: float) -> float:
    if not np.isfinite(kappa):
        return np.nan
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    expected = np.sum(w * np.outer(rows, columns))
    spread = np.add.outer(w @ columns, rows @ w)
    first = np.sum(p * (w - spread * (1 - kappa)) ** 2)
    variance = (first - (kappa - expected * (1 - kappa)) ** 2) / (n * (1 - expected) ** 2)
    return float(np.sqrt(max(0.0, variance)))


def two_rater_indices(counts: ArrayLike) -> TwoRaterIndices:
    """Give agreement, chance agreement, prevalence and bias of a two-rater table.

    Prevalence and bias are those of Byrt, Bishop and Carlin (1993) for two categories; for more
    they are the largest over the categories taken one against the rest.

    References
    ----------
    Byrt, T., Bishop, J. and Carlin, J. B. (1993). Journal of Clinical Epidemiology, 46, 423-429.
    doi:10.1016/0895-4356(93)90018-V.
    """
    p = _square(counts) / np.sum(counts)
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    chance = float(rows @ columns)
    ceiling = float(np.minimum(rows, columns).sum())
    return TwoRaterIndices(
        agreement=float(np.trace(p)),
        chance=chance,
        prevalence=float(np.max(np.abs(rows + columns - 1))),
        bias=float(np.max(np.abs(rows - columns))),
        kappa_maximum=(ceiling - chance) / (1 - chance) if chance < 1 else np.nan,
    )


def fleiss_kappa(
    choices: ArrayLike, *, level: float = 0.95, simulations: int = SIMULATIONS, seed: int = 0
) -> Coefficient:
    r"""Give Fleiss' kappa for any number of raters; items rated once inform chance only.

    :math:`p_e = \sum_k \pi_k^2` with :math:`\pi_k` the share of category k over all ratings;
    the standard error is the linearised one over items.

    Parameters
    ----------
    choices : array_like, shape (n_items, n_categories)
        How many raters put each item in each category.
    level : float
        Confidence level.
    simulations, seed : int
        Draws behind the interval, and their seed.

    References
    ----------
    Fleiss, J. L. (1971). Psychological Bulletin, 76, 378-382. doi:10.1037/h0031619. Gwet, K. L.
    (2008). British Journal of Mathematical and Statistical Psychology, 61, 29-48.
    doi:10.1348/000711006X126600.
    """
    return _many_raters(choices, "fleiss", level, simulations, seed)


def gwet_ac1(
    choices: ArrayLike, *, level: float = 0.95, simulations: int = SIMULATIONS, seed: int = 0
) -> Coefficient:
    r"""Give Gwet's AC1 for any number of raters, with missing ratings.

    :math:`p_e = \frac{1}{c-1}\sum_k \pi_k (1-\pi_k)`, which does not collapse when one category
    is rare.

    References
    ----------
    Gwet, K. L. (2008). British Journal of Mathematical and Statistical Psychology, 61, 29-48.
    doi:10.1348/000711006X126600.

    Examples
    --------
    >>> both_no, apart, both_yes = [[2, 0]] * 118, [[1, 1]] * 7, [[0, 2]] * 0
    >>> round(gwet_ac1(both_no + apart + both_yes).estimate, 4)
    0.9408
    """
    if np.asarray(choices).shape[1] < 2:
        return UNKNOWN
    return _many_raters(choices, "ac1", level, simulations, seed)


Chance = Literal["fleiss", "ac1"]


def chance_corrected_of(choices: np.ndarray, weights: np.ndarray, chance: Chance) -> np.ndarray:
    """Fleiss' kappa or AC1 for each set of weights of items, shape (n_sets,).

    Parameters
    ----------
    choices : ndarray, shape (n_items, n_categories)
        How many raters chose each category.
    weights : ndarray, shape (n_sets, n_items)
        How much each item counts.
    """
    raters = choices.sum(axis=1)
    rated, paired = raters > 0, raters >= 2
    share = weights[:, rated] @ (choices[rated] / raters[rated, None])
    share /= weights[:, rated].sum(axis=1, keepdims=True)
    c, r = choices[paired], raters[paired]
    agreement = np.sum(c * (c - 1), axis=1) / (r * (r - 1))
    observed = weights[:, paired] @ agreement / weights[:, paired].sum(axis=1)
    return _corrected(observed, _chance(share, chance))


def _chance(share: np.ndarray, chance: Chance) -> np.ndarray:
    if chance == "fleiss":
        expected: np.ndarray = np.sum(share**2, axis=-1)
    else:
        expected = np.sum(share * (1 - share), axis=-1) / (share.shape[-1] - 1)
    return expected


def _many_raters(
    choices: ArrayLike, chance: Chance, level: float, simulations: int, seed: int
) -> Coefficient:
    counts = np.asarray(choices, dtype=float)
    counts = counts[counts.sum(axis=1) > 0]
    if (counts.sum(axis=1) >= 2).sum() < 2:
        return UNKNOWN
    estimate = float(chance_corrected_of(counts, np.ones((1, len(counts))), chance)[0])
    if not np.isfinite(estimate):
        return UNKNOWN
    found = patterns_of(
        _as_ratings(counts),
        np.arange(counts.shape[1], dtype=float),
        ordered=False,
        simulations=simulations,
        seed=seed,
    )
    samples = chance_corrected_of(
        choices_of(found.ratings, np.arange(counts.shape[1])), found.draws, chance
    )
    low, high = quantile_interval(samples, estimate, level=level)
    return Coefficient(estimate, _linearised_error(counts, chance, estimate), low, high)


def choices_of(ratings: np.ndarray, codes: np.ndarray) -> np.ndarray:
    """Count how many raters chose each category, shape (n_items, n_categories)."""
    return np.stack([(ratings == code).sum(axis=1) for code in codes], axis=1).astype(float)


def _as_ratings(counts: np.ndarray) -> np.ndarray:
    """One set of ratings that gives these counts, in ascending order, NaN behind them."""
    most = int(counts.sum(axis=1).max())
    rows = np.full((len(counts), most), np.nan)
    for place, row in enumerate(counts):
        given = np.repeat(np.arange(counts.shape[1]), row.astype(int))
        rows[place, : len(given)] = given
    return rows


def _linearised_error(counts: np.ndarray, chance: Chance, value: float) -> float:
    raters = counts.sum(axis=1)
    paired = raters >= 2
    n, n_paired = len(counts), paired.sum()
    share = (counts / raters[:, None]).mean(axis=0)
    expected = _chance(share, chance)
    pairs = np.where(paired, raters * (raters - 1), 1)
    agreement = np.sum(counts * (counts - 1), axis=1) / pairs
    slope = share if chance == "fleiss" else (1 - share) / (counts.shape[1] - 1)
    own = np.where(paired, n / n_paired * (agreement - expected) / (1 - expected), 0.0)
    own_chance = (counts / raters[:, None]) @ slope
    linear = own - 2 * (1 - value) * (own_chance - expected) / (1 - expected)
    return float(np.sqrt(np.sum((linear - value) ** 2) / (n * (n - 1))))


def coefficient(
    found: Patterns,
    samples_of: Callable[[np.ndarray, np.ndarray], np.ndarray],
    *,
    level: float,
    std_error: float = np.nan,
) -> Coefficient:
    """Estimate and interval of a coefficient that is a function of weighted patterns.

    Parameters
    ----------
    found : Patterns
        What :func:`motorlearn.measures.agreement.patterns.patterns_of` gave.
    samples_of : callable
        ``(ratings, weights) -> values``, shape (n_sets,).
    """
    estimate = float(samples_of(found.ratings, found.seen)[0])
    samples = samples_of(found.ratings, found.draws)
    return Coefficient(estimate, std_error, *quantile_interval(samples, estimate, level=level))


def _corrected(observed: np.ndarray, expected: np.ndarray) -> np.ndarray:
    room = 1 - expected
    usable = room > 1e-12
    return np.where(usable, (observed - expected) / np.where(usable, room, 1.0), np.nan)


def _square(counts: ArrayLike) -> np.ndarray:
    table = np.asarray(counts, dtype=float)
    if table.ndim != 2 or table.shape[0] != table.shape[1] or (table < 0).any() or not table.sum():
        raise InputError(
            "kappa needs a square table of counts with both raters' categories", [table.shape]
        )
    return table
