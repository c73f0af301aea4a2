"""Rows by name: the columns of a result, their kinds, labels and order, declared once."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Final

import numpy as np
import pandas as pd

from motorlearn.exceptions import ColumnError
from motorlearn.tables import Column, Table

Row = dict[str, Any]
_FILLS: dict[str, Any] = {"text": "", "flag": False, "count": 0}
_DTYPES: dict[str, type] = {"text": object, "flag": bool, "count": int}


@dataclass(frozen=True)
class Schema:
    """What a row of a result holds, in which order, and how a table of such rows is written.

    Parameters
    ----------
    columns : tuple of Column
        The columns in the order of the frame. Their kind says how a value is written and how it
        is kept: ``"text"`` as given, ``"flag"`` as a truth value, ``"count"`` as a whole number,
        every other kind as a floating-point number.
    shown : tuple of str
        Names of the columns that a table shows, in its order; all of them by default.

    Raises
    ------
    ColumnError
        If a column is declared twice, or one is shown that is not declared.

    Examples
    --------
    >>> errors = Schema((Column("group"), Column("n", kind="count"), Column("mean", kind="number")))
    >>> errors.row(group="blocked")
    {'group': 'blocked', 'n': 0, 'mean': nan}
    >>> errors.frame([errors.row(mean=31.5, n=12, group="random")])
        group   n  mean
    0  random  12  31.5
    """

    columns: tuple[Column, ...]
    shown: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        twice = sorted({name for name in self.names if self.names.count(name) > 1})
        if twice:
            raise ColumnError("a column is declared twice", twice, "declare it once")
        self._refuse_unknown(self.shown)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Names of the columns in order."""
        return tuple(column.name for column in self.columns)

    def row(self, **values: Any) -> Row:
        """Make one row; what is not named is empty, 0, False or nan by its kind.

        Raises
        ------
        ColumnError
            If a value is named that is no column.
        """
        self._refuse_unknown(values)
        return {c.name: values.get(c.name, _FILLS.get(c.kind, float("nan"))) for c in self.columns}

    def frame(self, rows: Sequence[Mapping[str, Any]] = ()) -> pd.DataFrame:
        """Frame of rows, with the declared types even where there is no row.

        Text is kept as it was given, so that labels may be numbers; a label that is None leaves
        the others as they are.
        """
        filled = [self.row(**row) for row in rows]
        places = pd.RangeIndex(len(filled))
        columns = {c.name: _column(c, [row[c.name] for row in filled]) for c in self.columns}
        return pd.DataFrame(columns, index=places)

    def table(self, name: str, title: str, frame: pd.DataFrame, notes: Sequence[str] = ()) -> Table:
        """Table of a frame of such rows, with the columns that are shown."""
        by_name = dict(zip(self.names, self.columns, strict=True))
        columns = tuple(by_name[column] for column in self.shown or self.names)
        return Table(name, title, columns, frame, tuple(notes))

    def renamed(self, **names: str) -> "Schema":
        """Give the same declaration with other names for some columns.

        Raises
        ------
        ColumnError
            If a name to be replaced is no column.
        """
        self._refuse_unknown(names)
        columns = (replace(c, name=names.get(c.name, c.name)) for c in self.columns)
        return Schema(tuple(columns), tuple(names.get(name, name) for name in self.shown))

    @property
    def texts(self) -> tuple[str, ...]:
        """Names of the columns of text."""
        return tuple(column.name for column in self.columns if column.kind == "text")

    def _refuse_unknown(self, names: Iterable[str]) -> None:
        unknown = [name for name in names if name not in self.names]
        if unknown:
            known = ", ".join(self.names)
            raise ColumnError("a row has no such column", unknown, f"its columns are {known}")


LEFT_OUT: Final = Schema(
    (Column("participant"), Column("group"), Column("reason"), Column("rows", kind="count"))
)
"""Who and what is not in a result, by reason."""

LEFT_OUT_COLUMNS: Final = LEFT_OUT.names
"""Names of these columns; version 1 had them in the vocabulary."""


def _column(column: Column, values: list[Any]) -> list[Any] | np.ndarray | pd.Series:
    """Values in the type of their kind; text stays as it was given."""
    kept = _DTYPES.get(column.kind, float)
    if kept is object and values and not any(value is None for value in values):
        return values
    if kept is float and all(isinstance(value, float | int | np.number) for value in values):
        return np.array(values, dtype=float)
    return pd.Series(values, dtype=kept)
