"""Blocks that no column numbers: by trial numbers that begin anew, or by the planned blocks."""

from dataclasses import replace

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.trials.reading.sheet import cell_codes
from motorlearn.trials.reading.standard import Standard, ordered_columns
from motorlearn.vocabulary import BLOCKS_NUMBERED, CHANGE_COLUMNS, PRACTICE_PHASE

_CELL = ("participant", "phase", "test", "session")


def number_blocks(standard: Standard, how: str, design: Design | None = None) -> Standard:
    """Give the rows a column ``block``.

    Raises
    ------
    ColumnError
        If there is no column ``trial`` to go by.
    InputError
        If the file has a column ``block``, or the plan has no practice to go by.
    """
    table = standard.sheet.table
    if "trial" not in table:
        raise ColumnError(
            "blocks cannot be numbered without a column 'trial'", remedy="take out import.blocks"
        )
    if "block" in table and table["block"].notna().any():
        raise InputError(
            "the trials have a column 'block' and import.blocks would number them again",
            remedy="take out import.blocks",
        )
    block = restarts(table) if how == "restarts" else _planned(table, _size(design))
    return _with_blocks(standard, block, how)


def blocks_of(standard: Standard, size: int) -> Standard:
    """Give the rows of a study whose plan is still to be written blocks of ``size`` trials."""
    return _with_blocks(standard, _planned(standard.sheet.table, size), "planned")


def _with_blocks(standard: Standard, block: pd.Series, how: str) -> Standard:
    table = standard.sheet.table.assign(block=block)
    change = pd.DataFrame(
        [(standard.sheet.file, "", pd.NA, "block", "", how, BLOCKS_NUMBERED)],
        columns=list(CHANGE_COLUMNS),
    ).astype({"row": "Int64"})
    return replace(
        standard,
        sheet=replace(standard.sheet, table=table[ordered_columns(list(table))]),
        changes=pd.concat([standard.changes, change], ignore_index=True),
    )


def restarts(table: pd.DataFrame) -> pd.Series:
    """Number of the run of trials within person, phase and session, in the order of the rows."""
    cells = pd.Series(cell_codes(table, [n for n in _CELL if n in table]), index=table.index)
    trial = table["trial"].astype("float")
    anew = trial <= trial.groupby(cells).shift()
    return anew.groupby(cells).cumsum().astype(np.int64) + 1


def size_by_tests(table: pd.DataFrame) -> int:
    """Trials a block may have held where nothing says so: as many as a test; 0 where that fails.

    It fails where tests differ in length, trials of practice are not numbered through, or practice
    is no whole multiple of a test.
    """
    if not {"phase", "trial"} <= set(table) or "session" in table or "block" in table:
        return 0
    usual = {
        str(phase): int(rows.groupby("participant").size().mode().iloc[0])
        for phase, rows in table.groupby("phase")
    }
    practice = usual.pop(PRACTICE_PHASE, 0)
    rows = table.loc[table["phase"] == PRACTICE_PHASE, "trial"]
    size = usual.popitem()[1] if len(set(usual.values())) == 1 else 0
    through = size > 1 and rows.notna().all() and rows.max() == practice
    return size if through and practice % size == 0 and practice > size else 0


def _size(design: Design | None) -> int:
    sizes = {entry.trials_per_block for entry in design.practice} if design is not None else set()
    if len(sizes) != 1:
        raise InputError(
            "the plan does not say how many trials a block has, or says several",
            sorted(sizes),
            "give practice.trials_per_block once, or number the blocks in the file",
        )
    return int(sizes.pop())


def _planned(table: pd.DataFrame, size: int) -> pd.Series:
    block = np.ceil(table["trial"].astype("float") / size)
    block = block.where(table["phase"] == PRACTICE_PHASE, 1)
    return block.astype(np.int64) if block.notna().all() else block
