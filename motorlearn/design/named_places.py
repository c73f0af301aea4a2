"""Phases, tests, tasks and columns that rules and outcomes of a plan name: all must be in it."""

from collections.abc import Collection, Iterator

from motorlearn.design.schema import Design
from motorlearn.vocabulary import PRACTICE_PHASE

ALL_TESTS = "tests"
"""Stands for all tests where a rule names phases."""


def unknown_places(design: Design) -> Iterator[str]:
    """Name every phase, test, task or group that a rule names and the plan lacks."""
    for what, names, known in _named(design):
        unknown = [name for name in names if name not in known]
        if unknown:
            yield (
                f"{what} names what the plan lacks: {', '.join(unknown)}; it has "
                f"{', '.join(sorted(known)) or 'none'}"
            )


def _named(design: Design) -> Iterator[tuple[str, Collection[str], Collection[str]]]:
    tests = {test.name for test in design.tests if test.name}
    phases = {*design.phases, PRACTICE_PHASE, ALL_TESTS, *tests}
    tasks = {task.name for task in design.tasks}
    for rule in design.exclusions:
        yield f"exclusion {rule.rule!r}", rule.phases, phases
    for entry in design.replacements:
        yield f"the replacement of {entry.column!r}", entry.phases, phases
    for outcome in design.outcomes:
        yield f"targets of outcome {outcome.name!r}", outcome.targets, phases | tasks
    names = set(design.group_names)
    for group in design.groups:
        if group.yoked_to:
            yield f"yoked_to of group {group.name!r}", (group.yoked_to,), names - {group.name}


def worst_of_no_outcome(design: Design) -> Iterator[str]:
    """Name replacements by the worst value of a column that is no outcome."""
    outcomes = {outcome.name for outcome in design.outcomes}
    for rule in design.replacements:
        if rule.take == "worst" and rule.column not in outcomes:
            yield (
                f"the replacement of {rule.column!r} takes the worst value of a column that is no "
                "outcome; say largest or smallest"
            )
