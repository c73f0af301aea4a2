"""Krippendorff's alpha, which accepts missing ratings."""

import numpy as np

from motorlearn.measures.agreement.kappa import Metric


def alpha_of(
    ratings: np.ndarray, weights: np.ndarray, codes: np.ndarray, metric: Metric
) -> np.ndarray:
    r"""Alpha for each set of weights of the patterns, shape (n_sets,).

    :math:`\alpha = 1 - D_o/D_e` with observed and expected disagreement from the table of
    coincidences and the squared distance of the metric; every pattern has two ratings or more.

    References
    ----------
    Hayes, A. F. and Krippendorff, K. (2007). Communication Methods and Measures, 1, 77-89.
    doi:10.1080/19312450709336664.
    """
    if metric == "interval":
        return _interval_alpha(ratings, weights)
    c = len(codes)
    per_item = _coincidences(ratings, codes).reshape(len(ratings), -1)
    together = (weights @ per_item).reshape(-1, c, c)
    totals = together.sum(axis=2)
    distance = _distance(codes, totals, metric)
    observed = np.sum(together * distance, axis=(1, 2))
    expected = np.sum(totals[:, :, None] * totals[:, None, :] * distance, axis=(1, 2))
    expected = expected / (totals.sum(axis=1) - 1)
    usable = expected > 0
    return np.where(usable, 1 - observed / np.where(usable, expected, 1.0), np.nan)


def _interval_alpha(table: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Alpha from sums of squares: coincidences of a continuous score would be a vast table."""
    raters = np.isfinite(table).sum(axis=1)
    centred = table - np.nanmean(table)
    sums, squares = np.nansum(centred, axis=1), np.nansum(centred**2, axis=1)
    within = 2 * (raters * squares - sums**2) / (raters - 1)
    n = weights @ raters
    expected = 2 * (n * (weights @ squares) - (weights @ sums) ** 2) / (n - 1)
    usable = expected > 0
    return np.where(usable, 1 - weights @ within / np.where(usable, expected, 1.0), np.nan)


def _coincidences(table: np.ndarray, values: np.ndarray) -> np.ndarray:
    chosen = np.stack([(table == value).sum(axis=1) for value in values], axis=1).astype(float)
    others = chosen.sum(axis=1, keepdims=True) - 1
    per_item: np.ndarray = chosen[:, :, None] * chosen[:, None, :] / others[:, :, None]
    diagonal = np.arange(len(values))
    per_item[:, diagonal, diagonal] -= chosen / others
    return per_item


def _distance(values: np.ndarray, totals: np.ndarray, metric: Metric) -> np.ndarray:
    if metric == "nominal":
        return 1.0 - np.eye(len(values))
    if metric == "ordinal":
        middle = np.cumsum(totals, axis=1) - totals / 2
        return (middle[:, :, None] - middle[:, None, :]) ** 2
    gap = np.subtract.outer(values, values) ** 2
    total = np.add.outer(values, values)
    distance: np.ndarray = np.divide(gap, total**2, out=np.zeros_like(gap), where=total != 0)
    return distance
