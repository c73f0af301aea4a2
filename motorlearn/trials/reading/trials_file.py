"""Read a file of trials: open, name the columns, convert, check; everything doubtful is listed."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from motorlearn.exceptions import FileError
from motorlearn.trials.checking.problems import gather
from motorlearn.trials.checking.rules import check_rules
from motorlearn.trials.checking.suspicions import suspicions
from motorlearn.trials.containers.grid import Grid
from motorlearn.trials.containers.opening import open_grid
from motorlearn.trials.reading.headings import find_headings, require_participant
from motorlearn.trials.reading.standard import Standard, standardise
from motorlearn.trials.study import Trials

Levels = Mapping[str, Mapping[Any, Any]]


def read_trials(
    path: str | Path,
    *,
    columns: Mapping[str, str] | None = None,
    levels: Levels | None = None,
    units: Mapping[str, str] | None = None,
    sheet: str | int | None = None,
) -> Trials:
    """Read and check a file of trials in standard columns.

    Parameters
    ----------
    path : path-like
        CSV or TSV in any common encoding (also gzip), ``.xlsx``, ``.xls``, ``.ods``, Parquet, or
        with the extra ``spss-stata`` a file of SPSS (``.sav``) or Stata (``.dta``).
    columns : mapping of str to str, optional
        Heading in the file to standard name, for example ``{"id": "participant"}``.
    levels : mapping of str to mapping, optional
        For a column of the table, code in the file to level, for example
        ``{"phase": {1: "pretest", 2: "acquisition"}}``.
    units : mapping of str to str, optional
        Unit of a quantity (``length``, ``time``, ``speed``, ``error``) or of a column.
    sheet : str or int, optional
        Sheet of a workbook, by name or counted from 0; without it the first one with data.

    Returns
    -------
    Trials
        ``table`` in standard columns with further columns behind them, ``problems`` with their
        place in the file, ``changes`` to any value, and rows that were set aside. An empty outcome
        is a missing value; its row is kept.

    Raises
    ------
    FileError
        If the file is missing, empty, damaged, unsafe or of an unknown kind.
    ColumnError
        If there is no participant column, or a column named in ``columns`` is absent.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "trials.csv"
    >>> _ = file.write_text("id;phase;hits;attempts\\nP1;1;12;20\\nP2;1;23;20\\n")
    >>> trials = read_trials(file, columns={"id": "participant"},
    ...                      levels={"phase": {1: "pretest"}})
    >>> trials.problems[["row", "column", "value", "rule"]].values.tolist()
    [[3, 'hits', '23 of 20', 'hits above attempts']]
    """
    grid = open_grid(path, sheet=sheet)
    standard = read_grid(grid, columns=columns, levels=levels, units=units)
    return trials_of(
        standard,
        gather([standard.problems, check_rules(standard.sheet), suspicions(standard.sheet)]),
    )


def read_grid(
    grid: Grid,
    *,
    columns: Mapping[str, str] | None = None,
    levels: Levels | None = None,
    units: Mapping[str, str] | None = None,
) -> Standard:
    """Bring a grid into standard columns; it must have a participant column and a row."""
    headings = find_headings(grid, columns)
    require_participant(grid, headings)
    standard = standardise(grid, headings, levels=levels, units=units)
    if standard.sheet.table.empty:
        raise FileError("the file has headings but no rows of data", [grid.file])
    return standard


def trials_of(standard: Standard, problems: pd.DataFrame) -> Trials:
    """Put what was read together with the problems that were found."""
    return Trials(
        standard.sheet.table,
        problems,
        standard.changes,
        standard.units,
        standard.set_aside,
        standard.sheet.rows,
    )
