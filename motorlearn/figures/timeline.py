"""The design timeline: practice, tests, intervals and feedback on one line of days."""

import textwrap
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from motorlearn.design import Design
from motorlearn.exceptions import InputError
from motorlearn.figures.style import INK, SOFT_INK, Drawing, SizeName, canvas, house
from motorlearn.plan.timetable import Event, timetable
from motorlearn.vocabulary import DELAYED_PHASES, SHORT_LABELS

_PRACTICE: Final = "#0072B2"
_TEST: Final = "#ffffff"
_DELAYED: Final = "#F0C36D"
_MOST_BOXES: Final = 9


def design_timeline(design: Design, *, size: SizeName = "thesis") -> Drawing:
    """Draw the plan in time: practice sessions, tests, gaps without practice, feedback.

    Sessions of a long programme are joined into runs with the same dose. Boxes stand in order, not
    to scale; the days are written beneath.

    Parameters
    ----------
    design : Design
        The plan.
    size : {"thesis", "slide"}
        Where the figure will be used.

    Raises
    ------
    InputError
        If the plan gives neither days of practice nor a day or week for every test.
    """
    _refuse_without_days(design)
    events = timetable(design).events
    boxes = _joined(list(events))
    with house(size):
        figure, (axes,) = canvas(size, height=0.62 if len(boxes) <= _MOST_BOXES else 0.9)
        axes.set_axis_off()
        axes.set_xlim(-0.6, len(boxes) - 0.4)
        axes.set_ylim(-0.95, 0.95)
        axes.plot([-0.55, len(boxes) - 0.45], [0, 0], color=SOFT_INK, zorder=0)
        for place, run in enumerate(boxes):
            _box(axes, place, run)
            if place and run[0].phase in DELAYED_PHASES:
                _gap(axes, place, run[0].delay_days, boxes[place - 1][-1])
    return Drawing("design-timeline", figure, _caption(design), _alt(boxes))


def _refuse_without_days(design: Design) -> None:
    """Tests that count their interval from practice have no place where practice has no day."""
    adrift = [test.label for test in design.tests if test.planned_day is None]
    if adrift and not design.practice:
        raise InputError(
            "tests cannot be placed in time: the plan has no practice sessions",
            adrift,
            "give each of these tests its day or week, or add the practice sessions",
        )


def _joined(events: list[Event]) -> list[list[Event]]:
    """Join practice sessions that follow one another with the same dose and feedback."""
    runs: list[list[Event]] = []
    for event in events:
        same = (
            runs
            and event.is_practice
            and runs[-1][-1].is_practice
            and (event.trials, event.feedback_every)
            == (runs[-1][-1].trials, runs[-1][-1].feedback_every)
        )
        if same:
            runs[-1].append(event)
        else:
            runs.append([event])
    return runs


def _box(axes: Axes, place: int, run: list[Event]) -> None:
    first = run[0]
    delayed = first.phase in DELAYED_PHASES
    face = _PRACTICE if first.is_practice else _DELAYED if delayed else _TEST
    axes.add_patch(
        Rectangle((place - 0.42, -0.3), 0.84, 0.6, facecolor=face, edgecolor=INK, linewidth=1.0)
    )
    ink = "#ffffff" if first.is_practice else INK
    axes.text(place, 0, _inside(run), ha="center", va="center", color=ink, fontsize="small")
    axes.text(place, -0.4, _days(run), ha="center", va="top", fontsize="small")
    axes.text(
        place, -0.62, _feedback(first), ha="center", va="top", fontsize="x-small", color=SOFT_INK
    )


def _inside(run: list[Event]) -> str:
    first = run[0]
    if first.is_practice:
        many = f"{len(run)} sessions\n" if len(run) > 1 else ""
        return f"practice\n{many}{first.trials} trials" + (" each" if many else "")
    name = SHORT_LABELS[first.phase]
    label = first.label if first.label != first.phase else name
    return "\n".join([*textwrap.wrap(label, 10), f"{first.trials} trials"])


def _days(run: list[Event]) -> str:
    days = [f"{event.day:g}" for event in run]
    return f"day {days[0]}" if len(run) == 1 else f"days {days[0]} to {days[-1]}"


def _feedback(event: Event) -> str:
    every = event.feedback_every
    if every is None:
        return "feedback:\nby drill"
    if not every:
        return "no feedback"
    return "feedback:\nevery trial" if every == 1 else f"feedback:\nevery {every} trials"


def _gap(axes: Axes, place: int, days: float, before: Event) -> None:
    """Name a gap without practice above the line, once for tests of the same day."""
    if before.phase in DELAYED_PHASES and before.delay_days == days:
        return
    axes.text(
        place - 0.5,
        0.42,
        f"{days:g} {'day' if days == 1 else 'days'}\nwithout practice",
        ha="center",
        va="bottom",
        fontsize="small",
    )


def _caption(design: Design) -> str:
    groups = "; ".join(f"{g.name}: {g.schedule} order" for g in design.groups)
    return (
        "The study in time; boxes stand in order and not to scale, day 0 is the first practice "
        f"session. Groups: {groups}. Dark boxes are practice, yellow ones tests after a gap."
    )


def _alt(boxes: list[list[Event]]) -> str:
    parts = []
    for run in boxes:
        what = "practice" if run[0].is_practice else run[0].label
        total = int(np.sum([event.trials for event in run]))
        parts.append(f"{what} ({_days(run)}, {total} trials)")
    return f"Timeline of the study in {len(boxes)} boxes: {', '.join(parts)}."
