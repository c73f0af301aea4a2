"""What a figure asks of the tables it is given, so that a bad one is refused in words."""

import pandas as pd

from motorlearn.exceptions import ColumnError, InputError
from motorlearn.figures.drawing.levels import Levels, Look


def ask_columns(table: pd.DataFrame, columns: tuple[str, ...], figure: str) -> None:
    """Refuse a table that lacks columns a figure needs.

    Raises
    ------
    ColumnError
        With the absent columns.
    """
    absent = [name for name in columns if name not in table.columns]
    if absent:
        raise ColumnError(
            f"{figure} lacks columns of its table", absent, f"it has {', '.join(map(str, table))}"
        )


def drawn_levels(table: pd.DataFrame, levels: Levels, *, column: str = "group") -> list[Look]:
    """Looks of the levels that a table has; nobody is left out of a figure silently.

    Raises
    ------
    InputError
        If none of the levels is there, or the table has one that the plan does not name.
    """
    found = levels.present(table, column)
    strange = sorted(set(table[column].dropna().astype(str)) - set(levels) - {""})
    if strange:
        raise InputError(
            f"the data to draw have a {column} that the plan does not name",
            strange,
            f"the plan names {', '.join(levels)}",
        )
    return found
