"""What the plan left out of the scores and what it replaced, rule by rule, as it was applied."""

from collections.abc import Iterator

import pandas as pd

from motorlearn.report.writers.contents import Heading, Text
from motorlearn.tables import Column, Table
from motorlearn.trials import Study
from motorlearn.wording.voice import count


def exclusion_blocks(study: Study) -> Iterator[Heading | Text | Table]:
    """Give a section with a table of exclusions and one of replacements, where there are some."""
    left, put = study.trials.excluded, study.trials.replaced
    if left.empty and put.empty:
        return
    yield Heading("Exclusions and replacements")
    if len(left):
        yield Text(
            "{tab:exclusions} lists the exclusions of the plan as they were applied: their rows "
            "are in the data with the reason and were not scored."
        )
        yield _excluded(left)
    if len(put):
        cells = count(len(put), "value")
        people = count(put["participant"].nunique(), "participant")
        yield Text(
            f"{cells} of {people} were replaced by rules of the plan ({{tab:replacements}}); the "
            "list of changes has each, and the table of sensitivity has the primary comparison "
            "without them."
        )
        yield _replaced(study, put)


def _excluded(left: pd.DataFrame) -> Table:
    columns = (
        Column("rule"),
        Column("reason"),
        Column("where"),
        Column("people", "participants", "count"),
        Column("rows", "trials", "count"),
    )
    note = "An exclusion of 0 trials fits no row: look at its condition in the plan."
    return Table("exclusions", "Exclusions of the plan", columns, left, (note,))


def _replaced(study: Study, put: pd.DataFrame) -> Table:
    """One row for each rule and group."""
    table = study.trials.table
    known = put["line"].isin(table.index)
    group = table["group"].reindex(put["line"]).to_numpy() if "group" in table else "all"
    rows = (
        put.assign(group=group)[known]
        .groupby(["rule", "reason", "group"], sort=False, dropna=False)
        .agg(cells=("line", "size"), people=("participant", "nunique"))
        .reset_index()
    )
    columns = (
        Column("rule"),
        Column("reason"),
        Column("group"),
        Column("cells", "values", "count"),
        Column("people", "participants", "count"),
    )
    return Table("replacements", "Values replaced by rules of the plan", columns, rows)
