"""From a long table of ratings to items by raters, with everything odd refused or listed."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.exceptions import ColumnError, InputError
from motorlearn.measures.agreement.names import names_of, places_of
from motorlearn.results import nobody_left_out
from motorlearn.rows import Schema
from motorlearn.tables import Column

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


CATEGORIES = Schema(
    (Column("code", kind="whole"), Column("category"), Column("items", kind="number"))
)


@dataclass(frozen=True)
class Asked:
    """What the caller said of the table: columns, kind of score, and orders."""

    item: str | Sequence[str]
    rater: str
    score: str
    kind: str
    order: str | None = None
    occasion: str | None = None
    occasions: Sequence[Any] | None = None
    cluster: str | None = None
    categories: Sequence[Any] | None = None


@dataclass(frozen=True)
class Ratings:
    """Ratings of all occasions, and the first occasion as items by raters.

    ``labels`` maps the number that stands in the tables to the category it stands for;
    ``cluster`` gives the learner of each item, or None.
    """

    kind: str
    labels: dict[float, object]
    every: pd.DataFrame
    first: pd.DataFrame
    wide: pd.DataFrame
    cluster: pd.Series | None = None

    @property
    def rated(self) -> pd.DataFrame:
        """Items with at least two raters."""
        return self.wide[self.wide.notna().sum(axis=1) >= 2]

    @property
    def complete(self) -> np.ndarray:
        """Items every rater scored, shape (n_items, n_raters)."""
        scores: np.ndarray = self.wide.dropna().to_numpy(dtype=float)
        return scores

    @property
    def codes(self) -> np.ndarray:
        """Numbers that stand for the categories, ascending."""
        return np.array(sorted(self.labels), dtype=float)

    @property
    def categories(self) -> pd.DataFrame:
        """Code and name of each category, and how many items' worth of ratings it has."""
        if self.kind == "continuous":
            return CATEGORIES.frame()
        rated = self.rated
        raters = rated.notna().sum(axis=1)
        return CATEGORIES.frame(
            [
                {
                    "code": code,
                    "category": _name(self.labels[code]),
                    "items": ((rated == code).sum(axis=1) / raters).sum(),
                }
                for code in self.codes
            ]
        )

    def clusters_of(self, items: pd.Index) -> np.ndarray | None:
        """Learner of each item as a number, None where items are independent."""
        if self.cluster is None:
            return None
        return np.unique(self.cluster.loc[items].to_numpy(), return_inverse=True)[1]

    @property
    def left_out(self) -> pd.DataFrame:
        """Items that no coefficient can use."""
        alone = int((self.wide.notna().sum(axis=1) < 2).sum())
        if not alone:
            return nobody_left_out()
        reason = "item scored by fewer than two raters"
        return pd.DataFrame([{"participant": "", "group": "", "reason": reason, "rows": alone}])


def read_ratings(ratings: pd.DataFrame, asked: Asked) -> Ratings:
    """Check a long table of ratings and arrange it by item and rater.

    Raises
    ------
    ColumnError
        If a column is absent.
    InputError
        If the kind is unknown, a rating names no rater or no item, a rater has two scores for an
        item on one occasion, a score is not a number or not among the categories, an order cannot
        be told, or fewer than two items were scored by two raters.
    """
    kind = _kind(asked.kind)
    items = _check_columns(ratings, asked)
    every = _tidy(ratings, items, asked)
    every["score"], labels = _as_numbers(every["score"], kind, asked.categories)
    earliest = every.groupby(["item", "rater"])["occasion"].transform("min")
    first = every[every["occasion"] == earliest].reset_index(drop=True)
    _refuse_twice(first, asked.occasion)
    wide = first.pivot(index="item", columns="rater", values="score")
    found = Ratings(kind, labels, every, first, wide, _clusters(first))
    if wide.shape[1] < 2 or len(found.rated) < 2:
        raise InputError(
            "agreement needs at least two items that two raters scored",
            [f"{wide.shape[1]} raters", f"{len(found.rated)} items scored twice"],
            "let a second rater score some of the clips",
        )
    return found


def _name(category: object) -> str:
    return f"{category:g}" if isinstance(category, float) else str(category)


def _kind(kind: str) -> str:
    if not isinstance(kind, str) or kind not in KINDS:
        raise InputError("the kind of score is unknown", [kind], f"use one of {', '.join(KINDS)}")
    return KINDS[kind]


def _check_columns(ratings: pd.DataFrame, asked: Asked) -> list[str]:
    if not isinstance(ratings, pd.DataFrame):
        raise InputError(
            "agreement is computed from a table of ratings",
            [type(ratings).__name__],
            "pass a DataFrame with one row per item and rater",
        )
    items = [asked.item] if isinstance(asked.item, str) else list(asked.item or ())
    if not items:
        raise InputError("no column names what was rated", remedy="give item=, for example 'clip'")
    optional = [n for n in (asked.order, asked.occasion, asked.cluster) if n is not None]
    needed = [*items, asked.rater, asked.score, *optional]
    absent = [name for name in needed if name not in ratings.columns]
    if absent:
        raise ColumnError(
            "the ratings lack a column", absent, f"they have {', '.join(map(str, ratings.columns))}"
        )
    twice = [n for n in needed if (ratings.columns == n).sum() > 1]
    if twice:
        raise ColumnError("the ratings have a column twice", twice, "rename one of them")
    return items


def _tidy(ratings: pd.DataFrame, items: list[str], asked: Asked) -> pd.DataFrame:
    scored = ratings[ratings[asked.score].notna()]
    if scored.empty:
        raise InputError("no rating has a score", [asked.score], "check the column of scores")
    named = [names_of(scored[name], name) for name in items]
    table = pd.DataFrame(
        {
            "item": [" / ".join(parts) for parts in zip(*named)],
            "rater": names_of(scored[asked.rater], asked.rater),
            "score": scored[asked.score].to_numpy(),
            "occasion": 1.0
            if asked.occasion is None
            else places_of(scored[asked.occasion], asked.occasion, asked.occasions),
        }
    )
    if asked.order is not None:
        table["order"] = places_of(scored[asked.order], asked.order, empty=True)
    if asked.cluster is not None:
        table["cluster"] = names_of(scored[asked.cluster], asked.cluster)
    return table


def _as_numbers(
    scores: pd.Series, kind: str, categories: Sequence[Any] | None
) -> tuple[pd.Series, dict[float, object]]:
    scores = scores.map(lambda value: value.strip() if isinstance(value, str) else value)
    if categories is not None or kind == "nominal":
        levels = list(categories) if categories is not None else sorted(scores.unique(), key=str)
        unknown = sorted(set(scores.unique()) - set(levels), key=str)
        if unknown:
            raise InputError("scores are not among the categories", unknown, "name every category")
        numeric = kind != "nominal" and all(isinstance(level, int | float) for level in levels)
        codes = {level: float(level if numeric else place) for place, level in enumerate(levels)}
        return scores.map(codes).astype(float), {code: level for level, code in codes.items()}
    numbers = pd.to_numeric(scores, errors="coerce").astype(float)
    odd = scores[~np.isfinite(numbers)]
    if len(odd):
        raise InputError(
            "scores are not numbers",
            odd.unique(),
            "give their order with categories=, or use kind='nominal'",
        )
    return numbers, {float(value): value for value in np.unique(numbers)}


def _clusters(first: pd.DataFrame) -> pd.Series | None:
    if "cluster" not in first:
        return None
    several = first.groupby("item")["cluster"].nunique()
    if (several > 1).any():
        raise InputError(
            "an item belongs to two learners", several.index[several > 1], "correct the clips"
        )
    return first.groupby("item")["cluster"].first()


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
