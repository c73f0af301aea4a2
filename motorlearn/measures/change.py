"""Scores of change: gain, loss over the retention interval, savings and transfer.

``better`` says whether a lower or a higher score is better; a positive gain is always an
improvement and a positive loss always a deterioration. Ratios have an unstable denominator: report
them second, after the difference.
"""

import numpy as np
from numpy.typing import ArrayLike

from motorlearn.exceptions import InputError
from motorlearn.measures.aim import Floats, mean_of_present
from motorlearn.vocabulary import BETTER


def gain(before: ArrayLike, after: ArrayLike, *, better: str) -> Floats:
    """Improvement from one test to another, positive where the score got better.

    Examples
    --------
    >>> float(gain(38.0, 25.0, better="lower")), float(gain(9, 13, better="higher"))
    (13.0, 4.0)
    """
    change = np.asarray(after, dtype=float) - np.asarray(before, dtype=float)
    gained: Floats = _sign(better) * change
    return gained


def retention_loss(last_practice: ArrayLike, delayed: ArrayLike, *, better: str) -> Floats:
    """Loss from the end of practice to the delayed test, positive where the score got worse.

    Examples
    --------
    >>> float(retention_loss(22.0, 25.0, better="lower"))
    3.0
    """
    return -gain(last_practice, delayed, better=better)


def relative_retention(
    before: ArrayLike, last_practice: ArrayLike, delayed: ArrayLike, *, better: str
) -> Floats:
    """Share of the practice gain that is still there: delayed gain / gain at the end of practice.

    NaN where there was no gain to keep.

    Examples
    --------
    >>> float(relative_retention(38.0, 22.0, 26.0, better="lower"))
    0.75
    """
    kept = gain(before, delayed, better=better)
    gained = gain(before, last_practice, better=better)
    return np.where(gained > 0, kept / np.where(gained > 0, gained, 1.0), np.nan)[()]


def savings(original: ArrayLike, relearning: ArrayLike) -> Floats:
    """Savings in percent, ``100 (original - relearning) / original`` trials to a criterion.

    Raises
    ------
    InputError
        If the first learning took no trial.

    Examples
    --------
    >>> float(savings(20, 12))
    40.0
    """
    first = np.asarray(original, dtype=float)
    if (first <= 0).any():
        raise InputError("savings need a first learning of at least one trial", first[first <= 0])
    saved: Floats = 100 * (first - np.asarray(relearning, dtype=float)) / first
    return saved


def trials_to_criterion(
    scores: ArrayLike, criterion: float, *, better: str, in_a_row: int = 1
) -> int | None:
    """Trial with which a criterion was first met so many times in a row; None if it never was.

    Examples
    --------
    >>> trials_to_criterion([30, 19, 25, 18, 17], 20.0, better="lower", in_a_row=2)
    5
    """
    values = _sign(better) * np.asarray(scores, dtype=float)
    run = 0
    for number, met in enumerate(values >= _sign(better) * criterion, start=1):
        run = run + 1 if met else 0
        if run == in_a_row:
            return number
    return None


def percent_transfer(practised: ArrayLike, control: ArrayLike, *, better: str) -> Floats:
    """Percent transfer ``100 (E - C) / C``; the numerator's sign flips where less is better.

    A ratio only means something for scores with a true zero, such as times, errors or counts.

    Raises
    ------
    InputError
        If a score is negative, as changes, logarithms and signed errors can be.

    Examples
    --------
    >>> float(percent_transfer(24.0, 30.0, better="lower"))
    20.0
    """
    e, c = _from_zero(practised), _from_zero(control)
    return 100 * _sign(better) * (e - c) / np.where(c == 0, np.nan, c)


def bounded_transfer(practised: ArrayLike, control: ArrayLike, *, better: str) -> Floats:
    """Transfer bounded by -100 and 100: ``100 (E - C) / (E + C)`` (Murdock 1957; from memory).

    Raises
    ------
    InputError
        If a score is negative: the bounds hold for scores with a true zero only.

    Examples
    --------
    >>> round(float(bounded_transfer(24.0, 30.0, better="lower")), 3)
    11.111
    """
    e, c = _from_zero(practised), _from_zero(control)
    return 100 * _sign(better) * (e - c) / np.where(e + c == 0, np.nan, e + c)


def warm_up_decrement(scores: ArrayLike, first: int, *, better: str) -> Floats:
    """How much worse the first trials of a test are than the rest, positive where worse.

    Trials lie along the last axis; the first ``first`` of them are the warm-up.

    Examples
    --------
    >>> float(warm_up_decrement([30, 28, 24, 22, 23], 2, better="lower"))
    6.0
    """
    values = np.asarray(scores, dtype=float)
    if not 0 < first < values.shape[-1]:
        raise InputError(
            "the warm-up must leave trials on both sides", [first], f"of {values.shape[-1]} trials"
        )
    start = mean_of_present(values[..., :first])
    rest = mean_of_present(values[..., first:])
    return gain(start, rest, better=better)


def _from_zero(scores: ArrayLike) -> Floats:
    given = np.asarray(scores, dtype=float)
    if (given < 0).any():
        raise InputError(
            "transfer in percent needs scores with a true zero, and these are negative",
            given[given < 0].ravel(),
            "report the difference of the two groups instead",
        )
    return given


def _sign(better: str) -> int:
    if better not in BETTER:
        raise InputError(
            "'better' must say which direction is better",
            [better],
            "use " + " or ".join(repr(word) for word in BETTER),
        )
    return 1 if better == "higher" else -1
