"""Sentences on technique and speed beside the outcome."""

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from motorlearn import digits
from motorlearn.vocabulary import capitalised
from motorlearn.wording.sentences import moved
from motorlearn.wording.voice import Voice, Words, decimals_for, listed

TECHNIQUE_PLACES = 2


def item_sentence(row: Mapping[str, Any], tests: Sequence[str], decimal: str, who: str = "") -> str:
    """Say how the mean of all items changed.

    Examples
    --------
    >>> row = {"n": 14, "change": 1.1, "conf_low": 0.8, "conf_high": 1.4}
    >>> item_sentence(row, ("Pretest", "Week 4"), ".").split(", ")[1]
    'the mean rating of technique rose by 1.10 (95 % CI 0.80 to 1.40; n = 14).'
    """
    change = float(row["change"])
    ends = {"conf_low": row["conf_low"], "conf_high": row["conf_high"]}
    if change < 0:
        ends = {"conf_low": -row["conf_high"], "conf_high": -row["conf_low"]}
    return (
        f"From {tests[0]} to {tests[1]}, the mean rating of technique{who} "
        f"{moved(change, _number(abs(change), decimal))} "
        f"({_span(ends, decimal)}; n = {row['n']:g})."
    )


def together_sentence(row: Mapping[str, Any], decimal: str) -> str:
    """Say what moves together within people, with and without the common course."""
    within, r = (_number(float(row[name]), decimal) for name in ("r_within", "r"))
    return (
        f"Exploratory: over {row['tests']:g} tests, {row['pair']} moved together within people "
        f"with r = {within}, to which their common rise or fall is enough; apart from the course "
        f"that all had in common r was {r} ({_span(row, decimal)}, "
        f"{digits.p_clause(row['p'], decimal=decimal)}; n = {row['n']:g})."
    )


def speed_sentence(
    rows: pd.DataFrame, verdict: str, tests: Sequence[str], unit: str, voice: Voice, who: str = ""
) -> str:
    """Say whether a gain was bought with slower trials.

    Parameters
    ----------
    rows : DataFrame
        Rows ``speed`` and ``outcome`` of one group.
    verdict : str
        One of the verdicts of :mod:`motorlearn.analysis.speed`.
    tests : sequence of str
        Labels of the first and the last test.
    unit : str
        Unit of speed.
    voice : Voice
        Outcome and decimals.
    who : str
        The group, where there are several, such as ``in random practice, ``.
    """
    by = rows.set_index("score")
    outcome = _moved(by.loc["outcome"], voice.name, voice.decimals, voice.unit, voice.decimal)
    pace = by.loc["speed"]
    places = decimals_for(float(pace["conf_high"] - pace["conf_low"]))
    said_unit = f" {unit}" if unit else ""
    speed = _moved(by.loc["speed"], "speed", places, said_unit, voice.decimal)
    n = f"n = {by.loc['speed', 'n']:g}"
    low = digits.number(-float(by.loc["speed", "conf_low"]), places, decimal=voice.decimal)
    ends = {
        "at the cost of speed": "slower trials may be part of the gain",
        "not bought": "the gain was not bought with speed",
        "open": f"no loss of speed is shown, and one of up to {low}{said_unit} fits these data",
        "no gain": f"no gain in {voice.name} is shown that slower trials could have paid for",
    }
    return f"From {tests[0]} to {tests[1]}, {who}{outcome} while {speed} ({n}): {ends[verdict]}."


def speed_words(groups: Sequence[str], tests: Sequence[str], voice: Voice) -> Words:
    """Caption and alternative text of the figure of speed and outcome."""
    way = "up and to the left" if voice.outcome.better == "higher" else "down and to the left"
    caption = (
        f"{capitalised(voice.name)} and speed, from {tests[0]} to {tests[1]}. "
        "Large symbols: group means at every test, joined in their order; thin lines: first and "
        f"last test of each participant, the symbol at the last. A way {way} is a gain with "
        "slower trials."
    )
    alt = f"Speed against {voice.name} for {listed(list(groups))}, tests joined by lines."
    return Words(caption, alt)


def _moved(row: pd.Series, name: str, places: int, unit: str, decimal: str) -> str:
    fell = float(row["change"]) < 0
    size = digits.number(abs(float(row["change"])), places, decimal=decimal)
    ends = (-row["conf_high"], -row["conf_low"]) if fell else (row["conf_low"], row["conf_high"])
    limits = digits.interval(*ends, places, decimal=decimal)
    return f"{name} {'fell' if fell else 'rose'} by {size}{unit} (95 % CI {limits})"


def _span(row: Mapping[str, Any], decimal: str) -> str:
    limits = digits.interval(row["conf_low"], row["conf_high"], TECHNIQUE_PLACES, decimal=decimal)
    return f"95 % CI {limits}"


def _number(value: float, decimal: str) -> str:
    return digits.number(value, TECHNIQUE_PLACES, decimal=decimal)
