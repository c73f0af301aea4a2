"""What a fit can claim: the status of a curve, in a few fixed words and in a sentence."""

from functools import lru_cache
from typing import Any

import numpy as np
from scipy.stats import chi2, f

STATUSES = (
    "ok",
    "shape not settled",
    "asymptote not seen",
    "rate at a bound",
    "no change",
    "too few trials",
)
OK, UNSETTLED, NOT_SEEN, AT_BOUND, NO_CHANGE, TOO_FEW = range(6)
KEPT, ERRORS, RATES, CURVE, FLAT = range(5)
"""What is missing from a fit: nothing, standard errors, rates, the whole curve but its start, and
the curve in favour of a level line."""

MEANINGS = {
    "ok": "The curve is identified by these data.",
    "shape not settled": (
        "There is a change, but a straight line (in the logarithm of practice for a power curve) "
        "or a step after the first trial (for an S-shaped curve after any) describes these scores "
        "as well as the curve does (95 %): "
        "the interval of the rate is open on that side, and standard errors have no meaning; "
        "practise longer, measure with less noise, or use a population curve."
    ),
    "asymptote not seen": (
        "Practice stopped before the curve had flattened, so the asymptote is an extrapolation "
        "and trades off with gain and rate; practise longer, fix the asymptote, or use a "
        "population curve."
    ),
    "rate at a bound": (
        "The data cannot tell this curve from a simpler one at the end of the range of its rate: a "
        "straight line (lowest), a step after the first trial (highest) or, where a curve has "
        "several rates, one with fewer; so the rate and what depends on it are not estimated."
    ),
    "no change": (
        "The scores do not change enough with practice to tell a curve from a flat line, so "
        "there is a level, and gain and rate are not estimated."
    ),
    "too few trials": (
        "There are not more usable outcomes, or not as many different practice counts, than "
        "parameters, so nothing is estimated."
    ),
}
"""What each status means, in words for the reader."""

LEAST_PROGRESS = 1.0
"""Rate times practice (log drop of the basis) below which the asymptote is not seen."""
LEAST_SEEN = 0.1
"""Progress below which the asymptote is more than ten times the change seen away."""
FARTHEST_GAIN = 10.0
"""Gain by the height seen from which a gain is asked whether it is known, and largest term of a
session by what was seen."""
NEAR_STEP = 0.1
"""Share of the highest rate from which a curve is all but a step."""
FLAT_LEVEL = 0.05
"""Level of the tests of a flat line, a straight line and a step against the curve."""


def grade(
    *,
    enough: Any,
    flat: Any,
    at_bound: Any,
    progress: Any,
    asymptote_error: Any,
    change: Any,
    open_shape: Any = False,
) -> np.ndarray:
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
    open_shape : bool or array of bool
        Straight line or step not rejected against the curve.

    Returns
    -------
    int or array of int
        Index into :data:`STATUSES`.
    """
    unseen = (progress < LEAST_PROGRESS) | (2.0 * asymptote_error > change)
    code = np.where(unseen, NOT_SEEN, OK)
    code = np.where(open_shape, UNSETTLED, code)
    code = np.where(at_bound, AT_BOUND, code)
    code = np.where(flat, NO_CHANGE, code)
    return np.where(enough, code, TOO_FEW)


def adrift(*, progress: Any, error: Any, change: Any, rates: int, stuck: Any) -> Any:
    """Whether the asymptote lies so far off that data say nothing of it.

    More than ten times the change that was seen, and not known to within half of that way (with
    several rates a curve can bend as it does with its asymptote anywhere); or where ``stuck`` the
    rate that sends it away lies at its lowest.
    """
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        way = np.asarray(change) / -np.expm1(-np.asarray(progress, float))
    far = np.asarray(progress) < LEAST_SEEN
    return np.asarray(stuck, bool) | (far & ((rates > 1) | (2.0 * np.asarray(error) > way)))


def gain_adrift(gain: Any, error: Any, lift: Any) -> Any:
    """Whether a gain is more than ten times what was seen, and not known to within itself.

    ``lift`` is the gain by the height of the curve at the first practice count. A gain of power law
    with prior practice belongs to a trial far before the first.
    """
    with np.errstate(invalid="ignore"):
        return (np.asarray(lift) > FARTHEST_GAIN) & ~(np.asarray(error) < np.abs(gain))


def all_but_a_step(rate: Any, error: Any, highest: Any) -> Any:
    """Whether the first of several rates is near its highest and not known to within ten times.

    Such a fast process is over before the next trial, and its share tells nothing of its rate.
    """
    rate = np.asarray(rate, float)
    with np.errstate(invalid="ignore"):
        known = np.asarray(error) <= FARTHEST_GAIN * rate
    return (rate > NEAR_STEP * np.asarray(highest)) & ~known


def losses(
    status: Any, *, progress: Any, line_open: Any, step: Any, adrift: Any = False
) -> np.ndarray:
    """Say what a fit cannot give: one of ``KEPT, ERRORS, RATES, CURVE, FLAT``.

    Parameters
    ----------
    status : int or array of int
        What :func:`grade` gave.
    progress : float or array
        Log drop of the basis over the practice seen.
    line_open : bool or array of bool
        Straight line not rejected.
    step : bool or array of bool
        The curve ended as a step after the first trial, so that its two levels are known.
    adrift : bool or array of bool
        What :func:`adrift` says.
    """
    code = np.where(status == UNSETTLED, ERRORS, KEPT)
    code = np.where(((status == UNSETTLED) | (status == NOT_SEEN)) & adrift, CURVE, code)
    gone = (status == UNSETTLED) & line_open & (np.asarray(progress) < LEAST_PROGRESS)
    code = np.where(gone | (status == AT_BOUND), CURVE, code)
    code = np.where((status == AT_BOUND) & step, RATES, code)
    return np.where(status == NO_CHANGE, FLAT, code)


def not_rejected(
    loss: Any, simple_loss: Any, n: Any, parameters: int, extra: int, *, binomial: bool = False
) -> Any:
    """Whether a simpler line is not rejected against the curve (F or likelihood-ratio test, 5 %).

    ``loss`` is half the sum of squares, or minus the log-likelihood; ``extra`` counts what the
    curve has more than the line.
    """
    drop = np.asarray(simple_loss) - loss
    if binomial:
        return 2 * drop < chi2.isf(FLAT_LEVEL, max(extra, 1))
    spare = np.maximum(np.asarray(n) - parameters, 1)
    if spare.size and np.all(spare == spare.flat[0]):
        critical: Any = _critical(max(extra, 1), float(spare.flat[0]))
    else:
        different, place = np.unique(spare, return_inverse=True)
        critical = np.array([_critical(max(extra, 1), k) for k in different.tolist()])[place]
    return (drop / max(extra, 1)) <= critical * loss / spare


@lru_cache(maxsize=4096)
def _critical(extra: int, spare: float) -> float:
    """Critical value of F, which many learners share."""
    return float(f.isf(FLAT_LEVEL, extra, spare))


def information_criteria(loglik: Any, n: Any, parameters: Any) -> tuple[Any, Any]:
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
