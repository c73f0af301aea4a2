"""Classes that the plan allocates as a whole: each person in one, each class in one group."""

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.trials.checking.problems import gather
from motorlearn.trials.reading.sheet import Sheet


def check_clusters(trials: Sheet, people: Sheet | None, design: Design) -> pd.DataFrame:
    """Check the column of what was allocated as a whole, where the plan says that something was."""
    unit = design.allocation.clusters
    if unit is None:
        return gather([])
    sheet = trials if trials.has(unit) or people is None else people
    if not sheet.has(unit):
        return trials.problems(
            "no column of what was allocated",
            [0],
            column=unit,
            values="",
            severity="error",
            advice=f"the plan allocates by {unit}: name it in a column {unit!r} of the trials or "
            "of the participants; people are not tested as if they had been allocated",
        )
    table = sheet.table.reset_index(drop=True)
    found = [
        _several(sheet, table, "participant", unit, f"participant in more than one {unit}"),
        _several(sheet, table, unit, "group", f"{unit} in two groups"),
    ]
    return gather([*found, _alone(sheet, table, unit)])


def _alone(sheet: Sheet, table: pd.DataFrame, unit: str) -> pd.DataFrame:
    """Groups that hold one class: it cannot be told from its schedule."""
    if not {unit, "group"} <= set(table):
        return gather([])
    classes = table.dropna(subset=[unit, "group"]).drop_duplicates([unit, "group"])
    one = classes[~classes["group"].duplicated(keep=False)]
    return sheet.problems(
        f"one {unit} in a group",
        np.asarray(one.index, dtype=int),
        column=unit,
        values=[f"{a} alone in {b}" for a, b in zip(one[unit], one["group"], strict=True)],
        severity="doubt",
        advice=f"nothing tells a {unit} from its schedule where it is the only one, so nothing is "
        "tested; allocate several of each",
    )


def _several(sheet: Sheet, table: pd.DataFrame, holder: str, held: str, rule: str) -> pd.DataFrame:
    """First rows of holders with several values of what they hold."""
    if not {holder, held} <= set(table):
        return gather([])
    pairs = table.dropna(subset=[holder, held]).drop_duplicates([holder, held])
    twice = pairs[pairs[holder].duplicated(keep=False)]
    values = [f"{a} in {b}" for a, b in zip(twice[holder], twice[held], strict=True)]
    return sheet.problems(
        rule,
        np.asarray(twice.index, dtype=int),
        column=held,
        values=values,
        severity="error",
        advice=f"what is allocated as a whole stays together: find out which {held} is right",
    )
