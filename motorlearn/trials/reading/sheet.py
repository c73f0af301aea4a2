"""A sheet in standard columns that still knows where each value stood in its file."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.trials.checking.problems import gather, problem_frame


@dataclass(frozen=True)
class Sheet:
    """A table in standard columns with the way back to its file.

    Parameters
    ----------
    table : DataFrame
        Standard columns first.
    rows : ndarray of int
        Row of the file for each row of the table.
    file : str
        Where the table comes from.
    sheet : str or ndarray of str
        Sheet of a workbook; one per row where several were put together.
    shown : mapping of str to str
        How problems name a column of the table: its heading, in workbooks with its letter.
    origins : mapping of str to ndarray of str
        The same per row, for columns that were gathered from several columns of the file.
    """

    table: pd.DataFrame
    rows: np.ndarray
    file: str = ""
    sheet: str | np.ndarray = ""
    shown: Mapping[str, str] | None = None
    origins: Mapping[str, np.ndarray] | None = None

    @property
    def title(self) -> str:
        """Name of the sheet, empty where several were put together."""
        return self.sheet if isinstance(self.sheet, str) else ""

    def has(self, *names: str) -> bool:
        """Whether all these columns are there."""
        return all(name in self.table.columns for name in names)

    def part(self, keep: np.ndarray) -> "Sheet":
        """Some rows of the sheet, each still with its place in the file."""
        if keep.all():
            return self
        return replace(
            self,
            table=self.table[keep].reset_index(drop=True),
            rows=self.rows[keep],
            sheet=self.sheet if isinstance(self.sheet, str) else self.sheet[keep],
            origins={name: labels[keep] for name, labels in (self.origins or {}).items()} or None,
        )

    def column(self, name: str) -> str:
        """How problems name a column."""
        return (self.shown or {}).get(name, name)

    def problem(
        self, rule: str, *, severity: str, advice: str, column: str = "", value: Any = ""
    ) -> pd.DataFrame:
        """Make one problem of the whole sheet, or of one of its columns."""
        return problem_frame(
            rule,
            severity=severity,
            advice=advice,
            file=self.file,
            sheet=self.title,
            column=self.column(column) if column else "",
            value=value,
        )

    def problems(
        self,
        rule: str,
        lines: np.ndarray | list[int],
        *,
        column: str,
        severity: str,
        advice: str | Iterable[str],
        values: str | Iterable[Any] | None = None,
    ) -> pd.DataFrame:
        """Make a problem for each of these lines of the table, with the value found there."""
        lines = np.asarray(lines, dtype=int)
        if not len(lines):
            return gather([])
        if values is None:
            values = self.table[column].to_numpy()[lines] if self.has(column) else ""
        return problem_frame(
            rule,
            severity=severity,
            advice=advice if isinstance(advice, str | pd.Series) else list(advice),
            file=self.file,
            sheet=self.sheet if isinstance(self.sheet, str) else self.sheet[lines],
            row=self.rows[lines],
            column=self._columns(column, lines),
            value=values if isinstance(values, str | pd.Series) else list(values),
        )

    def _columns(self, name: str, lines: np.ndarray) -> str | np.ndarray:
        if self.origins is not None and name in self.origins:
            origins: str | np.ndarray = self.origins[name][lines]
            return origins
        return self.column(name)


def codes(values: pd.Series) -> np.ndarray:
    """Number the distinct values of a column; missing is -1."""
    numbers: np.ndarray = pd.factorize(values)[0]
    return numbers


def cell_codes(table: pd.DataFrame, names: list[str]) -> np.ndarray:
    """Number the distinct combinations of several columns; a missing value counts as a value."""
    combined = np.zeros(len(table), dtype=np.int64)
    for name in names:
        inner = codes(table[name]) + 1
        combined = combined * (int(inner.max(initial=0)) + 1) + inner
        combined = pd.factorize(combined)[0]
    return combined


def first_lines(numbers: np.ndarray) -> np.ndarray:
    """First line on which each number 0, 1, 2 … stands; numbers below 0 are passed over."""
    lines = np.flatnonzero(numbers >= 0)
    distinct, first = np.unique(numbers[lines], return_index=True)
    return lines[first] if len(distinct) else lines
