"""What the plan left out of the scores and what it replaced, rule by rule, as it was applied."""

from collections.abc import Iterator

import pandas as pd

from motorlearn.analysis import OutcomeAnalysis, StudyAnalysis
from motorlearn.digits import count
from motorlearn.report.writers.contents import Heading, Text
from motorlearn.tables import Column, Table
from motorlearn.trials import Study
from motorlearn.wording.times import time_rules_of


def exclusion_blocks(found: StudyAnalysis) -> Iterator[Heading | Text | Table]:
    """Give a section with tables of exclusions, replacements and cut-offs, where there are some."""
    study = found.study
    left, put = study.trials.excluded, study.trials.replaced
    timed = [entry for entry in found.details.values() if entry.time_rules is not None]
    if left.empty and put.empty and not timed:
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
    if timed:
        yield from map(Text, time_rules_of(study.design))
        yield from _times(timed)


def _times(timed: list[OutcomeAnalysis]) -> Iterator[Text | Table]:
    """What the rules for times left out."""
    cuts = pd.concat([entry.cuts.assign(outcome=entry.name) for entry in timed])
    if cuts.empty:
        return
    columns = (
        *([Column("outcome")] if len(timed) > 1 else []),
        Column("rule", "left out"),
        Column("group"),
        Column("cut", "times left out", "count"),
        Column("times", "of times", "count"),
        Column("people", "participants", "count"),
        Column("most_of_one", "most of one person", "percent", decimals=0),
    )
    note = "Their trials stay in the data and count for other outcomes."
    yield Text("{tab:cut-offs} counts what the rules left out.")
    yield Table("cut-offs", "Times left out by rules of the plan", columns, cuts, (note,))


def _excluded(left: pd.DataFrame) -> Table:
    columns = (
        Column("rule"),
        Column("reason"),
        Column("where"),
        Column("people", "participants", "count"),
        Column("rows", "trials", "count"),
    )
    note = "An exclusion of 0 trials fits no row: look at its condition in the plan."
    notes = (note,) if (left["rows"] == 0).any() else ()
    return Table("exclusions", "Exclusions of the plan", columns, left, notes)


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
