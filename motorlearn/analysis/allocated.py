"""What was allocated: people, or classes as a whole, whose people are no units of a test."""

from collections.abc import Sequence
from typing import Any

import pandas as pd

from motorlearn.design import Design
from motorlearn.exceptions import InputError
from motorlearn.trials import Study


def with_clusters(table: pd.DataFrame, study: Study) -> pd.DataFrame:
    """Give each trial the class that its participant is listed with, where trials have none."""
    unit, people = study.design.allocation.clusters, study.participants
    if unit is None or unit in table or people is None or unit not in people:
        return table
    known = people.drop_duplicates("participant").set_index("participant")[unit]
    return table.assign(**{unit: table["participant"].map(known)})


def kept_columns(table: pd.DataFrame, design: Design) -> tuple[str, ...]:
    """Columns beside person and group that a score has to keep: the class, or the period."""
    wanted = (design.allocation.clusters, design.within.by if design.within else None)
    return tuple(name for name in wanted if name is not None and name in table)


def tested_by(table: pd.DataFrame, design: Design) -> dict[str, Any]:
    """Options of a comparison that follow from what was allocated, to people or to classes."""
    if design.within is None:
        return {"group": "group", "unit": design.allocation.clusters or "participant"}
    by = design.within.by
    return {"group": None, "within": "group", "period": by if by in table else None}


def refuse_conditions(design: Design, what: str) -> None:
    """Refuse what takes each person to be in one group, where people met every condition.

    Raises
    ------
    InputError
        Where the plan says that people meet every group.
    """
    if design.within is not None:
        raise InputError(
            f"each person met every condition, and {what} takes people to be in one group each",
            None,
            "look at the comparison of conditions within people",
        )


def refuse_clusters(design: Design, what: str) -> None:
    """Refuse what takes people for the unit where classes were allocated.

    Raises
    ------
    InputError
        Where the plan allocates classes.
    """
    unit = design.allocation.clusters
    if unit is not None:
        raise InputError(
            f"what was allocated is the {unit}, and {what} takes people for independent",
            None,
            f"look at the comparison of {unit} means",
        )


def unit_cells(cells: pd.DataFrame, unit: str | None, by: Sequence[str]) -> pd.DataFrame:
    """Scores of what was allocated: of people, or means of the people of a class."""
    if unit is None:
        return cells
    keys = [unit, *by]
    return (
        cells.groupby(keys, sort=False, observed=True, dropna=False)["score"].mean().reset_index()
    )
