"""From a plan to the sequence of everything a participant does: practice and tests by day."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from motorlearn.design import Design, DrillDose, Practice, Test
from motorlearn.exceptions import DesignError
from motorlearn.vocabulary import DELAYED_PHASES, PRACTICE_PHASE

_RANK = {"pretest": 0, PRACTICE_PHASE: 1, "progress": 2, "posttest": 3, "retention": 4}
DEFAULT_DELAY = 7.0


@dataclass(frozen=True)
class Event:
    """One practice session or one test.

    Parameters
    ----------
    phase : str
        Phase it belongs to.
    day : float
        Day it is planned for, the first practice day being as in the plan.
    session : int
        Number of the session it is part of.
    trials, block_size : int
        How many trials, in blocks of how many.
    order : str
        ``own`` where the group's schedule rules, otherwise the order of the session or test.
    feedback_every : int or None
        Feedback after every so many trials; 0 for none, None where each drill has its own.
    delay_days : float
        Days since the last practice.
    warm_up : int
        Trials before it that are not scored.
    maximal : int
        Trials at maximal effort.
    label : str
        Name for a reader.
    parts : tuple of DrillDose
        Drills in their order, where the session has any.
    groups : tuple of str
        Whose it is; empty where it is everybody's.
    dated, feedback_said : bool
        Whether the plan itself says the day and the feedback, and neither is a usual one.
    """

    phase: str
    day: float
    session: int
    trials: int
    block_size: int
    order: str
    feedback_every: int | None
    delay_days: float = 0.0
    warm_up: int = 0
    maximal: int = 0
    label: str = ""
    parts: tuple[DrillDose, ...] = ()
    groups: tuple[str, ...] = ()
    dated: bool = True
    feedback_said: bool = True

    @property
    def is_practice(self) -> bool:
        """Whether it is practice and no test."""
        return self.phase == PRACTICE_PHASE


@dataclass(frozen=True)
class Timetable:
    """All events in order of time, and one entry per trial of a participant.

    Parameters
    ----------
    events : tuple of Event
        In order of time.
    event, session, block, trial, position, feedback : ndarray, shape (trials,)
        Number of the event, the session, the block and trial within the phase, the trial within
        the event from 0, and whether feedback is planned.
    """

    events: tuple[Event, ...]
    event: np.ndarray
    session: np.ndarray
    block: np.ndarray
    trial: np.ndarray
    position: np.ndarray
    feedback: np.ndarray

    @property
    def is_practice(self) -> np.ndarray:
        """Which trials are practice."""
        practice: np.ndarray = np.array([entry.is_practice for entry in self.events])[self.event]
        return practice

    @property
    def phase(self) -> np.ndarray:
        """Phase of each trial."""
        phases: np.ndarray = np.array([entry.phase for entry in self.events], dtype=object)[
            self.event
        ]
        return phases


def timetable(design: Design, group: str | None = None) -> Timetable:
    """Lay out a plan in time, for one group or for all.

    Parameters
    ----------
    design : Design
        The plan.
    group : str, optional
        Leave out the practice sessions of other groups. Without it the events of all groups stand
        beside one another; numbers of blocks and trials are then nobody's where groups practise
        differently.

    Raises
    ------
    DesignError
        If the day of a progress test is not given and cannot be inferred.
    """
    events = _events(design) if group is None else _events_of(design, group)
    block_before: dict[str, int] = {}
    trial_before: dict[str, int] = {}
    parts = []
    for number, event in enumerate(events):
        position = np.arange(event.trials)
        block = block_before.get(event.phase, 0) + position // event.block_size + 1
        trial = trial_before.get(event.phase, 0) + position + 1
        block_before[event.phase], trial_before[event.phase] = int(block[-1]), int(trial[-1])
        feedback = _feedback_due(event)
        whole = np.full(event.trials, number), np.full(event.trials, event.session)
        parts.append((*whole, block, trial, position, feedback))
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
    return Timetable(events, *columns)


def _events(design: Design) -> tuple[Event, ...]:
    practice = [_practice_event(entry) for entry in design.practice]
    last = max((event.day for event in practice), default=0.0)
    days = [_test_day(test, practice) for test in design.tests]
    later = {day for day in days if int(day) > int(last)}
    tests = [
        _test_event(test, day, _session_on(day, practice, later), last)
        for test, day in zip(design.tests, days, strict=True)
    ]
    events = sorted([*practice, *tests], key=lambda event: (event.day, _RANK.get(event.phase, 5)))
    return tuple(events)


def _events_of(design: Design, group: str) -> tuple[Event, ...]:
    """Events of one group; delays count from its own last practice."""
    mine = [event for event in _events(design) if not event.groups or group in event.groups]
    last = max((event.day for event in mine if event.is_practice), default=None)
    earlier = 0.0 if last is None else (design.last_practice_day or 0.0) - last
    return tuple(
        replace(event, delay_days=event.delay_days + earlier)
        if earlier and event.phase in (*DELAYED_PHASES, "posttest")
        else event
        for event in mine
    )


def _practice_event(entry: Practice) -> Event:
    return Event(
        PRACTICE_PHASE,
        entry.day,
        entry.session,
        entry.trials,
        entry.trials_per_block,
        entry.schedule or "own",
        _common_feedback(entry),
        warm_up=entry.warm_up_trials,
        maximal=entry.trials_at_maximum,
        label=entry.label,
        parts=entry.parts,
        groups=entry.groups,
        feedback_said=bool(entry.feedback or entry.parts) or entry.feedback_every is not None,
    )


def _common_feedback(entry: Practice) -> int | None:
    """How often all trials of a session get feedback; None where its drills differ."""
    every = {part.feedback_every for part in entry.parts}
    if len(every) > 1:
        return None
    return 1 if entry.feedback_every is None else entry.feedback_every


def _feedback_due(event: Event) -> np.ndarray:
    """After which trials of an event feedback is planned; counted within each drill."""
    if event.feedback_every is not None:
        return _every(event.trials, event.feedback_every)
    due = [
        _every(part.trials, 1 if part.feedback_every is None else part.feedback_every)
        for part in event.parts
    ]
    return np.concatenate(due)


def _every(trials: int, every: int) -> np.ndarray:
    return (np.arange(trials) + 1) % every == 0 if every else np.zeros(trials, dtype=bool)


def day_of_test(test: Test, practice_days: Sequence[float]) -> float | None:
    """Day of a test as the plan has it, the days of practice being as given; else none.

    A pretest without a day stands on the first day of practice, a posttest on the last.
    """
    if test.planned_day is not None or not practice_days:
        return test.planned_day
    if test.phase == "pretest":
        return min(practice_days)
    if test.interval_days is not None:
        return max(practice_days) + test.interval_days
    return max(practice_days) if test.phase == "posttest" else None


def _test_day(test: Test, practice: list[Event]) -> float:
    if test.planned_day is None and test.phase == "progress":
        raise DesignError("a progress test has no day", [test.label], "give its day or its week")
    days = [event.day for event in practice]
    day = day_of_test(test, days)
    usual = _usual_delay(test.phase) if test.interval_days is None else test.interval_days
    return max(days, default=0.0) + usual if day is None else day


def _test_event(test: Test, day: float, session: int, last: float) -> Event:
    halves = test.order == "blocked-and-random"
    return Event(
        test.phase,
        day,
        test.session or session,
        test.trials,
        math.ceil(test.trials / 2) if halves else test.trials,
        test.order,
        int(test.feedback),
        max(day - last, 0.0) if test.interval_days is None else test.interval_days,
        test.warm_up_trials,
        test.trials if test.effort == "maximal" else 0,
        test.label,
        dated=test.phase not in DELAYED_PHASES
        or not (test.planned_day is None and test.interval_days is None),
    )


def _session_on(day: float, practice: list[Event], later: set[float]) -> int:
    """Give the session that is under way on a day; tests after all practice follow one another."""
    last = max((int(event.day) for event in practice), default=-1)
    if int(day) <= last or not practice:
        return max((event.session for event in practice if event.day <= day), default=1)
    return max(event.session for event in practice) + 1 + sum(earlier < day for earlier in later)


def _usual_delay(phase: str) -> float:
    return DEFAULT_DELAY if phase in ("retention", "transfer") else 0.0


def drill_of_trials(plan: Timetable) -> tuple[np.ndarray, np.ndarray]:
    """Name the drill of each trial, and say whether it has an object that can hit.

    Returns
    -------
    (names, with_object) : ndarray of str, ndarray of bool; shape (trials,)
        Outside drills the name is empty, and there is an object.
    """
    names = np.full(len(plan.trial), "", dtype=object)
    counted = np.ones(len(plan.trial), dtype=bool)
    for number, event in enumerate(plan.events):
        if event.parts:
            sizes = [part.trials for part in event.parts]
            here = plan.event == number
            names[here] = np.repeat([part.name for part in event.parts], sizes)
            counted[here] = np.repeat([part.has_object for part in event.parts], sizes)
    return names, counted
