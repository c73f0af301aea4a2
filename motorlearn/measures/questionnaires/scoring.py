"""``score_questionnaire``: scale scores from answers, with alpha and omega."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import pandas as pd

from motorlearn.exceptions import InputError
from motorlearn.measures.questionnaires.answers import Scales, answers_of, check_scales, turned
from motorlearn.measures.questionnaires.reliability import (
    FEWEST_ITEMS,
    cronbach_alpha,
    omega_total,
)
from motorlearn.measures.questionnaires.result import MEANS, RELIABILITY, SCORES, Questionnaire
from motorlearn.results import Recipe


def score_questionnaire(
    table: pd.DataFrame,
    *,
    scales: Scales,
    answers: tuple[float, float],
    participant: str = "participant",
    item: str | None = "item",
    response: str = "response",
    reversed: Sequence[str] = (),
    score: str = "mean",
    minimum_answered: int | Mapping[str, int] | None = None,
    time: str | None = None,
    keep: Sequence[str] = (),
    level: float = 0.95,
    simulations: int = 500,
    seed: int = 0,
) -> Questionnaire:
    """Score a questionnaire: mean or sum of the answers of each scale, alpha and omega total.

    The score of a scale is the mean of the answers given, ``low + high - answer`` for reversed
    items, where at least ``minimum_answered`` were given; else it is missing and counted. With
    ``score="sum"`` it is that mean times the number of items, their sum where all were answered.
    Alpha and omega use the people who answered every item of the scale.

    Parameters
    ----------
    table : DataFrame
        Long (one row per person, time and item) or wide (a column for each item).
    scales : mapping of str to sequence of str
        Items of each scale; an item is in one scale.
    answers : (float, float)
        Lowest and highest answer, for example ``(1, 7)``.
    participant : str
        Column of the person.
    item : str or None
        Column of the item; None for a wide table.
    response : str
        Column of the answer in a long table.
    reversed : sequence of str
        Items that are put the other way round.
    score : str
        ``"mean"`` or ``"sum"`` of the answers of a scale.
    minimum_answered : int or mapping of str to int, optional
        Answers a scale needs; by default all of its items.
    time : str, optional
        Column of the time, where people answered more than once.
    keep : sequence of str
        Columns of the person to keep beside the scores, for example the group.
    level : float
        Level of the intervals of alpha (Feldt) and omega (bootstrap).
    simulations, seed : int
        Samples of the bootstrap, and its seed.

    Returns
    -------
    Questionnaire

    Raises
    ------
    InputError
        If an answer is outside the scale, an item is in two scales or was answered twice, nobody
        answered enough, or ``score`` is neither a mean nor a sum.
    ColumnError
        If a column is lacking.

    References
    ----------
    Cronbach, L. J. (1951). Psychometrika, 16, 297-334. doi:10.1007/BF02310555; McDonald, R. P.
    (1999). Test Theory (both from memory).

    Examples
    --------
    >>> wide = pd.DataFrame({
    ...     "participant": ["P1", "P2", "P3", "P4"],
    ...     "fun": [6, 5, 3, 2], "again": [7, 5, 4, 2], "dull": [1, 3, 5, 6],
    ... })
    >>> found = score_questionnaire(
    ...     wide, item=None, scales={"interest": ["fun", "again", "dull"]}, answers=(1, 7),
    ...     reversed=["dull"],
    ... )
    >>> found.scores["score"].round(2).tolist()
    [6.67, 5.0, 3.33, 2.0]
    """
    check_scales(scales, reversed)
    if score not in ("mean", "sum"):
        raise InputError("answers are summed or averaged", [score], "say mean or sum")
    given = answers_of(
        table, scales, participant=participant, item=item, response=response, time=time, keep=keep
    )
    given = turned(given, reversed, answers)
    needed = _needed(scales, minimum_answered)
    rows = [_scored(given, name, list(items), needed[name], keep) for name, items in scales.items()]
    scores = pd.concat(rows, ignore_index=True)
    if score == "sum":
        scores["score"] *= scores["items"]
    empty = [name for name in scales if scores.loc[scores["scale"] == name, "score"].isna().all()]
    if empty:
        raise InputError(
            "nobody answered enough items of a scale",
            [f"{name}: {needed[name]} needed" for name in empty],
            "lower minimum_answered, or correct the names of the items",
        )
    held = [
        row
        for name, items in scales.items()
        for row in _held_together(given, name, list(items), level, simulations, seed)
    ]
    return Questionnaire(
        scores=scores,
        means=MEANS.frame(list(_means(scores))),
        reliability=RELIABILITY.frame(held),
        recipe=Recipe(
            call="score_questionnaire",
            columns={"participant": participant, "item": item or "", "time": time or ""},
            options={"scales": {k: tuple(v) for k, v in scales.items()}, "answers": answers,
                     "reversed": tuple(reversed), "score": score, "minimum_answered": needed,
                     "level": level, "simulations": simulations},
            n=len(given),
            seed=seed,
            engine="means of answers; Feldt's interval of alpha; maximum-likelihood one-factor "
            "model and bootstrap of people for omega",
        ),
    )  # fmt: skip


def _needed(scales: Scales, minimum: int | Mapping[str, int] | None) -> dict[str, int]:
    """Answers that each scale needs."""
    if isinstance(minimum, Mapping):
        unknown = sorted(set(minimum) - set(scales))
        if unknown:
            raise InputError("minimum_answered names no scale", unknown, "correct the name")
        needed = {name: minimum.get(name, len(items)) for name, items in scales.items()}
    else:
        needed = {n: len(items) if minimum is None else minimum for n, items in scales.items()}
    wrong = [f"{n}: {k} of {len(scales[n])}" for n, k in needed.items()
             if not 1 <= k <= len(scales[n])]  # fmt: skip
    if wrong:
        raise InputError(
            "a scale needs between one answer and all of its items", wrong, "correct the number"
        )
    return needed


def _scored(
    given: pd.DataFrame, name: str, items: list[str], needed: int, keep: Sequence[str]
) -> pd.DataFrame:
    mine = given[given["item"].isin(items)]
    by = ["participant", "time", *keep]
    grouped = mine.groupby(by, sort=False, dropna=False, observed=True)["answer"]
    found = grouped.agg(score="mean", answered="count").reset_index()
    found["score"] = found["score"].where(found["answered"] >= needed)
    found = found.assign(scale=name, items=len(items))
    return found[[*SCORES.names, *keep]]


def _means(scores: pd.DataFrame) -> Iterator[dict[str, Any]]:
    for (scale, time), rows in scores.groupby(["scale", "time"], sort=False):
        known = rows["score"].dropna()
        yield MEANS.row(
            scale=scale,
            time=time,
            n=len(known),
            mean=float(known.mean()),
            sd=float(known.std(ddof=1)),
            too_few=int(rows["score"].isna().sum()),
        )


def _held_together(
    given: pd.DataFrame, name: str, items: list[str], level: float, simulations: int, seed: int
) -> Iterator[dict[str, Any]]:
    mine = given[given["item"].isin(items)]
    for time, rows in mine.groupby("time", sort=False) if len(items) > 1 else ():
        wide = rows.pivot(index="participant", columns="item", values="answer")
        whole = wide.reindex(columns=items).dropna().to_numpy()
        of = {"scale": name, "time": time, "n": len(whole), "items": len(items)}
        if len(whole) < 2:
            for coefficient in ("alpha", "omega total"):
                reason = "fewer than two people answered every item"
                yield RELIABILITY.row(coefficient=coefficient, reason=reason, **of)
            continue
        alpha = cronbach_alpha(whole, level=level)
        yield RELIABILITY.row(coefficient="alpha", **of, **vars(alpha))
        omega = omega_total(whole, level=level, simulations=simulations, seed=seed)
        few = (
            f"one factor needs {FEWEST_ITEMS} items, more people than items, and answers that vary"
        )
        reason = "" if omega.estimate == omega.estimate else few
        yield RELIABILITY.row(coefficient="omega total", reason=reason, **of, **vars(omega))
