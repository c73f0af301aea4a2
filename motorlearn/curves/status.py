"""What a fit can claim: the status of a curve, in a few fixed words and in a sentence."""

import numpy as np
from scipy.stats import chi2, f

STATUSES = ("ok", "asymptote not seen", "rate at a bound", "no change", "too few trials")
OK, NOT_SEEN, AT_BOUND, NO_CHANGE, TOO_FEW = range(5)

MEANINGS = {
    "ok": "The curve is identified by these data.",
    "asymptote not seen": (
        "Practice stopped before the curve had flattened, so the asymptote is an extrapolation "
        "and trades off with gain and rate; practise longer, fix the asymptote, or use a "
        "population curve."
    ),
    "rate at a bound": (
        "The data cannot tell this curve from a straight line (lowest rate) or from a step after "
        "the first trial (highest rate), so the rate and what depends on it are not estimated."
    ),
    "no change": (
        "The scores do not change enough with practice to tell a curve from a flat line, so "
        "gain and rate have no meaning."
    ),
    "too few trials": (
        "There are not more usable outcomes, or not as many different practice counts, than "
        "parameters, so nothing is estimated."
    ),
}
"""What each status means, in words for the reader."""

LEAST_PROGRESS = 1.0
"""Rate times practice (log drop of the basis) below which the asymptote is not seen."""
FLAT_LEVEL = 0.05
"""Level of the test of a flat line against the curve."""


def grade(*, enough, flat, at_bound, progress, asymptote_error, change):
    """Give the status code of one fit or of many.

    Parameters
    ----------
    enough, flat, at_bound : bool or array of bool
        Enough trials; flat line not rejected; a rate at a bound.
    progress : float or array
        Log drop of the basis from the first to the last practice count; infinite where the
        asymptote is fixed.
    asymptote_error, change : float or array
        Standard error of the asymptote, and the size of the fitted change over the practice.

    Returns
    -------
    int or array of int
        Index into :data:`STATUSES`.
    """
    unseen = (progress < LEAST_PROGRESS) | (2.0 * asymptote_error > change)
    code = np.where(unseen, NOT_SEEN, OK)
    code = np.where(at_bound, AT_BOUND, code)
    code = np.where(flat, NO_CHANGE, code)
    return np.where(enough, code, TOO_FEW)


def is_flat(loss, flat_loss, n, parameters, extra, *, binomial=False):
    """Whether a flat line is not rejected against the curve (F or likelihood-ratio test, 5 %).

    ``loss`` is half the sum of squares, or minus the log-likelihood; ``extra`` counts what the
    curve has more than the flat line.
    """
    drop = np.asarray(flat_loss) - loss
    if binomial:
        return 2 * drop < chi2.isf(FLAT_LEVEL, max(extra, 1))
    spare, place = np.unique(np.maximum(np.asarray(n) - parameters, 1), return_inverse=True)
    critical = f.isf(FLAT_LEVEL, max(extra, 1), spare)[place]
    spare = spare[place]
    return (drop / max(extra, 1)) <= critical * loss / spare


def information_criteria(loglik, n, parameters):
    """AICc and BIC; AICc is infinite where its small-sample correction is not defined.

    ``AICc = -2 loglik + 2q + 2q(q + 1)/(n - q - 1)``, ``BIC = -2 loglik + q log n``.

    Examples
    --------
    >>> aicc, bic = information_criteria(-10.0, 20, 3)
    >>> round(float(aicc), 2), round(float(bic), 2)
    (27.5, 28.99)
    """
    q, n = np.asarray(parameters, float), np.asarray(n, float)
    room = n - q - 1
    correction = 2 * q * (q + 1) / np.where(room > 0, room, 1.0)
    aicc = np.where(room > 0, -2 * loglik + 2 * q + correction, np.inf)
    return aicc, -2 * loglik + q * np.log(np.maximum(n, 1.0))
