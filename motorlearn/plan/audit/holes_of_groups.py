"""Holes in what the groups do: what they differ in beside what is asked."""

from collections.abc import Iterator

from motorlearn.design import Design, Group, Practice
from motorlearn.plan.audit.hole import Hole

ORDER = "order of tasks"
_FREE = ("own", "none")


def differences(design: Design) -> dict[str, tuple[str, ...]]:
    """What the groups that are compared differ in, with the words for each group in turn.

    Groups that are tested only are left out: they differ in everything.
    """
    groups = [group for group in compared(design) if design.practice_of(group.name)]
    if len(groups) < 2:
        return {}
    told = [_told(design, group) for group in groups]
    return {
        what: tuple(words[what] for words in told)
        for what in told[0]
        if len({words[what] for words in told}) > 1
    }


def compared(design: Design) -> list[Group]:
    """Groups of the primary comparison; all where it names none."""
    named = design.primary.groups if design.primary is not None else ()
    return [group for group in design.groups if not named or group.name in named]


def _told(design: Design, group: Group) -> dict[str, str]:
    sessions = design.practice_of(group.name)
    drills = {part.name for entry in sessions for part in entry.parts}
    maximal = sum(entry.trials_at_maximum for entry in sessions)
    told = {
        "dose": f"{sum(entry.trials for entry in sessions)} trials",
        "days of practice": ", ".join(f"{entry.day:g}" for entry in sessions),
        "feedback": "; ".join(dict.fromkeys(_feedback(entry) for entry in sessions)),
        "effort": f"{maximal} trials at maximal effort",
        "drills": ", ".join(sorted(drills)),
    }
    if len(design.tasks) > 1:
        orders = (entry.schedule or group.schedule for entry in sessions)
        told[ORDER] = ", ".join(dict.fromkeys(orders))
    if all(entry.schedule in _FREE for entry in design.groups):
        told["description"] = group.description
    return told


def _feedback(session: Practice) -> str:
    every = session.feedback_every
    often = {None: "", 0: "none", 1: "after every trial"}.get(every, f"after every {every} trials")
    return ", ".join(part for part in (session.feedback, often) if part) or "not stated"


def several_differences(design: Design) -> Iterator[Hole]:
    """Look for groups that differ in more than one thing."""
    found = differences(design)
    if len(found) < 2 or design.factors:
        # Cells of factors differ in as many things as there are factors, and that is the question.
        return
    names = " and ".join(group.name for group in compared(design))
    shown = "; ".join(f"{what} ({' against '.join(words)})" for what, words in found.items())
    yield Hole(
        "groups differ in several things",
        "look" if "description" in found else "act",
        "groups, practice.groups",
        f"{names} differ in {shown}",
        "a difference between the groups cannot be put down to any one of them",
        "give the groups the same but for what is asked, or add a group that differs in one thing",
        "confounding of factors (algebra)",
    )


def tested_only(design: Design) -> Iterator[Hole]:
    """Look for a group that practises nothing."""
    without = [group.name for group in compared(design) if not design.practice_of(group.name)]
    if not design.practice or not without or len(design.groups) < 2:
        return
    yield Hole(
        "a group without practice",
        "look",
        "practice.groups",
        f"{', '.join(without)} practises nothing and is tested only",
        "the comparison shows practice against none: not that this practice is better than "
        "another, nor what attention and time spent together do",
        "give that group as much of usual practice, or say that practice against none is the "
        "question",
    )


def statement(design: Design) -> str:
    """What a difference between the groups is one of, where they differ in one thing; or empty."""
    found = differences(design)
    if len(found) != 1 or ORDER in found or "description" in found:
        return ""
    ((what, words),) = found.items()
    return (
        f"The groups differ in {what} ({' against '.join(words)}): a difference between them is "
        "one of that, and of nothing else in the plan."
    )


RULES = (several_differences, tested_only)
