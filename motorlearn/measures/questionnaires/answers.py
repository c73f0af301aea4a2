"""Answers of a questionnaire, from a long or a wide table, checked."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from motorlearn.exceptions import ColumnError, InputError

Scales = Mapping[str, Sequence[str]]


def answers_of(
    table: pd.DataFrame,
    scales: Scales,
    *,
    participant: str,
    item: str | None,
    response: str,
    time: str | None,
    keep: Sequence[str],
) -> pd.DataFrame:
    """Answers in long form: ``participant, time, item, answer`` and the columns of ``keep``.

    Raises
    ------
    ColumnError
        If a column, or an item of a wide table, is lacking.
    InputError
        If somebody answered an item twice, an answer is no number, or an item never occurs.
    """
    items = [name for named in scales.values() for name in named]
    wanted = [participant, *([time] if time else []), *keep]
    wanted += [item, response] if item is not None else items
    absent = [name for name in dict.fromkeys(wanted) if name not in table]
    if absent:
        raise ColumnError(
            "the table of answers lacks a column that is needed",
            absent,
            "name the right one; in a wide table every item is a column, in a long one 'item' and "
            "'response' name the two columns",
        )
    used = table.dropna(subset=[participant])
    by = [participant, *([time] if time else []), *keep]
    if item is None:
        long = used.melt(by, items, "item", "answer")
    else:
        long = used[[*by, item, response]].rename(columns={item: "item", response: "answer"})
        long["item"] = long["item"].astype("str")
    long = long.rename(columns={participant: "participant", **({time: "time"} if time else {})})
    if time is None:
        long["time"] = ""
    _refuse(long, items)
    return long[long["item"].isin(items)].assign(answer=lambda f: f["answer"].astype("float64"))


def _refuse(long: pd.DataFrame, items: list[str]) -> None:
    words = long["answer"].notna() & pd.to_numeric(long["answer"], errors="coerce").isna()
    if words.any():
        raise InputError(
            "an answer is no number",
            long.loc[words, "answer"].unique(),
            "code the answers as numbers, and leave what was not answered empty",
        )
    missing = [name for name in items if name not in set(long["item"])]
    if missing:
        raise InputError(
            "a scale has items that nobody was asked", missing, "correct the names of the items"
        )
    twice = long.duplicated(["participant", "time", "item"])
    if twice.any():
        row = long[twice].iloc[0]
        raise InputError(
            "an item was answered twice by one person at one time",
            [f"{row['participant']}, {row['item']}"],
            "keep one answer, or name the column of the time",
        )


def check_scales(scales: Scales, reversed_items: Sequence[str]) -> None:
    """Refuse scales that contradict each other.

    Raises
    ------
    InputError
        If there is no scale, a scale without items, an item in two scales (or twice in one), or a
        reversed item that is in none.
    """
    if not scales or not all(len(named) for named in scales.values()):
        raise InputError("a questionnaire needs scales with items", list(scales), "name them")
    items = [name for named in scales.values() for name in named]
    twice = sorted({name for name in items if items.count(name) > 1})
    if twice:
        raise InputError("an item is in two scales, or twice in one", twice, "name it once")
    unknown = sorted(set(reversed_items) - set(items))
    if unknown:
        raise InputError("a reversed item is in no scale", unknown, "correct its name")


def turned(
    answers: pd.DataFrame, reversed_items: Sequence[str], limits: tuple[float, float]
) -> pd.DataFrame:
    """Answers with reversed items turned about the middle of the scale.

    Raises
    ------
    InputError
        If an answer lies outside the scale of answers.
    """
    low, high = limits
    if not (np.isfinite([low, high]).all() and low < high):
        raise InputError(
            "answers run from a lower to a higher number", [low, high], "for example 1 to 7"
        )
    outside = answers[(answers["answer"] < low) | (answers["answer"] > high)]
    if len(outside):
        raise InputError(
            f"an answer lies outside the scale of {low:g} to {high:g}",
            [f"{r.participant}, {r.item}: {r.answer:g}" for r in outside.itertuples()],
            "correct it, or leave it empty",
        )
    turn = answers["item"].isin(list(reversed_items))
    return answers.assign(answer=answers["answer"].mask(turn, low + high - answers["answer"]))
