"""Rows of a printed sheet that nobody has filled in yet: planned, but no trials."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.trials.checking.problems import gather
from motorlearn.trials.checking.rules import OUTCOMES
from motorlearn.trials.reading.sheet import cell_codes
from motorlearn.trials.reading.standard import Standard

REASON: Final = "not filled in"
_CELL: Final = ("participant", "phase", "session", "test")


def set_aside_blank(standard: Standard) -> Standard:
    """Set aside the rows of a person's session or test of which nothing was filled in.

    A row without an outcome stays where the person has others of that test, or where a reason is
    given: it is a missing value. A whole test without any entry is one that was not taken, or not
    yet; counted as trials it would be scored as no hit of no attempt.

    Parameters
    ----------
    standard : Standard
        Trials in standard columns.

    Returns
    -------
    Standard
        Without those rows; they are listed in ``set_aside``, and one note counts them.
    """
    sheet, table = standard.sheet, standard.sheet.table
    own = [name for name in OUTCOMES if name in table]
    if table.empty or not own or "participant" not in table or "phase" not in table:
        return standard
    entered = table[own].notna().any(axis=1)
    if "void" in table:
        entered |= table["void"].fillna("") != ""
    cells = cell_codes(table, [name for name in _CELL if name in table])
    blank = ~pd.Series(entered.to_numpy()).groupby(cells).transform("any").to_numpy()
    if not blank.any():
        return standard
    aside = pd.DataFrame(
        {
            "file": sheet.file,
            "sheet": sheet.sheet if isinstance(sheet.sheet, str) else sheet.sheet[blank],
            "row": sheet.rows[blank],
            "reason": REASON,
            "content": table.loc[blank, "participant"].astype("str").to_numpy(),
        }
    )
    note = sheet.problem(
        "not filled in",
        severity="note",
        value=_where(table[blank]),
        advice="planned rows without any entry: they are no trials yet and are not scored; a "
        "reason in column 'void' keeps them as missing",
    )
    return _without(standard, blank, aside, note)


def _without(
    standard: Standard, blank: np.ndarray, aside: pd.DataFrame, note: pd.DataFrame
) -> Standard:
    sheet = standard.sheet
    return replace(
        standard,
        sheet=replace(
            sheet,
            table=sheet.table[~blank].reset_index(drop=True),
            rows=sheet.rows[~blank],
            sheet=sheet.sheet if isinstance(sheet.sheet, str) else sheet.sheet[~blank],
            origins=_kept(sheet.origins, ~blank),
        ),
        problems=gather([standard.problems, note]),
        set_aside=pd.concat([standard.set_aside, aside], ignore_index=True),
    )


def _kept(
    origins: Mapping[str, np.ndarray] | None, rows: np.ndarray
) -> dict[str, np.ndarray] | None:
    return None if origins is None else {name: of[rows] for name, of in origins.items()}


def _where(blank: pd.DataFrame) -> str:
    people = blank.groupby("phase", sort=False)["participant"].nunique()
    return ", ".join(f"{phase} of {n}" for phase, n in people.items())
