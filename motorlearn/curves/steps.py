"""The best step between two neighbouring practice counts, for many learners at once."""

import numpy as np
from scipy.special import xlogy


def best_step(
    n: np.ndarray, y: np.ndarray, weights: np.ndarray, *, binomial: bool = False
) -> np.ndarray:
    """Loss that the best step leaves: half the sum of squares, or minus the log-likelihood.

    Parameters
    ----------
    n, y, weights : array of float, shape (learners, rows)
        Practice counts, scores (or hits), weights (or attempts); weight 0 is padding.
    binomial : bool
        Whether these are hits.

    Returns
    -------
    array of float, shape (learners,)
        Infinite where a learner has no two practice counts.

    Examples
    --------
    >>> n, y = np.array([[1.0, 2.0, 3.0, 4.0]]), np.array([[8.0, 9.0, 3.0, 5.0]])
    >>> best_step(n, y, np.ones((1, 4))).tolist()
    [1.25]
    """
    used = weights > 0
    order = np.argsort(np.where(used, n, np.inf), axis=1, kind="stable")
    n, y, w, used = (np.take_along_axis(a, order, axis=1) for a in (n, y, weights, used))
    y = np.where(used, y, 0.0)
    between = used[:, 1:] & (n[:, 1:] > n[:, :-1])
    if not binomial:
        y = y - np.sum(w * y, axis=1, keepdims=True) / np.sum(w, axis=1, keepdims=True)
        total = 0.5 * np.sum(w * y**2, axis=1)
        y = w * y
    early, mass = np.cumsum(y, axis=1)[:, :-1], np.cumsum(w, axis=1)[:, :-1]
    late, rest = y.sum(axis=1, keepdims=True) - early, w.sum(axis=1, keepdims=True) - mass
    with np.errstate(divide="ignore", invalid="ignore"):
        if binomial:
            losses = _misfit(early, mass) + _misfit(late, rest)
        else:
            losses = total[:, None] - 0.5 * (early**2 / mass + late**2 / rest)
    lowest = np.min(np.where(between, losses, np.inf), axis=1, initial=np.inf)
    found: np.ndarray = np.maximum(lowest, 0.0)
    return found


def _misfit(hits: np.ndarray, attempts: np.ndarray) -> np.ndarray:
    """Minus the log-likelihood of hits at their own rate."""
    misses = attempts - hits
    found: np.ndarray = -(xlogy(hits, hits / attempts) + xlogy(misses, misses / attempts))
    return found
