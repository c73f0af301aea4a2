"""What stands on the field sheets: test days, session pages, learners' pages; words, no layout."""

from dataclasses import dataclass, field
from typing import Final

import pandas as pd

from motorlearn.design import Design, Drill
from motorlearn.digits import lapse
from motorlearn.plan.programme_table import length_of
from motorlearn.plan.sheets.rows import outcome_columns
from motorlearn.plan.timetable import Event, timetable
from motorlearn.trials import left_handed, unit_of
from motorlearn.vocabulary import STOP_SIGNS

BOX: Final = "box"
WORD: Final = "word"
NOTE: Final = "note"
_HIT: Final = "1 hit, 0 miss; leave a box empty where nothing was tried, ? where it cannot be read"
_END: Final = ("total", "of", "why missing")
_GRID: Final = ("hit", "error", "time", "speed", "score", "radial_error")


@dataclass(frozen=True)
class FieldForm:
    """One page to be filled in.

    Parameters
    ----------
    name : str
        Name of the sheet.
    title : str
        What stands largest on the printed page.
    facts : tuple of (str, str)
        Word and value at the top; an empty value is to be filled in.
    told : tuple of (str, str)
        Further lines for whoever fills the page in; a program reads past them.
    headings : tuple of str
        Heading of each column.
    kinds : tuple of str
        ``box`` for a narrow column, ``word`` for a printed one, ``note`` for a wide one.
    rows : tuple of tuple of str
        Cells; an empty one is to be filled in.
    choices : dict of str to tuple of str
        What may be typed, by heading.
    """

    name: str
    title: str
    facts: tuple[tuple[str, str], ...]
    told: tuple[tuple[str, str], ...]
    headings: tuple[str, ...]
    kinds: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    choices: dict[str, tuple[str, ...]] = field(default_factory=dict)


def test_day_forms(design: Design, people: pd.DataFrame) -> list[FieldForm]:
    """One page for each test: every learner, a box for each trial, totals by hand."""
    return [
        _test_day(event, design, people)
        for event in timetable(design).events
        if not event.is_practice
    ]


def learner_forms(design: Design, people: pd.DataFrame) -> list[FieldForm]:
    """One page for each learner with all tests, for whom each learner keeps an own sheet."""
    tests = [event for event in timetable(design).events if not event.is_practice]
    left = left_handed(people)
    return [
        _learner(str(person), tests, design, left=str(person) in left)
        for person in people["participant"]
    ]


def session_forms(design: Design, people: pd.DataFrame) -> list[FieldForm]:
    """One page for each practice session: drills in their order, who is there, pain, criterion."""
    return [
        _session(event, design, people) for event in timetable(design).events if event.is_practice
    ]


def grid_outcomes(design: Design) -> list[str]:
    """Outcomes that have a box for each trial; one line each where there are several."""
    found = [name for name in outcome_columns(design) if name in _GRID]
    return found or [design.outcomes[0].name]


def _test_day(event: Event, design: Design, people: pd.DataFrame) -> FieldForm:
    outcomes = grid_outcomes(design)
    boxes = tuple(str(number) for number in range(1, event.trials + 1))
    several = len(outcomes) > 1
    head = ("participant", "outcome") if several else ("participant",)
    rows = tuple(
        ((str(person), name) if several else (str(person),)) + ("",) * (len(boxes) + 3)
        for person in people["participant"]
        for name in outcomes
    )
    facts = (
        ("test", event.label),
        ("phase", event.phase),
        ("session", str(event.session)),
        *(() if several else (("outcome", outcomes[0]),)),
        ("date", ""),
        ("tester", ""),
    )
    told = [("planned", _when(event, design)), ("write", _write(outcomes, design))]
    told += _left(people)
    if event.warm_up:
        told.append(("before", f"{event.warm_up} trials to warm up, not scored"))
    return FieldForm(
        event.label,
        f"{design.study.title}: {event.label}",
        facts,
        tuple(told),
        (*head, *boxes, *_END),
        (WORD,) * len(head) + (BOX,) * len(boxes) + (BOX, BOX, NOTE),
        rows,
        dict.fromkeys(boxes, ("1", "0", "?")) if outcomes == ["hit"] else {},
    )


def _learner(person: str, tests: list[Event], design: Design, *, left: bool) -> FieldForm:
    outcomes = grid_outcomes(design)
    most = max((event.trials for event in tests), default=1)
    boxes = tuple(str(number) for number in range(1, most + 1))
    rows = tuple(
        (event.label, event.phase, str(event.session), name, "", *("",) * len(boxes), "", "", "")
        for event in tests
        for name in outcomes
    )
    words = ("test", "phase", "session", "outcome", "date")
    return FieldForm(
        person,
        f"{design.study.title}: {person}",
        (("participant", person),),
        (("write", _write(outcomes, design)), *([("hand", "left")] if left else [])),
        (*words, *boxes, *_END),
        (WORD,) * 4 + (NOTE,) + (BOX,) * (len(boxes) + 2) + (NOTE,),
        rows,
    )


def _session(event: Event, design: Design, people: pd.DataFrame) -> FieldForm:
    drills = [drill for part in event.parts for drill in design.drills if drill.name == part.name]
    met = tuple(f"met: {drill.name}" for drill in drills if drill.advance_when)
    headings = (
        "participant",
        "present",
        "pain_before",
        "pain_after",
        "fatigue_after",
        *met,
        "stopped_because",
        "note",
    )
    told = [(f"drill {n}", drill_line(drill, design)) for n, drill in enumerate(drills, start=1)]
    told += [
        (f"met: {drill.name}", f"yes where {drill.advance_when}")
        for drill in drills
        if drill.advance_when
    ]
    told += _left(people)
    told += [("stop", f"{rule.rule}: {rule.action}") for rule in design.stopping]
    told.append(("always stop", f"{STOP_SIGNS}. Note it, and tell whom the plan names."))
    scale = "0 none to 10 worst; pain above 0: stop and ask"
    told.append(("pain, fatigue", design.load.pain_scale or scale))
    yes_no = ("yes", "no")
    mine = people[people["group"].isin(event.groups)] if event.groups else people
    own = f" {', '.join(event.groups)}" if event.groups else ""
    return FieldForm(
        f"session {event.session}{own}",
        f"{design.study.title}: {event.label}",
        (("session", str(event.session)), ("date", ""), ("coach", ""), ("first aid", "")),
        (("planned", _when(event, design)), *told),
        headings,
        (WORD,) + (BOX,) * (len(headings) - 3) + (NOTE, NOTE),
        tuple((str(p),) + ("",) * (len(headings) - 1) for p in mine["participant"]),
        dict.fromkeys(("present", *met), yes_no),
    )


def _left(people: pd.DataFrame) -> list[tuple[str, str]]:
    """A line for whoever demonstrates, where somebody is left-handed."""
    left = left_handed(people)
    return [("left-handed", f"{', '.join(left)}: mirror cues, start and place")] if left else []


def drill_line(drill: Drill, design: Design) -> str:
    """Say a drill in one line: dose, place, start, cues, feedback."""
    unit = design.units.get("length", "")
    every = drill.feedback_every
    often = {None: "", 0: "no feedback", 1: "feedback after every trial"}
    parts = [
        f"{drill.trials_per_session} trials" if drill.trials_per_session else "",
        f"{drill.minutes:g} min" if drill.minutes else "",
        f"from {length_of(drill.distance, drill, unit)}" if drill.distance else "",
        ", ".join(filter(None, (drill.start, length_of(drill.run_up, drill, unit)))),
        "" if drill.has_object else "without an object",
        "with a partner" if drill.partner else "",
        f"cue: {' / '.join(drill.cues)}" if drill.cues else "",
        drill.feedback,
        often.get(every, f"feedback after every {every} trials"),
    ]
    return f"{drill.name}: {'; '.join(part for part in parts if part)}"


def _when(event: Event, design: Design) -> str:
    day = f"day {event.day:g} (the first practice is day 0)"
    week = f", week {int(event.day) // 7 + 1}" if design.programme and event.day >= 0 else ""
    gap = event.delay_days if not event.is_practice else 0
    after = f", {lapse(gap)} after the last practice" if gap else ""
    return day + week + after


def _write(outcomes: list[str], design: Design) -> str:
    said = []
    for name in outcomes:
        unit = unit_of(name, design.units)
        said.append(_HIT if name == "hit" else f"{name}{f' in {unit}' if unit else ''}")
    return "; ".join(said)
