"""The design timeline: practice, tests, intervals and feedback on one line of days."""

import textwrap
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from motorlearn import digits
from motorlearn.design import Design, Group
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.labels import fit_texts
from motorlearn.figures.drawing.levels import COLOURS, PAPER
from motorlearn.figures.drawing.style import INK, SOFT_INK, Drawing, SizeName, canvas, house
from motorlearn.plan.timetable import Event, timetable
from motorlearn.vocabulary import DELAYED_PHASES, SHORT_LABELS

_PRACTICE: Final = COLOURS[0]
_TEST: Final = "#ffffff"
_DELAYED: Final = "#f0c36d"
_PER_ROW: Final = {"column": 4.0, "slide": 8.0}
_GAP: Final = 0.95


def design_timeline(
    design: Design, *, size: SizeName = "thesis", ax: Axes | None = None
) -> Drawing:
    """Draw the plan in time: practice sessions, tests, gaps without practice, feedback.

    Sessions of a long programme are joined into runs with the same dose. Boxes stand in order, not
    to scale; the days are written beneath. A gap without practice before a delayed test has a place
    of its own, and a long plan goes on in the next line.

    Parameters
    ----------
    design : Design
        The plan.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.

    Raises
    ------
    InputError
        If the plan gives neither days of practice nor a day or week for every test.
    """
    _refuse_without_days(design)
    events = timetable(design).events
    boxes = _joined(list(events))
    rows = _rows(boxes, _PER_ROW.get(size, 7.0))
    with house(size):
        figure, (axes,) = canvas(size, height=0.1 + 0.5 * len(rows), ax=ax)
        axes.set_axis_off()
        width = max(row[-1].at + row[-1].width / 2 for row in rows)
        axes.set_xlim(-0.55, width + 0.05)
        axes.set_ylim(-1.0 - 1.75 * (len(rows) - 1), 0.75)
        fitted = []
        for line, row in enumerate(rows):
            height = -1.75 * line
            end = row[-1].at + row[-1].width / 2
            axes.plot([-0.52, end], [height, height], color=SOFT_INK, zorder=0)
            for piece in row:
                fitted += _box(axes, piece, height) if piece.run else _gap(axes, piece, height)
        fit_texts(axes, fitted)
    return Drawing("design-timeline", figure, _caption(design), _alt(boxes), given=ax)


@dataclass(frozen=True)
class _Piece:
    """A box, or a gap where ``run`` is empty, and where it stands in its line."""

    at: float
    width: float
    run: tuple[Event, ...] = ()
    days: float | None = 0.0
    after_test: bool = False


def _rows(boxes: list[list[Event]], capacity: float) -> list[list[_Piece]]:
    """Lay boxes and gaps into lines that hold so much; a gap stays with the test behind it."""
    rows: list[list[_Piece]] = [[]]
    used = 0.0
    for place, run in enumerate(boxes):
        first = run[0]
        known = place and _same_gap(first, boxes[place - 1][-1])
        gap = place and first.phase in DELAYED_PHASES and not known
        needed = 1.0 + (_GAP if gap else 0.0)
        if rows[-1] and used + needed > capacity:
            rows.append([])
            used = 0.0
        if gap:
            rows[-1].append(_gap_between(used, boxes[place - 1][-1], first))
            used += _GAP
        rows[-1].append(_Piece(used, 1.0, tuple(run)))
        used += 1.0
    return rows


def _gap_between(used: float, before: Event, event: Event) -> _Piece:
    """A gap: days without practice, or days after an earlier test of the same kind."""
    days, since = _gap_days(event), _gap_days(before)
    place = used + _GAP / 2 - 0.5
    if before.phase in DELAYED_PHASES and days is not None and since is not None:
        return _Piece(place, _GAP, days=days - since, after_test=True)
    return _Piece(place, _GAP, days=days)


def _gap_days(event: Event) -> float | None:
    """Days without practice before a test; none where the plan does not say them."""
    return event.delay_days if event.dated else None


def _same_gap(event: Event, before: Event) -> bool:
    return before.phase in DELAYED_PHASES and before.delay_days == event.delay_days


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
            and (event.trials, event.feedback_every, event.groups)
            == (runs[-1][-1].trials, runs[-1][-1].feedback_every, runs[-1][-1].groups)
        )
        if same:
            runs[-1].append(event)
        else:
            runs.append([event])
    return runs


def _box(axes: Axes, piece: _Piece, height: float) -> list[tuple[Text, float]]:
    run, place = list(piece.run), piece.at
    first = run[0]
    delayed = first.phase in DELAYED_PHASES
    face = _PRACTICE if first.is_practice else _DELAYED if delayed else _TEST
    axes.add_patch(
        Rectangle(
            (place - 0.42, height - 0.35), 0.84, 0.7, facecolor=face, edgecolor=INK, linewidth=1.0
        )
    )
    ink = "#ffffff" if first.is_practice else INK
    inside = axes.text(
        place, height, _inside(run), ha="center", va="center", color=ink, fontsize="small"
    )
    days = axes.text(place, height - 0.4, _days(run), ha="center", va="top", fontsize="small")
    feedback = axes.text(
        place,
        height - 0.62,
        _feedback(first),
        ha="center",
        va="top",
        fontsize="x-small",
        color=SOFT_INK,
    )
    return [(inside, 0.78), (days, 0.95), (feedback, 0.95)]


def _inside(run: list[Event]) -> str:
    first = run[0]
    if first.is_practice:
        many = f"{len(run)} sessions\n" if len(run) > 1 else ""
        whose = "".join(f"\n{line}" for line in textwrap.wrap(", ".join(first.groups), 10))
        return f"Practice{whose}\n{many}{first.trials} trials" + (" each" if many else "")
    name = SHORT_LABELS[first.phase]
    label = first.label if first.label != first.phase else name
    return "\n".join([*textwrap.wrap(label, 10), f"{first.trials} trials"])


def _days(run: list[Event]) -> str:
    if not all(event.dated for event in run):
        return "day not stated"
    days = [f"{digits.plain(event.day)}" for event in run]
    return f"day {days[0]}" if len(run) == 1 else f"days {days[0]} to {days[-1]}"


def _feedback(event: Event) -> str:
    every = event.feedback_every
    if not event.feedback_said:
        return "feedback\nnot stated"
    if every is None:
        return "feedback:\nby drill"
    if not every:
        return "no feedback"
    return "feedback:\nevery trial" if every == 1 else f"feedback:\nevery {every} trials"


def _gap(axes: Axes, piece: _Piece, height: float) -> list[tuple[Text, float]]:
    """Name the days without practice between the boxes they lie between, with the line cut."""
    place, days = piece.at, piece.days
    axes.plot([place - 0.12, place + 0.12], [height, height], color=PAPER, linewidth=4, zorder=1)
    for side in (-0.12, 0.12):
        across = [place + side - 0.04, place + side + 0.04]
        axes.plot(across, [height - 0.1, height + 0.1], color=SOFT_INK, linewidth=1.0, zorder=2)
    if days is None:
        words = "a gap,\nlength not\nstated"
    else:
        after = "later" if piece.after_test else "without\npractice"
        words = f"{digits.plain(days)} {'day' if days == 1 else 'days'}\n{after}"
    text = axes.text(place, height + 0.16, words, ha="center", va="bottom", fontsize="small")
    return [(text, piece.width * 0.95)]


def _caption(design: Design) -> str:
    groups = ", ".join(_with_order(group) for group in design.groups)
    whose = "Groups" if design.within is None else "Conditions"
    tests = ", tinted ones tests after a gap" if any(t.is_delayed for t in design.tests) else ""
    return (
        "The study in time; boxes stand in order and not to scale, day 0 is the first practice "
        f"session. {whose}: {groups}. Dark boxes are practice{tests}."
    )


def _with_order(group: Group) -> str:
    """A group with its order of practice, where its name does not say it."""
    told = group.schedule in ("own", "none") or group.schedule == group.name
    return group.name if told else f"{group.name} ({group.schedule} order)"


def _alt(boxes: list[list[Event]]) -> str:
    parts = []
    for run in boxes:
        what = "practice" if run[0].is_practice else run[0].label
        total = int(np.sum([event.trials for event in run]))
        parts.append(f"{what} ({_days(run)}, {total} trials)")
    several = "es" if len(boxes) > 1 else ""
    return f"Timeline of the study in {len(boxes)} box{several}: {', '.join(parts)}."
