"""Totals over the items of a checklist: a missing item never counts as zero."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from motorlearn.exceptions import ColumnError, InputError
from motorlearn.measures.scores import numbers
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table

WHOLE, PRORATED, NOT_TOTALLED = "total", "prorated", "no total"
"""What the column ``made`` can hold."""


@dataclass(frozen=True)
class Totals(Result):
    """Totals of a checklist, with those that lack items listed.

    Attributes
    ----------
    table : DataFrame
        The columns of ``by`` and ``keep``; ``score``; ``n_items`` (items scored); ``made``
        (``total``, ``prorated`` or ``no total``).
    incomplete : DataFrame
        The columns of ``by``, ``missing`` (names of the items) and ``made``, where items lack.
    items : tuple of str
        Items of the checklist.
    recipe : Recipe
        Columns, rule, and number of totals made.
    """

    table: pd.DataFrame
    incomplete: pd.DataFrame
    items: tuple[str, ...]
    recipe: Recipe

    def tables(self) -> list[Table]:
        """Totals, then those that lack items."""
        counts = self.table["made"].value_counts()
        note = (
            f"{len(self.items)} items. Made of all items: {counts.get(WHOLE, 0)}; prorated: "
            f"{counts.get(PRORATED, 0)}; without a total: {counts.get(NOT_TOTALLED, 0)}."
        )
        by = [Column(name) for name in self.recipe.options["by"]]
        first = Table(
            "totals",
            "Totals of the checklist",
            (*by, Column("score", kind="whole"), Column("n_items", "items scored", "count"),
             Column("made")),
            self.table,
            (note,),
        )  # fmt: skip
        columns = (*by, Column("missing", "items missing"), Column("made"))
        lacking = Table("incomplete", "Ratings that lack items", columns, self.incomplete)
        return [first, lacking] if len(self.incomplete) else [first]


def total_scores(
    ratings: pd.DataFrame,
    *,
    by: str | Sequence[str],
    item: str = "item",
    score: str = "score",
    items: Sequence[str] | None = None,
    at_least: int | None = None,
    keep: Sequence[str] = (),
) -> Totals:
    r"""Add up the items of a checklist for each clip and rater.

    A total is the sum of all items. Where items are missing there is no total, unless
    ``at_least`` says from how many scored items one is prorated: :math:`m \cdot \bar x` with m
    items of the checklist and the mean of those scored.

    Parameters
    ----------
    ratings : DataFrame
        One row per rating of an item; an empty score is a missing one.
    by : str or sequence of str
        Columns that name one total, for example ``["clip", "rater"]``.
    item, score : str
        Columns of the item and its score.
    items : sequence of str, optional
        Items of the checklist; all that occur by default.
    at_least : int, optional
        Fewest scored items from which a total is prorated.
    keep : sequence of str
        Further columns to carry along, the first value of each total.

    Raises
    ------
    ColumnError
        If a column is absent.
    InputError
        If an item is scored twice in one total, an item is not on the checklist, or ``at_least``
        is not among 1 to the number of items.

    Examples
    --------
    >>> ratings = pd.DataFrame({
    ...     "clip": [1, 1, 2, 2], "rater": "A", "item": ["grip", "swing"] * 2,
    ...     "score": [2, 1, 2, None]})
    >>> total_scores(ratings, by=["clip", "rater"]).table["score"].tolist()
    [3.0, nan]
    >>> total_scores(ratings, by=["clip", "rater"], at_least=1).table["score"].tolist()
    [3.0, 4.0]
    """
    by = named_columns(ratings, by)
    absent = [name for name in [*by, item, score, *keep] if name not in ratings]
    if absent:
        raise ColumnError("the ratings lack a column", absent)
    known = [str(one) for one in (items if items is not None else ratings[item].dropna().unique())]
    _check(ratings, by, item, known, at_least)
    rows = ratings[[*by, *keep]].assign(
        _item=ratings[item].astype(str), score=numbers(ratings, score)
    )
    groups = rows.groupby(by, sort=True, observed=True, dropna=False)
    scored = groups["score"].agg(n_items="count", mean="mean").reset_index()
    fewest = len(known) if at_least is None else at_least
    enough = scored["n_items"] >= fewest
    whole = scored["n_items"] == len(known)
    made = np.where(whole, WHOLE, np.where(enough, PRORATED, NOT_TOTALLED))
    table = scored[by].assign(
        score=np.where(enough, scored["mean"] * len(known), np.nan),
        n_items=scored["n_items"],
        made=made,
    )
    for name in keep:
        table[name] = groups[name].first().to_numpy()
    recipe = Recipe(
        call="total_scores",
        columns={"item": item, "score": score},
        options={"by": tuple(by), "items": tuple(known), "at_least": at_least},
        n=int(enough.sum()),
    )
    lacking = _incomplete(table[~whole], rows, by, known)
    return Totals(table, lacking, tuple(known), recipe)


def named_columns(ratings: pd.DataFrame, by: str | Sequence[str]) -> list[str]:
    """Columns that name one total, as a list.

    Raises
    ------
    InputError
        If there is no table, or no column is named.
    """
    if not isinstance(ratings, pd.DataFrame):
        raise InputError(
            "totals are made from a table of ratings",
            [type(ratings).__name__],
            "pass a DataFrame with one row per item, clip and rater",
        )
    if not by:
        raise InputError("nothing names one total", remedy="give by=, for example clip and rater")
    return [by] if isinstance(by, str) else list(by)


def _check(
    ratings: pd.DataFrame, by: list[str], item: str, known: list[str], at_least: int | None
) -> None:
    strange = sorted(set(ratings[item].dropna().astype(str)) - set(known))
    if strange:
        raise InputError("items are not on the checklist", strange, f"it has {', '.join(known)}")
    twice = ratings[ratings.duplicated([*by, item], keep=False)]
    if len(twice):
        named = twice[[*by, item]].drop_duplicates().astype(str).agg(" / ".join, axis=1)
        raise InputError(
            "an item is scored twice in one total", named, "name the occasion or the rater in by="
        )
    if at_least is not None and not 1 <= at_least <= len(known):
        raise InputError(
            "a total is prorated from at least one item and at most all",
            [at_least],
            str(len(known)),
        )


def _incomplete(
    lacking: pd.DataFrame, rows: pd.DataFrame, by: list[str], known: list[str]
) -> pd.DataFrame:
    present = rows[rows["score"].notna()].groupby(by, observed=True, dropna=False)["_item"]
    seen = present.agg(set).to_dict() if len(rows) and len(lacking) else {}
    missing = []
    for row in lacking[by].itertuples(index=False):
        key = tuple(row) if len(by) > 1 else row[0]
        missing.append(", ".join(one for one in known if one not in seen.get(key, set())))
    return (
        lacking[by].assign(missing=missing, made=lacking["made"].to_numpy()).reset_index(drop=True)
    )
