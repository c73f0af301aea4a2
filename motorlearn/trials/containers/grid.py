"""A sheet of cells as it stood in the file, before anything is made of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import pandas as pd
import pyarrow as pa

from motorlearn.exceptions import FileError
from motorlearn.trials.study import no_problems

MOST_COLUMNS: Final = 1_000
"""Most columns of a table."""
MOST_TABLE: Final = 50_000_000
"""Most cells of a text file or a Parquet file."""


def refuse_vast_table(lines: int, columns: int, file: str) -> None:
    """Refuse a table with more columns or cells than can be checked cell by cell.

    Raises
    ------
    FileError
        Before it is laid out in memory.
    """
    if columns > MOST_COLUMNS:
        raise FileError(
            f"{file} has {columns} columns, more than {MOST_COLUMNS}",
            remedy="look for a wrong separator or a stray cell; keep the columns of the study only",
        )
    if lines * columns > MOST_TABLE:
        raise FileError(
            f"{file} has {lines} lines of {columns} columns, more than "
            f"{MOST_TABLE // 1_000_000} million cells",
            remedy="keep the columns of the study only, or split it",
        )


@dataclass(frozen=True)
class Grid:
    """Cells of one sheet or text file, every one as text.

    Parameters
    ----------
    file, sheet : str
        Where the cells come from.
    columns : tuple of pyarrow.ChunkedArray
        One array of texts per column, all of the same length; an empty cell is ``""``.
    rows : ndarray of int
        Row number of each line of cells as the reader of the file sees it, from 1.
    lettered : bool
        Whether columns have letters, as in a workbook.
    marks : DataFrame
        Problems seen while the cells were read.
    evidence : mapping of str to str
        What was detected and why: encoding, separator, decimal mark, sheet.
    decimal : str
        Decimal mark.
    """

    file: str
    columns: tuple[pa.ChunkedArray, ...]
    rows: np.ndarray
    sheet: str = ""
    lettered: bool = False
    marks: pd.DataFrame = field(default_factory=no_problems)
    evidence: Mapping[str, str] = field(default_factory=dict)
    decimal: str = "."

    @property
    def size(self) -> int:
        """Number of lines."""
        return len(self.rows)

    def line(self, place: int) -> list[str]:
        """Texts of one line."""
        return [column[place].as_py() for column in self.columns]

    def letter(self, column: int) -> str:
        """Letter of a column counted from 0."""
        before, last = divmod(column, 26)
        return (self.letter(before - 1) if before else "") + chr(ord("A") + last)
