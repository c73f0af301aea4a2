"""The programme as tables, so that another coach could run it."""

from typing import Any

import pandas as pd

from motorlearn.design import Design, Drill
from motorlearn.plan.timetable import Event, timetable
from motorlearn.tables import Column, Table
from motorlearn.vocabulary import PHASE_LABELS, PRACTICE_PHASE


def programme_tables(design: Design) -> tuple[Table, ...]:
    """Sessions and tests in time, and the drills where there are any.

    Columns follow what a description of a programme should hold: what, for what, how much, how
    hard, where, with which feedback (template of Hoffmann et al. 2014; items read).

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = design_from_mapping({
    ...     "study": {"title": "Ring push"}, "groups": [{"name": "all"}],
    ...     "programme": {"weeks": 2, "sessions_per_week": 1},
    ...     "drills": [{"name": "slide", "trials_per_session": 30,
    ...                 "start": "moving", "run_up": 15}],
    ...     "tests": [{"phase": "retention", "trials": 20, "interval_days": 7}],
    ...     "outcomes": [{"name": "hits", "better": "higher"}],
    ... })
    >>> sessions, drills = programme_tables(plan)
    >>> sessions.rows["what"].tolist()
    ['Acquisition (practice)', 'Acquisition (practice)', 'Delayed retention']
    >>> drills.rows["start"].tolist()
    ['moving, 15 m']
    """
    told = {session.label: session.feedback for session in design.practice}
    rows = [_event_row(event, told) for event in timetable(design).events]
    columns = (
        Column("day", kind="count"),
        Column("session", kind="count"),
        Column("what"),
        Column("name"),
        Column("trials", kind="count"),
        Column("warm_up", "warm-up trials", "count"),
        Column("maximal", "at maximal effort", "count"),
        Column("feedback"),
    )
    sessions = Table("programme", "Practice and tests in time", columns, pd.DataFrame(rows))
    return (sessions, _drill_table(design)) if design.drills else (sessions,)


def _event_row(event: Event, told: dict[str, str]) -> dict[str, Any]:
    return {
        "day": event.day if event.dated else None,
        "session": event.session,
        "what": PHASE_LABELS[event.phase],
        "name": _name(event),
        "trials": event.trials,
        "warm_up": event.warm_up,
        "maximal": event.maximal,
        "feedback": _feedback(event.feedback_every, told.get(event.label, ""), event),
    }


def _name(event: Event) -> str:
    if event.phase == PRACTICE_PHASE:
        return ", ".join(event.groups)
    return "" if event.label == event.phase else event.label


def _feedback(every: int | None, words: str, event: Event) -> str:
    if every is None:
        return words
    if not every:
        return "none"
    often = "after every trial" if every == 1 else f"after every {every} trials"
    return f"{words}, {often}" if words and event.is_practice else often


def _drill_table(design: Design) -> Table:
    length = design.units.get("length", "")
    rows = [_drill_row(drill, length) for drill in design.drills]
    columns = (
        Column("name", "drill"),
        Column("groups"),
        Column("purpose"),
        Column("step", kind="count"),
        Column("part", "part or whole"),
        Column("weeks"),
        Column("trials", "trials a session", "count"),
        Column("effort"),
        Column("distance"),
        Column("start"),
        Column("target"),
        Column("feedback"),
        Column("advance", "goes on when"),
    )
    frame = pd.DataFrame(rows)
    told = frame.replace("", None).notna().any()
    shown = [column for column in columns if told[column.name]]
    return Table("drills", "Drills of the programme", shown, frame)


def length_of(value: float | None, drill: Drill, unit: str) -> str:
    """Write a distance of a drill with its unit: the drill's own, else the plan's.

    Examples
    --------
    >>> length_of(6, Drill(name="slide", unit="m"), "cm")
    '6 m'
    """
    return "" if value is None else f"{value:g} {drill.unit or unit or 'm'}"


def _drill_row(drill: Drill, unit: str) -> dict[str, Any]:
    who = f" ({drill.feedback_from})" if drill.feedback_from else ""
    every = drill.feedback_every
    often = "" if every is None else ", none" if every == 0 else f", every {every}"
    return {
        "name": drill.name,
        "groups": ", ".join(drill.groups),
        "purpose": drill.purpose,
        "step": drill.step,
        "part": drill.part or "",
        "weeks": ", ".join(map(str, drill.weeks)) or "all",
        "trials": drill.trials_per_session,
        "effort": drill.effort,
        "distance": length_of(drill.distance, drill, unit),
        "start": ", ".join(filter(None, (drill.start, length_of(drill.run_up, drill, unit)))),
        "target": drill.target,
        "feedback": f"{drill.feedback}{who}{often}".lstrip(", "),
        "advance": drill.advance_when,
    }
