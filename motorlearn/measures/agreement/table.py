"""From a long table of ratings to items by raters, with everything odd refused or listed."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from motorlearn.exceptions import ColumnError, InputError
from motorlearn.results import nobody_left_out

KINDS = {
    "continuous": "continuous",
    "interval": "continuous",
    "ratio": "continuous",
    "numeric": "continuous",
    "total": "continuous",
    "ordinal": "ordinal",
    "nominal": "nominal",
    "categorical": "nominal",
    "binary": "nominal",
}
"""Accepted kinds of score, and which of the three it is treated as."""


@dataclass(frozen=True)
class Ratings:
    """Ratings of all occasions, and the first occasion as items by raters.

    ``labels`` maps the number that stands in the tables to the category it stands for.
    """

    kind: str
    labels: dict[float, object]
    every: pd.DataFrame
    first: pd.DataFrame
    wide: pd.DataFrame

    @property
    def rated(self) -> pd.DataFrame:
        """Items with at least two raters."""
        return self.wide[self.wide.notna().sum(axis=1) >= 2]

    @property
    def complete(self) -> np.ndarray:
        """Items every rater scored, shape (n_items, n_raters)."""
        return self.wide.dropna().to_numpy(dtype=float)

    @property
    def choices(self) -> np.ndarray:
        """How many raters chose each category, shape (n_items, n_categories)."""
        codes = sorted(self.labels)
        return np.stack([(self.rated == code).sum(axis=1).to_numpy() for code in codes], axis=1)

    @property
    def left_out(self) -> pd.DataFrame:
        """Items that some coefficients cannot use, by reason."""
        counts = self.wide.notna().sum(axis=1)
        alone = int((counts < 2).sum())
        partly = int(((counts >= 2) & (counts < self.wide.shape[1])).sum())
        reasons = {
            "item scored by fewer than two raters": alone,
            "item not scored by every rater: left out of ICC, kept in alpha, AC1 and pairs": partly,
        }
        rows = [
            {"participant": "", "group": "", "reason": reason, "rows": count}
            for reason, count in reasons.items()
            if count
        ]
        return pd.DataFrame(rows) if rows else nobody_left_out()


def read_ratings(
    ratings: pd.DataFrame,
    *,
    item: str | Sequence[str],
    rater: str,
    score: str,
    kind: str,
    order: str | None = None,
    occasion: str | None = None,
    categories: Sequence | None = None,
) -> Ratings:
    """Check a long table of ratings and arrange it by item and rater.

    Raises
    ------
    ColumnError
        If a column is absent.
    InputError
        If the kind is unknown, a rater has two scores for an item on one occasion, a score is not
        a number or not among the categories, or fewer than two items were scored by two raters.
    """
    if kind not in KINDS:
        raise InputError("the kind of score is unknown", [kind], f"use one of {', '.join(KINDS)}")
    items = [item] if isinstance(item, str) else list(item)
    needed = [*items, rater, score, *(name for name in (order, occasion) if name is not None)]
    absent = [name for name in needed if name not in ratings.columns]
    if absent:
        raise ColumnError(
            "the ratings lack a column", absent, f"they have {', '.join(map(str, ratings.columns))}"
        )
    every = _tidy(ratings, items, rater, score, order, occasion)
    every["score"], labels = _as_numbers(every["score"], KINDS[kind], categories)
    earliest = every.groupby(["item", "rater"])["occasion"].transform("min")
    first = every[every["occasion"] == earliest].reset_index(drop=True)
    _refuse_twice(first, occasion)
    wide = first.pivot(index="item", columns="rater", values="score")
    found = Ratings(KINDS[kind], labels, every, first, wide)
    if wide.shape[1] < 2 or len(found.rated) < 2:
        raise InputError(
            "agreement needs at least two items that two raters scored",
            [f"{wide.shape[1]} raters", f"{len(found.rated)} items scored twice"],
            "let a second rater score some of the clips",
        )
    return found


def _tidy(ratings, items, rater, score, order, occasion) -> pd.DataFrame:
    table = pd.DataFrame(
        {
            "item": ratings[items].astype(str).agg(" / ".join, axis=1),
            "rater": ratings[rater].astype(str),
            "score": ratings[score],
            "occasion": 1 if occasion is None else ratings[occasion],
        }
    )
    if order is not None:
        table["order"] = pd.to_numeric(ratings[order], errors="coerce").astype(float)
    return table[table["score"].notna()].reset_index(drop=True)


def _as_numbers(scores: pd.Series, kind: str, categories) -> tuple[pd.Series, dict[float, object]]:
    if categories is not None or kind == "nominal":
        levels = list(categories) if categories is not None else sorted(scores.unique(), key=str)
        unknown = sorted(set(scores.unique()) - set(levels), key=str)
        if unknown:
            raise InputError("scores are not among the categories", unknown, "name every category")
        numeric = kind != "nominal" and all(isinstance(level, int | float) for level in levels)
        codes = {level: float(level if numeric else place) for place, level in enumerate(levels)}
        return scores.map(codes).astype(float), {code: level for level, code in codes.items()}
    numbers = pd.to_numeric(scores, errors="coerce").astype(float)
    if numbers.isna().any():
        raise InputError(
            "scores are not numbers",
            scores[numbers.isna()].unique(),
            "give their order with categories=, or use kind='nominal'",
        )
    return numbers, {float(value): value for value in np.unique(numbers)}


def _refuse_twice(first: pd.DataFrame, occasion: str | None) -> None:
    twice = first[first.duplicated(["item", "rater"], keep=False)]
    if len(twice):
        pairs = twice[["item", "rater"]].drop_duplicates().agg(" by rater ".join, axis=1)
        advice = (
            "name the column that tells first from later ratings with occasion="
            if occasion is None
            else "keep one score per item, rater and occasion"
        )
        raise InputError("an item has two scores from one rater", pairs, advice)
