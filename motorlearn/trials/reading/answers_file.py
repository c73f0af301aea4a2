"""Answers of a questionnaire as they stand in their file: headings as given, numbers as numbers."""

from pathlib import Path

import pandas as pd

from motorlearn.exceptions import FileError
from motorlearn.trials.containers.opening import open_grid
from motorlearn.trials.reading.values import MISSING_WORDS


def read_answers(path: str | Path, *, participant: str = "participant") -> pd.DataFrame:
    """Read a table of answers, long or wide; its headings are those of the questionnaire.

    A column is read as numbers where every entry is one or a word such as ``NA`` that stands for a
    missing one; the participant stays text and is called ``participant``.

    Raises
    ------
    FileError
        If the file cannot be read, or two columns have one heading.
    """
    grid = open_grid(path)
    headings = [text.strip() for text in grid.line(0)]
    twice = sorted({name for name in headings if name and headings.count(name) > 1})
    if twice:
        raise FileError(f"{grid.file} has two columns of one heading", twice, "rename one of them")
    columns = {
        name: pd.Series(column.to_pylist()[1:], dtype="str").str.strip()
        for name, column in zip(headings, grid.columns)
        if name
    }
    table = pd.DataFrame({n: c.mask(c == "") for n, c in columns.items()}).dropna(how="all")
    for name in table:
        if name != participant:
            table[name] = _numbers(table[name], grid.decimal)
    return table.rename(columns={participant: "participant"}).reset_index(drop=True)


def _numbers(column: pd.Series, decimal: str) -> pd.Series:
    """The column as numbers where every entry is one, or a word that stands for a missing one."""
    given = column.mask(column.str.lower().isin(MISSING_WORDS))
    plain = given if decimal == "." else given.str.replace(decimal, ".", regex=False)
    numbers = pd.to_numeric(plain, errors="coerce")
    only_words = column.notna().any() and given.isna().all()
    return column if only_words or (numbers.isna() & given.notna()).any() else numbers
