"""Numbers of trials that begin anew in each block, where no column numbers the blocks."""

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.digits import count
from motorlearn.trials.checking.problems import problem_frame
from motorlearn.trials.reading.sheet import Sheet, cell_codes, codes

_PEOPLE: Final = 0.5
_SHARE: Final = 0.2
_FEWEST: Final = 3


def begins_anew(table: pd.DataFrame, again: NDArray[np.intp]) -> bool:
    """Whether doubled trials are blocks that nobody numbered, and not rows pasted twice.

    So it is where there is no block, most people have them, their values are others, and each runs
    through the same numbers: a person's trial 1 is there as often as trial 2.
    """
    if "trial" not in table or ("block" in table and table["block"].notna().any()):
        return False
    people = codes(table["participant"])
    touched = len(np.unique(people[again])) / max(1, int(people.max(initial=-1)) + 1)
    if touched <= _PEOPLE or len(again) < max(_FEWEST, _SHARE * len(table)):
        return False
    whole = pd.Series(cell_codes(table, list(table.columns)))
    if whole.duplicated().to_numpy()[again].mean() > 0.5:
        return False
    trial = table["trial"].to_numpy(dtype=float)
    step = np.r_[np.nan, np.diff(trial)]
    return bool(((step == 1) | (trial == trial.min(initial=np.inf)))[again].mean() > 0.8)


def numbering_begins_anew(sheet: Sheet, again: NDArray[np.intp]) -> pd.DataFrame:
    """Ask once what the runs of trials are."""
    first = int(again[0])
    table = sheet.table
    phases = (
        ", ".join(dict.fromkeys(table["phase"].iloc[again].astype("str")))
        if ("phase" in table)
        else "the file"
    )
    return problem_frame(
        "numbering of trials begins anew",
        severity="doubt",
        file=sheet.file,
        sheet=sheet.sheet if isinstance(sheet.sheet, str) else str(sheet.sheet[first]),
        row=int(sheet.rows[first]),
        column=sheet.column("trial"),
        value=f"{count(len(again), 'trial')} in {phases} with a number that was there before",
        advice="where each run of numbers is a block, set blocks = 'restarts' under [import] in "
        "study.toml, or name the column of the blocks; rows pasted twice would look like this too",
    )
