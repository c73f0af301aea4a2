"""Chance-corrected agreement on categories: kappa, weighted kappa, Fleiss' kappa, AC1 and alpha.

Two raters give a square table of counts. Any number of raters, with missing ratings, gives a
table of items by categories that counts how many raters chose each.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import stats

from motorlearn.exceptions import InputError

Weights = Literal["none", "linear", "quadratic"]
Metric = Literal["nominal", "ordinal", "interval", "ratio"]


@dataclass(frozen=True)
class Coefficient:
    """An agreement coefficient with its standard error and interval."""

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


def agreement_weights(categories: int, weights: Weights = "quadratic") -> np.ndarray:
    """Give agreement weights for ordered categories: 1 on the diagonal, 0 in the far corners.

    Examples
    --------
    >>> agreement_weights(3, "linear")[0].tolist()
    [1.0, 0.5, 0.0]
    """
    if weights == "none" or categories < 2:
        return np.eye(categories)
    steps = np.abs(np.subtract.outer(np.arange(categories), np.arange(categories)))
    share = steps / (categories - 1)
    return 1 - (share if weights == "linear" else share**2)


def cohen_kappa(counts, *, weights=None, level: float = 0.95) -> Coefficient:
    r"""Give Cohen's kappa, weighted where agreement weights are given.

    :math:`\kappa_w = (p_o - p_e)/(1 - p_e)` with :math:`p_o = \sum w_{ij} p_{ij}` and
    :math:`p_e = \sum w_{ij} p_{i.} p_{.j}`; the standard error is the large-sample one of
    Fleiss, Cohen and Everitt.

    Parameters
    ----------
    counts : array_like, shape (c, c)
        How often the first rater (rows) and the second (columns) chose each pair of categories.
    weights : array_like, shape (c, c), optional
        Agreement weights, 1 for full agreement; the identity where none are given.
    level : float
        Confidence level.

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
    n = table.sum()
    p = table / n
    w = np.eye(len(p)) if weights is None else np.asarray(weights, dtype=float)
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    observed, expected = np.sum(w * p), np.sum(w * np.outer(rows, columns))
    if np.isclose(expected, 1):
        return Coefficient(np.nan, np.nan, np.nan, np.nan)
    kappa = (observed - expected) / (1 - expected)
    spread = np.add.outer(w @ columns, rows @ w)
    first = np.sum(p * (w - spread * (1 - kappa)) ** 2)
    variance = (first - (kappa - expected * (1 - kappa)) ** 2) / (n * (1 - expected) ** 2)
    return _with_interval(kappa, np.sqrt(max(0.0, variance)), level)


def two_rater_indices(counts) -> TwoRaterIndices:
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


def fleiss_kappa(choices, *, level: float = 0.95) -> Coefficient:
    r"""Give Fleiss' kappa for any number of raters; items rated once inform chance only.

    :math:`p_e = \sum_k \pi_k^2` with :math:`\pi_k` the share of category k over all ratings;
    the standard error is the linearised one over items.

    Parameters
    ----------
    choices : array_like, shape (n_items, n_categories)
        How many raters put each item in each category.
    level : float
        Confidence level.

    References
    ----------
    Fleiss, J. L. (1971). Psychological Bulletin, 76, 378-382. doi:10.1037/h0031619. Gwet, K. L.
    (2008). British Journal of Mathematical and Statistical Psychology, 61, 29-48.
    doi:10.1348/000711006X126600.
    """
    return _many_raters(choices, level, lambda share: share, lambda share: np.sum(share**2))


def gwet_ac1(choices, *, level: float = 0.95) -> Coefficient:
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
    categories = np.asarray(choices).shape[1]
    if categories < 2:
        return Coefficient(np.nan, np.nan, np.nan, np.nan)
    return _many_raters(
        choices,
        level,
        lambda share: (1 - share) / (categories - 1),
        lambda share: np.sum(share * (1 - share)) / (categories - 1),
    )


def krippendorff_alpha(
    scores,
    *,
    metric: Metric = "interval",
    level: float = 0.95,
    resamples: int = 1000,
    seed: int = 0,
) -> Coefficient:
    r"""Give Krippendorff's alpha, which accepts missing ratings; the interval resamples items.

    :math:`\alpha = 1 - D_o/D_e` with observed and expected disagreement from the table of
    coincidences and the squared distance of the metric.

    Parameters
    ----------
    scores : array_like, shape (n_items, n_raters)
        Scores; NaN where a rater did not rate.
    metric : {"nominal", "ordinal", "interval", "ratio"}
        Scale of the scores.
    level, resamples, seed
        Confidence level, number of resamples of items and seed of the percentile interval.

    References
    ----------
    Hayes, A. F. and Krippendorff, K. (2007). Communication Methods and Measures, 1, 77-89.
    doi:10.1080/19312450709336664.
    """
    table = np.asarray(scores, dtype=float)
    table = table[np.isfinite(table).sum(axis=1) >= 2]
    values = np.unique(table[np.isfinite(table)])
    if len(values) < 2 or len(table) < 2:
        return Coefficient(np.nan, np.nan, np.nan, np.nan)
    draws = np.random.default_rng(seed).multinomial(
        len(table), np.full(len(table), 1 / len(table)), size=resamples
    )
    once = np.ones((1, len(table)))
    if metric == "interval":
        estimate, samples = (_interval_alpha(table, weights) for weights in (once, draws))
    else:
        per_item = _coincidences(table, values)
        estimate, samples = (
            _alphas(per_item, weights, values, metric) for weights in (once, draws)
        )
    samples = samples[np.isfinite(samples)]
    low, high = np.quantile(samples, [(1 - level) / 2, (1 + level) / 2])
    return Coefficient(float(estimate[0]), float(samples.std(ddof=1)), float(low), float(high))


def _interval_alpha(table: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Alpha from sums of squares: coincidences of a continuous score would be a vast table."""
    raters = np.isfinite(table).sum(axis=1)
    centred = table - np.nanmean(table)
    sums, squares = np.nansum(centred, axis=1), np.nansum(centred**2, axis=1)
    within = 2 * (raters * squares - sums**2) / (raters - 1)
    n = weights @ raters
    expected = 2 * (n * (weights @ squares) - (weights @ sums) ** 2) / (n - 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(expected > 0, 1 - weights @ within / expected, np.nan)


def _coincidences(table: np.ndarray, values: np.ndarray) -> np.ndarray:
    chosen = np.stack([(table == value).sum(axis=1) for value in values], axis=1).astype(float)
    others = chosen.sum(axis=1, keepdims=True) - 1
    per_item = chosen[:, :, None] * chosen[:, None, :] / others[:, :, None]
    diagonal = np.arange(len(values))
    per_item[:, diagonal, diagonal] -= chosen / others
    return per_item


def _alphas(per_item, weights, values, metric) -> np.ndarray:
    totals = weights @ per_item.reshape(len(per_item), -1)
    shape = (len(values), len(values))
    return np.array([_alpha(one.reshape(shape), values, metric) for one in totals])


def _alpha(coincidences: np.ndarray, values: np.ndarray, metric: Metric) -> float:
    totals = coincidences.sum(axis=1)
    distance = _distance(values, totals, metric)
    n = totals.sum()
    expected = np.sum(np.outer(totals, totals) * distance) / (n - 1)
    return float(1 - np.sum(coincidences * distance) / expected) if expected > 0 else np.nan


def _distance(values: np.ndarray, totals: np.ndarray, metric: Metric) -> np.ndarray:
    if metric == "nominal":
        return 1.0 - np.eye(len(values))
    if metric == "ordinal":
        middle = np.cumsum(totals) - totals / 2
        return np.subtract.outer(middle, middle) ** 2
    gap = np.subtract.outer(values, values) ** 2
    if metric == "interval":
        return gap
    total = np.add.outer(values, values)
    return np.divide(gap, total**2, out=np.zeros_like(gap), where=total != 0)


def _many_raters(choices, level, chance_of_choice, chance) -> Coefficient:
    counts = np.asarray(choices, dtype=float)
    raters = counts.sum(axis=1)
    counts, raters = counts[raters > 0], raters[raters > 0]
    paired = raters >= 2
    if paired.sum() < 2:
        return Coefficient(np.nan, np.nan, np.nan, np.nan)
    n, n_paired = len(counts), paired.sum()
    share = (counts / raters[:, None]).mean(axis=0)
    pairs = np.where(paired, raters * (raters - 1), 1)
    agreement = np.sum(counts * (counts - 1), axis=1) / pairs
    observed, expected = agreement[paired].mean(), chance(share)
    if np.isclose(expected, 1):
        return Coefficient(np.nan, np.nan, np.nan, np.nan)
    value = (observed - expected) / (1 - expected)
    own = np.where(paired, n / n_paired * (agreement - expected) / (1 - expected), 0.0)
    own_chance = (counts / raters[:, None]) @ chance_of_choice(share)
    linear = own - 2 * (1 - value) * (own_chance - expected) / (1 - expected)
    error = np.sqrt(np.sum((linear - value) ** 2) / (n * (n - 1)))
    return _with_interval(value, error, level, df=n - 1)


def _with_interval(value, error, level, df: float = np.inf) -> Coefficient:
    reach = stats.t.isf((1 - level) / 2, df) * error
    return Coefficient(
        float(value), float(error), float(max(-1.0, value - reach)), float(min(1.0, value + reach))
    )


def _square(counts) -> np.ndarray:
    table = np.asarray(counts, dtype=float)
    if table.ndim != 2 or table.shape[0] != table.shape[1] or (table < 0).any() or not table.sum():
        raise InputError(
            "kappa needs a square table of counts with both raters' categories", [table.shape]
        )
    return table
