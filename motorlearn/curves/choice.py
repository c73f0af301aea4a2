"""Choice between forms: weights of an information criterion, and when there is no preference."""

import numpy as np

from motorlearn.curves.status import NO_CHANGE, TOO_FEW

NO_PREFERENCE = "no preference"
LEAST_LEAD = 2.0
"""Lead of AICc or BIC below which no form is preferred (common practice)."""


def usable_criterion(criterion: np.ndarray, status: np.ndarray) -> np.ndarray:
    """Criterion of each learner and form, infinite where nothing was fitted."""
    return np.where((status == TOO_FEW) | np.isnan(criterion), np.inf, criterion)


def criterion_weights(criterion: np.ndarray, status: np.ndarray) -> np.ndarray:
    """Weights ``exp(-delta / 2)`` over the forms of each learner, adding up to 1.

    NaN where no form was fitted.

    Examples
    --------
    >>> criterion_weights(np.array([[10.0, 12.0]]), np.zeros((1, 2))).round(3)
    array([[0.731, 0.269]])
    """
    usable = usable_criterion(criterion, status)
    least = usable.min(axis=1, keepdims=True)
    known = np.isfinite(least)
    with np.errstate(invalid="ignore"):
        share = np.exp(-0.5 * (usable - np.where(known, least, 0.0)))
        return np.where(known, share / share.sum(axis=1, keepdims=True), np.nan)


def choose(criterion, status) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Choose a form for each learner.

    Returns
    -------
    verdict, best : array of int
        Column of the preferred and of the best form. After the forms come, in order: no
        preference, no change in any form, too few trials.
    lead, weight : array of float
        Lead of the best form over the next one, and its weight.
    """
    usable = usable_criterion(criterion, status)
    count = usable.shape[1]
    best = np.argmin(usable, axis=1)
    ordered = np.sort(usable, axis=1)
    with np.errstate(invalid="ignore"):
        lead = ordered[:, 1] - ordered[:, 0] if count > 1 else np.full(len(usable), np.inf)
    weight = np.max(criterion_weights(criterion, status), axis=1)
    verdict = np.where(lead >= LEAST_LEAD, best, count)
    verdict = np.where(np.all(status == NO_CHANGE, axis=1), count + 1, verdict)
    none = ~np.isfinite(ordered[:, 0])
    few = np.all(status == TOO_FEW, axis=1)
    verdict = np.where(none & ~few & (verdict <= count), count, verdict)
    return np.where(few, count + 2, verdict), np.where(none, verdict, best), lead, weight
