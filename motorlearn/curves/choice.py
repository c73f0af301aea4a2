"""Choice between forms: weights of an information criterion, and when there is no preference."""

import numpy as np

from motorlearn.curves.status import NO_CHANGE, TOO_FEW

NO_PREFERENCE = "no preference"
LEAST_LEAD = 2.0
"""Lead of AICc or BIC below which no form is preferred (common practice)."""


def usable_criterion(criterion: np.ndarray, status: np.ndarray) -> np.ndarray:
    """Criterion, forms first, infinite where nothing was fitted."""
    gone = (status == TOO_FEW) | np.isnan(criterion)
    return np.ascontiguousarray(np.where(gone, np.inf, criterion).T)


def criterion_weights(criterion: np.ndarray, status: np.ndarray) -> np.ndarray:
    """Weights ``exp(-delta / 2)`` over the forms of each learner, adding up to 1.

    NaN where no form was fitted.

    Examples
    --------
    >>> criterion_weights(np.array([[10.0, 12.0]]), np.zeros((1, 2))).round(3)
    array([[0.731, 0.269]])
    """
    usable = usable_criterion(criterion, status)
    least = usable.min(axis=0)
    known = np.isfinite(least)
    share = np.exp(-0.5 * (usable - np.where(known, least, 0.0)))
    share[:, ~known] = np.nan
    found: np.ndarray = (share / share.sum(axis=0)).T
    return found


def choose(
    criterion: np.ndarray, status: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Choose a form for each learner.

    Returns
    -------
    verdict, best : array of int
        Column of the preferred and of the best form. After the forms come, in order: no
        preference, no change in any form, too few trials.
    lead, weight : array of float
        Lead of the best form over the next one (infinite where there is no other), and its
        weight.
    """
    usable = usable_criterion(criterion, status)
    count = len(usable)
    best, least, next_one = _two_lowest(usable)
    known = np.isfinite(least)
    with np.errstate(invalid="ignore"):
        lead = np.where(known, next_one - least, np.nan)
        weight = np.where(known, 1 / sum(np.exp(-0.5 * (row - least)) for row in usable), np.nan)
    verdict = np.where(lead >= LEAST_LEAD, best, count)
    verdict = np.where(np.logical_and.reduce(status.T == NO_CHANGE), count + 1, verdict)
    verdict = np.where(np.logical_and.reduce(status.T == TOO_FEW), count + 2, verdict)
    return verdict, np.where(known, best, verdict), lead, weight


def _two_lowest(usable: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Row of the lowest value in each column, that value, and the lowest of the others."""
    least = usable[0].copy()
    best, next_one = np.zeros(len(least), np.intp), np.full(len(least), np.inf)
    for place, row in enumerate(usable[1:], 1):
        lower = row < least
        best[lower] = place
        next_one = np.where(lower, least, np.minimum(next_one, row))
        least = np.minimum(least, row)
    return best, least, next_one
