"""Names and orders as people write them: no name lost, no order guessed."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.exceptions import InputError
from motorlearn.vocabulary import PHASES


def names_of(column: pd.Series, name: str) -> list[str]:
    """Read names as text without blanks around them; an empty one is refused.

    Raises
    ------
    InputError
        If a cell is empty, or two names differ in capitals only.

    Examples
    --------
    >>> names_of(pd.Series(["r0 ", "r0", 7.0]), "rater")
    ['r0', 'r0', '7']
    """
    names = [_text(value) for value in column]
    empty = [index + 1 for index, value in enumerate(names) if not value]
    if empty:
        raise InputError(
            f"ratings with a score have no {name!r}: their numbers are given",
            empty,
            "write the name in every row",
        )
    spelled: dict[str, str] = {}
    for one in dict.fromkeys(names):
        other = spelled.setdefault(one.casefold(), one)
        if other != one:
            raise InputError(
                f"two names in {name!r} differ in capitals only", [other, one], "spell them alike"
            )
    return names


def _text(value: object) -> str:
    if value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def places_of(
    column: pd.Series, name: str, given: Sequence[Any] | None = None, *, empty: bool = False
) -> np.ndarray:
    """Read an order as numbers: numbers, dates, an ordered category, phases, or as it is given.

    Parameters
    ----------
    column : Series
        Positions or occasions.
    name : str
        Name of the column, for messages.
    given : sequence, optional
        Values from first to last, where they are words.
    empty : bool
        Whether a cell may be empty (NaN in the result).

    Raises
    ------
    InputError
        If words come without their order, a value is not among those given, or a cell is empty.

    Examples
    --------
    >>> places_of(pd.Series(["post", "pre"]), "time", ["pre", "post"]).tolist()
    [1.0, 0.0]
    """
    missing = column.isna()
    if missing.any() and not empty:
        raise InputError(
            f"ratings with a score have no {name!r}", [int(missing.sum())], "fill in every row"
        )
    if given is None and isinstance(column.dtype, pd.CategoricalDtype) and column.cat.ordered:
        given = list(column.cat.categories)
    if given is not None:
        return _ranked(column, name, given)
    if pd.api.types.is_datetime64_any_dtype(column):
        return np.asarray(column.rank(method="dense").to_numpy(dtype=float))
    numbers = pd.to_numeric(column.astype(object), errors="coerce").astype(float)
    words = column[numbers.isna() & ~missing]
    if words.empty:
        return np.asarray(numbers.to_numpy())
    if set(column.dropna()) <= set(PHASES):
        return _ranked(column, name, PHASES)
    raise InputError(
        f"the order of the words in {name!r} is not known",
        words.unique(),
        f"number them, or give {name}s from first to last with occasions="
        if not empty
        else "number the positions",
    )


def _ranked(column: pd.Series, name: str, given: Sequence[Any]) -> np.ndarray:
    rank = {value: float(place) for place, value in enumerate(given)}
    placed = column.astype(object).map(rank).astype(float)
    strange = column[placed.isna() & column.notna()]
    if len(strange):
        raise InputError(
            f"{name!r} holds values whose order was not given",
            strange.unique(),
            f"given: {', '.join(map(str, given))}",
        )
    places: np.ndarray = placed.to_numpy()
    return places
