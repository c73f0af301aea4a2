"""Chance-corrected agreement on categories: kappa, weighted kappa, Fleiss' kappa and AC1.

Every coefficient is a function of how common each pattern of ratings is; the functions take many
sets of such weights at once, so that the same line gives the estimate and its interval.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from motorlearn.exceptions import InputError

Weights = Literal["none", "linear", "quadratic"]
Metric = Literal["nominal", "ordinal", "interval", "ratio"]


@dataclass(frozen=True)
class TwoRaterIndices:
    """What stands behind kappa for two raters: agreement, chance, prevalence and bias."""

    agreement: float
    chance: float
    prevalence: float
    bias: float
    kappa_maximum: float


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


def kappa_of(
    ratings: np.ndarray, weights: np.ndarray, codes: np.ndarray, agreement: np.ndarray
) -> np.ndarray:
    r"""Kappa of two raters for each set of weights of the patterns, shape (n_sets,).

    :math:`\kappa_w = (p_o - p_e)/(1 - p_e)` with :math:`p_o = \sum w_{ij} p_{ij}` and
    :math:`p_e = \sum w_{ij} p_{i.} p_{.j}`; plain kappa has the identity as ``agreement`` w.

    References
    ----------
    Cohen, J. (1960). Educational and Psychological Measurement, 20, 37-46.
    doi:10.1177/001316446002000104. Cohen, J. (1968). Psychological Bulletin, 70, 213-220.
    doi:10.1037/h0026256.
    """
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


Chance = Literal["fleiss", "ac1"]


def chance_corrected_of(choices: np.ndarray, weights: np.ndarray, chance: Chance) -> np.ndarray:
    r"""Fleiss' kappa or AC1 for each set of weights of items, shape (n_sets,).

    With :math:`\pi_k` the share of category k over all ratings :math:`p_e = \sum_k \pi_k^2` of
    Fleiss; :math:`p_e = \frac{1}{c-1}\sum_k \pi_k (1-\pi_k)` of AC1 does not collapse when one
    category is rare. Items rated once inform chance only.

    Parameters
    ----------
    choices : ndarray, shape (n_items, n_categories)
        How many raters chose each category.
    weights : ndarray, shape (n_sets, n_items)
        How much each item counts.

    References
    ----------
    Fleiss, J. L. (1971). Psychological Bulletin, 76, 378-382. doi:10.1037/h0031619. Gwet, K. L.
    (2008). British Journal of Mathematical and Statistical Psychology, 61, 29-48.
    doi:10.1348/000711006X126600.
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


def choices_of(ratings: np.ndarray, codes: np.ndarray) -> np.ndarray:
    """Count how many raters chose each category, shape (n_items, n_categories)."""
    return np.stack([(ratings == code).sum(axis=1) for code in codes], axis=1).astype(float)


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
