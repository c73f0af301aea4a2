"""Holes in when things happen: tests and practice in the order of their days."""

import math
from collections.abc import Iterator

from motorlearn import digits
from motorlearn.design import Design
from motorlearn.design.ratio import group_ratio
from motorlearn.plan.allocation.predictability import predictability
from motorlearn.plan.audit.hole import Hole
from motorlearn.plan.timetable import Event, timetable
from motorlearn.vocabulary import DELAYED_PHASES

_ROEDIGER = "Roediger & Karpicke 2006, Psychol Sci 17:249-255 (abstract read; verbal material)"
_WIDE = 0.5
_REST_DAYS = 1.0
_UNEQUAL = 2.0
CERTAINTY = 0.8
"""Probability with which minimisation takes the best group, as allocations use it."""


def pretest_after_practice(design: Design) -> Iterator[Hole]:
    """Look for a pretest that comes once practice has begun."""
    first = min((entry.day for entry in design.practice), default=None)
    for test in design.tests:
        day = test.planned_day
        if test.phase == "pretest" and None not in (first, day) and (day or 0) > (first or 0):
            yield Hole(
                "pretest after practice",
                "act",
                "tests.day, practice.day",
                f"'{test.label}' is on day {day:g}, practice begins on day {first:g}",
                "it measures what practice has done already; nobody can say where people began",
                "put it before the first session, or call it progress",
            )


def transfer_before_retention(design: Design) -> Iterator[Hole]:
    """Look for a transfer test on an earlier day than the retention test."""
    tests = [event for event in timetable(design).events if not event.is_practice]
    kept = [event.day for event in tests if event.phase == "retention"]
    early = [event for event in tests if event.phase == "transfer" and kept]
    for event in early:
        if event.day < max(kept):
            yield Hole(
                "transfer before retention",
                "look",
                "tests.day, tests.interval_days",
                f"{event.label} is on day {event.day:g}, retention on day {max(kept):g}",
                "the transfer test is practice of something else before the retention test, and "
                "may help or disturb it differently in the groups",
                "give the retention test first, the transfer test after it",
            )


def posttest_long_after_practice(design: Design) -> Iterator[Hole]:
    """Look for a test that is called posttest although a day or more lies before it."""
    for event in _tests(design):
        if event.phase == "posttest" and event.delay_days >= 1:
            yield Hole(
                "posttest long after practice",
                "look",
                f"tests: {event.label}",
                f"it comes {digits.lapse(event.delay_days)} after the last practice",
                "temporary effects of practice have partly gone and something is forgotten: it is "
                "neither an immediate test nor declared as a delayed one",
                'call it phase = "retention", or give it straight after practice',
            )


def tests_inside_the_gap(design: Design) -> Iterator[Hole]:
    """Look for tests between the end of practice and a delayed test."""
    last = design.last_practice_day
    if last is None:
        return
    tests = _tests(design)
    for event in tests:
        if event.phase not in DELAYED_PHASES:
            continue
        between = [
            other.label
            for other in tests
            if int(last) < int(other.day) < int(event.day) and other is not event
        ]
        if between:
            yield Hole(
                "test inside the gap",
                "look",
                f"tests: {event.label}",
                f"{', '.join(between)} lies between the last practice and it",
                "a test is practice too: the gap without practice is shorter than it is called, "
                "and what is kept includes what the test between taught",
                "count the gap from that test, drop it, or give it to a part of each group only",
                _ROEDIGER,
            )


def rest_before_maximal_tests(design: Design) -> Iterator[Hole]:
    """Look for tests at maximal effort with little rest before them."""
    events = timetable(design).events
    for place, event in enumerate(events):
        if event.is_practice or not event.maximal or not place:
            continue
        before = max((e for e in events[:place] if e.trials), key=lambda e: e.day)
        rest = event.day - before.day
        if rest <= _REST_DAYS and (before.is_practice or before.maximal):
            yield Hole(
                "little rest before a maximal test",
                "look",
                f"tests: {event.label}",
                f"{rest:g} days lie between {before.label} and it",
                "fatigue lowers speed and accuracy at maximal effort, and differs with the load of "
                "the group; tired tissue is also the one that is hurt",
                "leave two days or more, the same for all, and write down how people felt",
            )


def windows(design: Design) -> Iterator[Hole]:
    """Look for windows of a test that are as wide as what they are about."""
    last = design.last_practice_day
    for test in design.tests:
        gap = test.interval_days
        if gap is None and test.planned_day is not None and last is not None:
            gap = test.planned_day - last
        if test.phase not in DELAYED_PHASES or gap is None or gap <= 0:
            continue
        if test.window_days >= _WIDE * gap:
            low, high = max(gap - test.window_days, 0), gap + test.window_days
            yield Hole(
                "window as wide as the gap",
                "look",
                "tests.window_days, tests.interval_days",
                f"{test.label} may lie anywhere from {low:g} to {high:g} days after practice",
                "people are tested after gaps that differ many times over, so forgetting differs "
                "between them for no reason of interest",
                "narrow window_days to a seventh of the gap or so",
            )


def unequal_tests(design: Design) -> Iterator[Hole]:
    """Look for a baseline and a primary test of very different length."""
    primary = design.primary
    if primary is None or primary.baseline is None:
        return
    base, test = design.test(primary.baseline), design.test(primary.phase)
    if base is None or test is None:
        return
    low, high = sorted((base.trials, test.trials))
    if high >= _UNEQUAL * low:
        yield Hole(
            "tests of unequal length",
            "look",
            "tests.trials",
            f"{base.label} has {base.trials} trials, {test.label} {test.trials}",
            "the short one is the less reliable: an adjustment for it gains less and leaves part "
            "of a difference between groups that was there from the start",
            "give both the same number of trials, the larger one where that can be done",
            "attenuation of a covariate measured with error (algebra)",
        )


def blocks_that_tell(design: Design) -> Iterator[Hole]:
    """Look for blocks so small that the next allocation is known."""
    way = design.allocation
    if way.method not in ("blocks", "cluster") or len(design.groups) < 2 or way.block_size is None:
        return
    given = (way.block_size,) if isinstance(way.block_size, int) else way.block_size
    ratio = group_ratio([group.size for group in design.groups])
    if max(given) > sum(ratio):
        return
    told = predictability("blocks", ratio, given, CERTAINTY)
    yield Hole(
        "next allocation is known",
        "look",
        "allocation.block_size",
        f"blocks of {max(given)} hold each group {_times(ratio)}",
        f"whoever knows the earlier allocations knows {digits.percent(told.certain)} of the next "
        f"ones for certain and guesses {digits.percent(told.guessed)} right; who is enrolled next "
        "can then be chosen",
        "take larger blocks, or several sizes (block_size = [4, 6]), and keep the list from those "
        "who enrol",
        "Blackwell & Hodges 1957, Ann Math Stat 28:449-460, doi:10.1214/aoms/1177706973 "
        "(from memory)",
    )


def next_allocation(design: Design) -> str:
    """How well the next allocation can be told, in a sentence; empty without allocation."""
    way = design.allocation
    if len(design.groups) < 2 or way.method in ("none", "own"):
        return ""
    ratio = group_ratio([group.size for group in design.groups])
    method = "blocks" if way.method == "cluster" else way.method
    given = way.block_size if way.block_size is not None else 2 * sum(ratio)
    sizes = (given,) if isinstance(given, int) else given
    told = predictability(method, ratio, sizes if method == "blocks" else (), CERTAINTY)
    if math.isnan(told.guessed):
        return ""
    return (
        f"Whoever knows the earlier allocations and the rule guesses "
        f"{digits.percent(told.guessed)} of the next ones right (chance: "
        f"{digits.percent(told.chance)})."
    )


def _times(ratio: tuple[int, ...]) -> str:
    return "once" if len(set(ratio)) == 1 else "in the ratio " + ":".join(map(str, ratio))


def _tests(design: Design) -> list[Event]:
    return [event for event in timetable(design).events if not event.is_practice]


RULES = (
    pretest_after_practice,
    transfer_before_retention,
    posttest_long_after_practice,
    tests_inside_the_gap,
    rest_before_maximal_tests,
    windows,
    unequal_tests,
    blocks_that_tell,
)
