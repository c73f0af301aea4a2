"""Sentences a learner understands: what was scored, whether a change is more than chance."""

import math
from typing import Final

import pandas as pd

from motorlearn import digits
from motorlearn.digits import count

UNSEEN: Final = (
    "Many tries are needed to see a small change, so this does not say that nothing changed."
)
"""Said once where a change lies within chance."""


def score_words(score: float, n: float, *, hits: bool, unit: str = "") -> str:
    """Write one score: hits of attempts, or a mean with its unit.

    Examples
    --------
    >>> score_words(11, 20, hits=True), score_words(9.42, 8, hits=False, unit="s")
    ('11 of 20', '9.42 s')
    """
    if hits:
        return f"{score:.0f} of {n:.0f}"
    return f"{digits.significant(score)} {unit}".strip()


def range_words(low: float, high: float, n: float, *, hits: bool, unit: str = "") -> str:
    """Write where the level may lie.

    Examples
    --------
    >>> range_words(7.2, 14.3, 20, hits=True)
    '7 to 14 of 20'
    """
    if not (math.isfinite(low) and math.isfinite(high)):
        return "cannot be said from one try" if n <= 1 else "is not known for this score"
    if hits:
        return f"{low:.0f} to {high:.0f} of {n:.0f}"
    return f"{digits.significant(low)} to {digits.significant(high)} {unit}".strip()


def change_words(row: pd.Series, first: str, last: str, *, hits: bool, unit: str = "") -> str:
    """Say what changed between two tests and whether chance alone can do that.

    Parameters
    ----------
    row : Series
        A row of :func:`motorlearn.measures.individual_changes`.
    first, last : str
        Names of the tests.
    hits : bool
        Whether scores are hits of attempts.
    unit : str
        Unit of a score of trials.

    Examples
    --------
    >>> row = pd.Series({"n_first": 20, "n_second": 20, "first": 0.35, "second": 0.75,
    ...     "change": 0.4, "conf_low": 0.09, "conf_high": 0.62, "hits_up": 14, "hits_down": 1,
    ...     "verdict": "better"})
    >>> print(change_words(row, "pretest", "week 4", hits=True))
    From pretest to week 4 you went from 7 of 20 to 15 of 20: 8 more. That is a clear gain: more \
than chance alone would give.
    """
    said = _from_to(row, first, last, hits, unit)
    if row["verdict"] == "better":
        return f"{said} That is a clear gain: more than chance alone would give."
    if row["verdict"] == "worse":
        return (
            f"{said} That is a clear loss: more than chance alone would give. Tell your coach if "
            "you were tired, in pain, or did something differently."
        )
    if row["verdict"] == "within noise":
        chance = " Chance alone can do that." if row["change"] else ""
        return f"{said}{chance} {_needed(row, hits, unit)}"
    return f"{said} Whether that is more than chance cannot be computed from these tries."


def _from_to(row: pd.Series, first: str, last: str, hits: bool, unit: str) -> str:
    a = score_words(_total(row, "first", hits), row["n_first"], hits=hits, unit=unit)
    b = score_words(_total(row, "second", hits), row["n_second"], hits=hits, unit=unit)
    said = f"From {first} to {last} you went from {a} to {b}"
    if hits and row["n_first"] == row["n_second"]:
        change = round(_total(row, "second", hits) - _total(row, "first", hits))
        word = "more" if change > 0 else "fewer"
        said += f": {abs(change)} {word}" if change else ": the same number"
    elif not hits:
        moved = float(row["change"])
        said += f": {digits.significant(abs(moved))} {unit}".rstrip()
        said += " more" if moved > 0 else " less"
    return f"{said}."


def _total(row: pd.Series, test: str, hits: bool) -> float:
    return float(row[test]) * (float(row[f"n_{test}"]) if hits else 1.0)


def _needed(row: pd.Series, hits: bool, unit: str) -> str:
    if hits:
        up, n = row["hits_up"], row["n_second"]
        if not math.isfinite(up) or up > n:
            return "You began so high that these tests cannot show a gain."
        began = score_words(_total(row, "first", hits), row["n_first"], hits=hits)
        more = " or more" if up < n else ""
        return f"From {began}, it takes {up:.0f} of {n:.0f}{more} to be a clear gain."
    low, high = digits.significant(row["conf_low"]), digits.significant(row["conf_high"])
    return f"The true change may be anywhere from {low} to {high} {unit}".rstrip() + "."


def attended_words(attended: int, sessions: int, trials: int) -> str:
    """Say how much was practised.

    Examples
    --------
    >>> attended_words(7, 8, 240)
    'You were at 7 of 8 sessions so far, with 240 trials planned in them.'
    """
    return (
        f"You were at {attended} of {count(sessions, 'session')} so far, with "
        f"{count(trials, 'trial')} planned in them."
    )
