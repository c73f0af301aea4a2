"""Conditions that each person meets: the plan says so, and the rules look at each by itself."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.trials.checking.problems import gather
from motorlearn.trials.reading.sheet import Sheet

SEQUENCE = "sequence"
"""Column of the order in which a person met the conditions, where the file has one."""


def conditions_as_groups(table: pd.DataFrame, design: Design) -> pd.DataFrame:
    """Name the conditions of a design within people in the column of the group.

    A column ``condition`` that holds the groups of the plan is what is compared; a column of the
    group beside it is that of the sequence.
    """
    if design.within is None or "condition" not in table:
        return table
    if not set(table["condition"].dropna().astype("str")) <= set(design.group_names):
        return table
    if "group" in table and not table["group"].equals(table["condition"]):
        table = table.rename(columns={"group": SEQUENCE})
    return table.assign(group=table["condition"])


def condition_by_condition(sheet: Sheet, design: Design) -> Sheet:
    """The sheet with each person under each condition as one, for rules on single people."""
    if design.within is None or not sheet.has("participant", "group"):
        return sheet
    table = sheet.table
    named = table["participant"] + (" (" + table["group"] + ")").fillna("")
    return replace(sheet, table=table.assign(participant=named))


def check_conditions(sheet: Sheet, design: Design) -> pd.DataFrame:
    """Check that each person met every condition, each in a period of its own."""
    if design.within is None or not sheet.has("participant"):
        return gather([])
    return gather(list(_problems(sheet, design, design.within.by)))


def _problems(sheet: Sheet, design: Design, by: str) -> Iterator[pd.DataFrame]:
    if not sheet.has("group"):
        yield sheet.problems(
            "no column of the condition", [0], column="group", severity="error", values="",
            advice=f"each person meets {' and '.join(design.group_names)}: say in a column "
            "'condition' which of them a row belongs to",
        )  # fmt: skip
        return
    table = sheet.table.reset_index(drop=True)
    first = table.dropna(subset=["participant"]).drop_duplicates("participant")
    met = table.groupby("participant")["group"].agg(lambda names: set(names.dropna()))
    lacking = [
        (line, name, [g for g in design.group_names if g not in met[name]])
        for line, name in zip(first.index, first["participant"])
    ]
    lacking = [entry for entry in lacking if entry[2]]
    yield sheet.problems(
        "participant without a condition",
        np.array([line for line, *_ in lacking], dtype=int),
        column="group",
        values=[f"{name}: no trial under {' or '.join(names)}" for _, name, names in lacking],
        severity="doubt",
        advice="counted where there is a score; not in the differences within people",
    )
    if not sheet.has(by):
        yield sheet.problems(
            "no column of the period", [0], column=by, severity="doubt", values="",
            advice=f"say in a column {by!r} when (or with which) each condition was met; without "
            "it that difference cannot be taken out",
        )  # fmt: skip
        return
    places = table.drop_duplicates(["participant", "group", by])
    twice = places.duplicated(["participant", "group"])
    yield sheet.problems(
        "condition in two periods",
        places.index[twice].to_numpy(),
        column=by,
        values=[f"{row.participant} in {row.group}" for row in places[twice].itertuples()],
        severity="error",
        advice=f"each condition of a person has one {by}; correct it, or the identifier",
    )
