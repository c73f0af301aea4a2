"""The table model: raw values, how each column is written, and the notes beneath."""

import numbers
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal

import pandas as pd

from motorlearn import digits
from motorlearn.exceptions import ColumnError, visible

Kind = Literal[
    "text", "count", "number", "significant", "whole", "p", "share", "percent", "df", "flag"
]


@dataclass(frozen=True)
class Column:
    """How one column is headed and written.

    Parameters
    ----------
    name : str
        Column of the raw values.
    label : str
        Heading.
    kind : Kind
        How a value becomes characters; ``share`` is one of variance.
    unit : str
        Unit shown with the heading, for example ``cm``.
    decimals : int
        Decimals of ``number`` and ``percent``, significant figures of ``significant`` and of
        those values of ``whole`` that are not whole.
    """

    name: str
    label: str = ""
    kind: Kind = "text"
    unit: str = ""
    decimals: int = 2

    @property
    def heading(self) -> str:
        """Label and unit as one text."""
        label = visible(self.label or self.name.replace("_", " "))
        return f"{label} ({self.unit})" if self.unit else label

    @property
    def is_numeric(self) -> bool:
        """Whether the column is set flush right."""
        return self.kind not in ("text", "flag")

    def write(self, value: object, decimal: str = ".") -> str:
        """Write one raw value."""
        if is_missing(value):
            return "–"
        return _WRITERS[self.kind](value, self.decimals, decimal)


def is_missing(value: object) -> bool:
    """Whether a raw value stands for nothing."""
    return value is None or value is pd.NA or value is pd.NaT or value != value


def _count(value: Any, decimals: int, decimal: str) -> str:
    if isinstance(value, numbers.Integral):
        return str(int(value)).replace("-", digits.MINUS)
    return digits.number(float(value), 0)


def _flag(value: Any, decimals: int, decimal: str) -> str:
    return "yes" if value else "no"


_WRITERS: Final[Mapping[str, Callable[[Any, int, str], str]]] = {
    "text": lambda value, decimals, decimal: visible(str(value)),
    "count": _count,
    "number": lambda value, decimals, decimal: digits.number(
        float(value), decimals, decimal=decimal
    ),
    "significant": lambda value, decimals, decimal: digits.significant(
        float(value), decimals, decimal=decimal
    ),
    "whole": lambda value, decimals, decimal: digits.whole(float(value), decimals, decimal=decimal),
    "p": lambda value, decimals, decimal: digits.p_value(float(value), decimal=decimal),
    "share": lambda value, decimals, decimal: digits.share(float(value), decimal=decimal),
    "percent": lambda value, decimals, decimal: digits.percent(
        float(value), decimals, decimal=decimal
    ),
    "df": lambda value, decimals, decimal: digits.degrees_of_freedom(float(value), decimal=decimal),
    "flag": _flag,
}


@dataclass(frozen=True)
class Table:
    """A table as a reader sees it, with the raw values kept beneath.

    Parameters
    ----------
    name : str
        Short name, used for files.
    title : str
        Caption above the table.
    columns : sequence of Column
        The columns shown, in order.
    rows : DataFrame
        Raw values; may hold more columns than are shown.
    notes : sequence of str
        Sentences beneath the table.
    """

    name: str
    title: str
    columns: Sequence[Column]
    rows: pd.DataFrame = field(repr=False)
    notes: Sequence[str] = ()

    def __post_init__(self) -> None:
        absent = [column.name for column in self.columns if column.name not in self.rows.columns]
        if absent:
            raise ColumnError(f"table {self.name!r} has no values for a column it shows", absent)
        object.__setattr__(self, "title", visible(self.title))
        object.__setattr__(self, "notes", tuple(visible(note) for note in self.notes))

    @property
    def headings(self) -> list[str]:
        """Headings in order."""
        return [column.heading for column in self.columns]

    def cells(self, decimal: str = ".") -> list[list[str]]:
        """Written cells, row by row."""
        columns = [
            [column.write(value, decimal) for value in self.rows[column.name].tolist()]
            for column in self.columns
        ]
        return [list(row) for row in zip(*columns, strict=True)] if columns else []


_ESTIMATES = {
    "term": Column("term", "term"),
    "estimate": Column("estimate", "estimate", "significant", decimals=4),
    "std_error": Column("std_error", "standard error", "significant", decimals=3),
    "df": Column("df", "df", "df"),
    "df1": Column("df1", "df 1", "df"),
    "df2": Column("df2", "df 2", "df"),
    "statistic": Column("statistic", "statistic", "number"),
    "p": Column("p", "p", "p"),
    "conf_low": Column("conf_low", "lower", "significant", decimals=4),
    "conf_high": Column("conf_high", "upper", "significant", decimals=4),
}


def estimates_table(
    name: str, title: str, frame: pd.DataFrame, *, notes: Sequence[str] = ()
) -> Table:
    """Make a table from a frame of estimates; columns it does not know are shown as they are."""
    columns = [_ESTIMATES.get(label) or _guess(label, frame[label]) for label in frame.columns]
    return Table(name, title, tuple(columns), frame, tuple(notes))


def _guess(name: str, values: pd.Series) -> Column:
    if pd.api.types.is_bool_dtype(values):
        return Column(name, kind="flag")
    if pd.api.types.is_integer_dtype(values):
        return Column(name, kind="count")
    if pd.api.types.is_float_dtype(values):
        return Column(name, kind="significant", decimals=4)
    return Column(name)
