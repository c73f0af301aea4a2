"""Whether what a file's name says agrees with the rows of the file."""

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from motorlearn.trials.checking.problems import gather
from motorlearn.trials.importing.many_files import heading_of_part
from motorlearn.trials.reading.sheet import first_lines
from motorlearn.trials.reading.standard import Standard
from motorlearn.vocabulary import LEVEL_MAPPED


def names_agree(standard: Standard, parts: Sequence[str]) -> Standard:
    """Compare each part of the names with the column of that name, and take it out again.

    ``01`` and ``1.000`` agree. Levels that were mapped from codes are not compared.
    """
    table, found = standard.sheet.table, []
    mapped = set(standard.changes.loc[standard.changes["rule"] == LEVEL_MAPPED, "column"])
    for part in parts:
        name = heading_of_part(part)
        if name not in table or part not in table:
            continue
        if standard.sheet.column(part) in mapped:
            continue
        known = table[part].notna() & table[name].notna()
        differ = known & (table[part].map(_plain) != table[name].map(_plain))
        named = np.broadcast_to(np.asarray(standard.sheet.sheet, dtype=object), len(table))
        files = pd.factorize(pd.Series(named, index=table.index).where(differ))[0]
        lines = first_lines(files)
        said = table[[part, name]].to_numpy()[lines]
        found.append(
            standard.sheet.problems(
                "file name contradicts its rows",
                lines,
                column=part,
                values=[f"{row} in the rows, {file} in the name" for row, file in said],
                severity="error",
                advice="find out whose file it is; the rows were believed",
            )
        )
    drop = [heading_of_part(part) for part in parts]
    kept = table.drop(columns=[name for name in drop if name in table])
    return replace(
        standard,
        sheet=replace(standard.sheet, table=kept),
        problems=gather([standard.problems, *found]),
    )


def _plain(value: object) -> str:
    text = str(value).strip().casefold()
    number = re.fullmatch(r"0*(\d+)(?:[.,]0+)?", text)
    return number[1] if number else text
