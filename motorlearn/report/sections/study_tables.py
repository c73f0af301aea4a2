"""Tables of a report on the study: people, programme, what is missing, deviations, standards."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from motorlearn import digits
from motorlearn.design import Design, Test
from motorlearn.digits import count
from motorlearn.plan.timetable import day_of_test
from motorlearn.report.view import StudyView
from motorlearn.tables import Column, Table
from motorlearn.vocabulary import capitalised
from motorlearn.wording.standards import standards_checklist
from motorlearn.wording.voice import arm_of

NOT_BASELINE = ("participant", "group", "status")
MANY = 8
"""A column of participants with more different texts than this is not tabulated."""


def participants_table(found: StudyView) -> Table:
    """Participants by group: numbers and shares, mean and SD; without tests of the baseline."""
    rows: list[tuple[str, str, Mapping[str, object]]] = [
        ("Allocated", "", found.analysis.allocated)
    ]
    people, decimal = found.analysis.people.roster, found.decimal
    for name in people.columns:
        if name in NOT_BASELINE:
            continue
        if pd.api.types.is_numeric_dtype(people[name]) and people[name].nunique() > 2:
            rows.append((_label(name), "mean (SD)", _mean_sd(people, name, decimal)))
        elif people[name].nunique() <= MANY:
            rows += _shares(people, name)
    frame = pd.DataFrame(
        [
            {
                "characteristic": label,
                "written": how,
                **{g: cells.get(g, "–") for g in found.groups},
            }
            for label, how, cells in rows
        ]
    )
    columns = [Column("characteristic"), Column("written", "as")]
    columns += [Column(group) for group in found.groups]
    return Table(
        "participants",
        f"Participants by {arm_of(found.design)}",
        tuple(columns),
        frame.astype("str"),
        (_start_note(found.design),),
    )


def _start_note(design: Design) -> str:
    """What may be said about groups at the start."""
    if len(design.groups) == 1:
        return "One group: it is described and compared with nobody."
    if design.within is not None:
        return "The same people stand under every condition."
    if design.allocation.method == "none":
        return "Groups are described, not tested; they were not allocated, so they may differ."
    return "Groups are described, not tested: any difference arose by allocation."


def _label(name: str) -> str:
    return capitalised(name.replace("_", " "))


def _mean_sd(people: pd.DataFrame, name: str, decimal: str) -> dict[str, str]:
    parts = people.groupby("group")[name].agg(["mean", "std"])
    return {
        str(
            group
        ): f"{digits.number(mean, 1, decimal=decimal)} ({digits.number(sd, 1, decimal=decimal)})"
        for group, mean, sd in parts.itertuples()
    }


def _shares(people: pd.DataFrame, name: str) -> list[tuple[str, str, dict[str, str]]]:
    rows = []
    known = people.dropna(subset=[name])
    sizes = known["group"].value_counts()
    for level in sorted(known[name].unique(), key=str):
        counts = known.loc[known[name] == level, "group"].value_counts()
        cells = {
            str(group): f"{counts.get(group, 0)} ({digits.percent(counts.get(group, 0) / size)})"
            for group, size in sizes.items()
        }
        shown = digits.plain(level) if isinstance(level, float) else level
        rows.append((f"{_label(name)}: {shown}", "n (%)", cells))
    return rows


def programme_table(design: Design) -> Table:
    """The programme: every session and test with its day, trials and feedback."""
    rows: list[dict[str, Any]] = [
        {
            "order": (session.day, 1, session.session),
            "part": capitalised(session.label),
            "day": session.day,
            "trials": session.trials,
            "content": f"{count(session.blocks, 'block')} of {session.trials_per_block}",
            "feedback": _feedback(session.feedback, session.feedback_every),
        }
        for session in design.practice
    ]
    for place, test in enumerate(design.tests):
        day = day_of_test(test, [session.day for session in design.practice])
        rows.append(
            {
                "order": (_place(day, test), 0 if test.phase == "pretest" else 2, place),
                "part": capitalised(test.name or test.phase),
                "day": day,
                "trials": test.trials,
                "content": test.description,
                "feedback": "yes" if test.feedback else "none",
            }
        )
    frame = pd.DataFrame(sorted(rows, key=lambda row: row["order"])).drop(columns="order")
    frame["day"] = frame["day"].astype("float")
    columns = (
        Column("part"),
        Column("day", kind="number", decimals=0),
        Column("trials", kind="count"),
        Column("content"),
        Column("feedback"),
    )
    return Table(
        "programme",
        "The programme: practice sessions and tests",
        columns,
        frame,
        ("Day 0 is the first practice session.",),
    )


def _place(day: float | None, test: Test) -> float:
    """Where a test stands in the list; without a day a pretest comes first, any other last."""
    if day is not None:
        return day
    return -math.inf if test.phase == "pretest" else math.inf


def _feedback(what: str, every: int | None) -> str:
    if every == 0:
        return "none"
    often = "" if every is None else ", every trial" if every == 1 else f", every {every} trials"
    return f"{what}{often}" if what else "–"


def attrition_table(found: StudyView) -> Table:
    """Absences and trials left out, with reasons."""
    columns = (
        Column("stage", "part of the study"),
        Column("group"),
        Column("reason"),
        Column("participants", kind="count"),
        Column("rows", "trials", "count"),
    )
    return Table(
        "missing",
        "Absent participants and trials left out",
        columns,
        found.analysis.people.attrition,
        ("Nobody and nothing else was left out.",),
    )


def problems_table(problems: pd.DataFrame) -> Table:
    """Doubts and notes that reading the data raised."""
    columns = [Column(name) for name in ("file", "row", "column", "value", "rule", "advice")]
    shown = problems[problems["severity"] != "note"].head(40)
    rest = len(problems) - len(shown)
    notes = (f"{count(rest, 'further entry')} of less weight.",) if rest else ()
    return Table("doubts", "Doubts in the data", tuple(columns), shown.astype("str"), notes)


def deviations_table(conduct: pd.DataFrame) -> Table:
    """What was done otherwise than planned; of many people the first few are named."""
    columns = [Column(name) for name in ("topic", "where", "planned", "actual")]
    columns += [Column("people", kind="count"), Column("participants")]
    shown = conduct.assign(
        where=conduct["where"].str.replace("practice session", "session"),
        participants=conduct["participants"].map(_first_few),
    )
    return Table("deviations", "Plan and conduct", tuple(columns), shown)


def _first_few(names: str, most: int = 8) -> str:
    people = names.split(", ")
    rest = len(people) - most
    return names if rest < 1 else f"{', '.join(people[:most])} and {rest} more"


def standards_table(design: Design, sections: Sequence[str]) -> Table:
    """Reporting standards: what is covered where, what the author must write."""
    columns = (
        Column("standard"),
        Column("number"),
        Column("item"),
        Column("covered", kind="flag"),
        Column("where"),
        Column("source", "wording"),
    )
    return Table(
        "standards",
        "Reporting standards: covered here, or for the author to write",
        columns,
        standards_checklist(design, set(sections)),
        (
            "Items in our own words, chosen by the design. Wording: read in a copy of the "
            "standard, or recalled from memory; see your journal's form.",
        ),
    )
