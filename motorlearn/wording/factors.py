"""Sentences on two factors: a main effect is an average over the other, never one cell's answer."""

import math

import pandas as pd

from motorlearn.compare.crossing import INTERACTION, JOINT, MAIN
from motorlearn.vocabulary import CROSSED, capitalised
from motorlearn.wording.sentences import (
    analysed_parts,
    f_clause,
    interval_clause,
    standardised_clause,
    why,
)
from motorlearn.wording.voice import Voice


def effect_sentence(row: pd.Series, voice: Voice, *, baseline: str = "baseline") -> str:
    """Report one effect of the factors in full.

    Parameters
    ----------
    row : Series
        A row of ``PhaseComparison.effects``; ``group`` and ``reference`` may be labels already.
    voice : Voice
        Outcome, decimals and plan.
    baseline : str
        Name of the phase that was adjusted for.
    """
    where = capitalised(voice.during(str(row["phase"])))
    if row["effect"] == JOINT and math.isfinite(row["p"]):
        return _joint_sentence(row, voice, where, baseline)
    if not math.isfinite(row["estimate"]):
        return f"{where}, {_what(row, voice)} could not be estimated: {why(row)}."
    adjusted = f"adjusted for the {baseline}; " if row["adjusted"] else ""
    return (
        f"{where}, {_size(row, voice)} ({adjusted}{interval_clause(row, voice)}; {voice.t(row)}"
        f"{standardised_clause(row, voice)}; {_analysed(row, voice)})."
    )


def _analysed(row: pd.Series, voice: Voice) -> str:
    """How many people an effect rests on; those of an interaction are in all cells."""
    if row["kind"] == INTERACTION:
        return f"{int(row['n_group'] + row['n_reference'])} {voice.one}s analysed"
    return analysed_parts(row, voice)


def effect_reading(row: pd.Series, voice: Voice) -> str:
    """Say how far an effect of the factors may be interpreted."""
    if row["effect"] == JOINT:
        return _joint_reading(row, voice)
    null = 1.0 if row["effect"] == "ratio" else 0.0
    clear = row["conf_low"] > null or row["conf_high"] < null
    other = words_of(voice, str(row["factor"]))
    if row["kind"] == INTERACTION:
        one = next(f.words for f in voice.design.factors if f.name != row["factor"])
        if clear:
            return (
                f"The interval lies on one side of the null value: what {one} does here differs "
                f"with {other}, so the effect of neither is told without the level of the other."
            )
        return (
            f"The data leave open whether what {one} does here differs with {other}; that the "
            "interaction is not clear does not show that there is none."
        )
    if not clear:
        return f"The direction, averaged over {other}, stays open."
    lower = row["estimate"] < null
    better = row["group"] if lower == (voice.outcome.better == "lower") else row["reference"]
    stage = voice.stage(str(row["phase"]))
    ending = (
        f"the pattern expected if it led to more learning as {stage.phase} measures it"
        if stage.is_delayed
        else "a statement about performance at that time and about nothing that lasts"
    )
    return (
        f"The interval lies on one side of the null value: averaged over {other}, scores at "
        f"{stage.phase} favour {better}, {ending}."
    )


def _joint_sentence(row: pd.Series, voice: Voice, where: str, baseline: str) -> str:
    """The F test of an effect that is no single number."""
    adjusted = f"adjusted for the {baseline}; " if row["adjusted"] else ""
    n = int(row["n_group"])
    return (
        f"{where}, {_what(row, voice)} in {voice.name} gave "
        f"{f_clause(row, voice)} ({adjusted}partial η² "
        f"{voice.share_clause(row['partial_eta2'])}; {n} {voice.one}s analysed)."
    )


def _joint_reading(row: pd.Series, voice: Voice) -> str:
    """What a joint test may be read as: where differences lie, it does not say."""
    if row["kind"] == INTERACTION:
        names = [factor.words for factor in voice.design.factors]
        if row["p"] < 0.05:
            return (
                f"What {names[0]} does here differs with {names[1]}; the test does not say between "
                "which levels, which the simple effects show."
            )
        return (
            f"The data leave open whether what {names[0]} does here differs with {names[1]}; that "
            "the interaction is not clear does not show that there is none."
        )
    other = _other(row, voice)
    if row["p"] < 0.05:
        return (
            f"The levels do not all give the same scores, averaged over {other}; the test does not "
            "say which differ, which the pairs of levels show."
        )
    return (
        f"The data leave open whether the levels differ, averaged over {other}; that no difference "
        "is clear does not show that there is none."
    )


def _other(row: pd.Series, voice: Voice) -> str:
    """What the factor is called that a main effect is averaged over."""
    return next(f.words for f in voice.design.factors if f.name != row["term"])


def named_terms(rows: pd.DataFrame, voice: Voice) -> pd.DataFrame:
    """Rows of an analysis of variance with its factors as a reader calls them."""
    return rows.assign(term=[term_of(voice, str(term)) for term in rows["term"]])


def term_of(voice: Voice, term: str) -> str:
    """A term of an analysis of variance as a reader says it."""
    return CROSSED.join(words_of(voice, part) for part in term.split(":"))


def words_of(voice: Voice, factor: str) -> str:
    """What a reader calls a factor."""
    named = {entry.name: entry.words for entry in voice.design.factors}
    return voice.arm if factor == "group" else named.get(factor, factor)


def _what(row: pd.Series, voice: Voice) -> str:
    if row["kind"] == INTERACTION:
        return f"the interaction of {' and '.join(f.words for f in voice.design.factors)}"
    name = words_of(voice, str(row["term"]))
    return f"the effect of {name}, averaged over {_other(row, voice)},"


def _size(row: pd.Series, voice: Voice) -> str:
    factor, other = words_of(voice, str(row["term"])), words_of(voice, str(row["factor"]))
    group, reference = str(row["group"]), str(row["reference"])
    if row["kind"] == INTERACTION:
        return _interaction(row, voice, other)
    start = f"averaged over {other}, " if row["kind"] == MAIN else ""
    amount, than = _amount(row, voice)
    return f"{start}{voice.name} {voice.was} {amount} with {factor} {group} {than} with {reference}"


def _interaction(row: pd.Series, voice: Voice, other: str) -> str:
    at, at_reference = row["at"], row["at_reference"]
    amount, than = _amount(row, voice)
    ratio = row["effect"] == "ratio"
    what = f"ratio {row['pair']}" if ratio else f"difference {row['pair']} in {voice.name}"
    return f"the {what} was {amount} with {other} {at} {than} with {at_reference}"


def _amount(row: pd.Series, voice: Voice) -> tuple[str, str]:
    """By how much one side is larger, and the word that leads to the other."""
    if row["effect"] == "ratio":
        return f"{voice.number(row['estimate'], 2)} times as large", "as"
    way = "higher" if row["estimate"] > 0 else "lower"
    return f"{voice.measured(abs(row['estimate']))} {way}", "than"
