"""What the plan declares about columns: where an outcome is written, who is yoked to whom."""

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.trials.checking.problems import gather
from motorlearn.trials.reading.sheet import Sheet


def outcomes_recorded(sheet: Sheet, design: Design) -> pd.DataFrame:
    """Find outcomes whose column the trials lack."""
    absent = [o for o in design.outcomes if o.column and not sheet.has(o.column)]
    return gather(
        [
            sheet.problem(
                "outcome without its column",
                severity="error",
                column=outcome.column,
                value=outcome.name,
                advice="correct outcomes.column in study.toml; the trials have "
                f"{', '.join(str(name) for name in sheet.table)}",
            )
            for outcome in absent
        ]
    )


def yoked_pairs(sheet: Sheet, design: Design) -> pd.DataFrame:
    """Find pairs without exactly one person of each of the groups that are yoked."""
    yoked = [group for group in design.groups if group.yoked_to]
    if not yoked:
        return gather([])
    if not sheet.has("pair", "group"):
        return sheet.problem(
            "nothing says who is yoked to whom",
            severity="doubt",
            value=", ".join(f"{group.name} to {group.yoked_to}" for group in yoked),
            advice="add a column 'pair' that is the same for people who belong together",
        )
    people = sheet.table[["participant", "group", "pair"]].drop_duplicates()
    lines, told = [], []
    for group in yoked:
        names = {group.name, group.yoked_to}
        mine = people[people["group"].isin(names)]
        for pair, part in mine.groupby("pair", dropna=False):
            if part["group"].nunique() == len(names) and len(part) == len(names):
                continue
            lines.append(int(np.flatnonzero(sheet.table.index == part.index[0])[0]))
            who = ", ".join(f"{p} ({g})" for p, g in zip(part["participant"], part["group"]))
            told.append(f"{'no pair' if pd.isna(pair) else pair}: {who}")
    return sheet.problems(
        "pair is not whole",
        lines,
        column="pair",
        values=told,
        severity="doubt",
        advice="a pair has one person of each of the groups that are yoked",
    )
