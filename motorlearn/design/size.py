"""How large a plan may be: what is beyond any study is refused before anything is made of it."""

import math
from collections.abc import Iterator, Mapping
from typing import Any, Final

from motorlearn.design.schema import Design
from motorlearn.exceptions import UNSEEN, DesignError

MOST_ENTRIES: Final = 20_000
"""Most values of a plan, all sections together."""
LARGEST_NUMBER: Final = 1_000_000
"""Largest number in a plan, seeds apart: weeks, trials, people, distances."""
MOST_TRIALS: Final = 10_000_000
"""Most trials that a plan may ask for, all people together."""
_MOST_WEEKS: Final = 520
_DEEPEST: Final = 20


def refuse_absurd(content: Mapping[str, Any], place: str) -> None:
    """Refuse a plan that is too long, nested too deep, or holds signs or numbers no plan has.

    Raises
    ------
    DesignError
        With the place in the plan.
    """
    for number, (where, value) in enumerate(_entries(content, (), place)):
        if number >= MOST_ENTRIES:
            raise DesignError(f"{place}: the plan has more than {MOST_ENTRIES} entries")
        name = ".".join(where)
        if isinstance(value, str) and UNSEEN.search(value):
            raise DesignError(
                f"{place}: {name} holds a sign that cannot be seen", [value], "type it again"
            )
        if _is_vast(value) and where[-1] != "seed":
            raise DesignError(
                f"{place}: {name} is larger than {LARGEST_NUMBER}", [value], "check the number"
            )
    weeks = content.get("programme", {})
    weeks = weeks.get("weeks") if isinstance(weeks, Mapping) else None
    if isinstance(weeks, int) and weeks > _MOST_WEEKS:
        raise DesignError(
            f"{place}: programme.weeks is larger than {_MOST_WEEKS}", [weeks], "check the number"
        )


def refuse_vast(design: Design, place: str) -> None:
    """Refuse a plan that asks for more trials, all people together, than can be written down.

    Raises
    ------
    DesignError
        With the number it asks for.
    """
    tested = sum(test.trials for test in design.tests)
    trials = sum(
        (group.size or 1) * (tested + sum(entry.trials for entry in design.practice_of(group.name)))
        for group in design.groups
    )
    if trials > MOST_TRIALS:
        raise DesignError(
            f"{place}: the plan asks for {trials} trials, all people together, more than "
            f"{MOST_TRIALS}",
            remedy="check sizes, blocks and trials",
        )


def _is_vast(value: object) -> bool:
    if isinstance(value, int):
        return abs(value) > LARGEST_NUMBER
    return isinstance(value, float) and math.isfinite(value) and abs(value) > LARGEST_NUMBER


def _entries(
    content: Any, where: tuple[str, ...], place: str
) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every value of nested dictionaries and lists, with its place."""
    if len(where) > _DEEPEST:
        raise DesignError(f"{place}: the plan is nested deeper than {_DEEPEST} levels")
    if isinstance(content, Mapping):
        parts = [(str(name), value) for name, value in content.items()]
    elif isinstance(content, list | tuple):
        parts = [(str(number), value) for number, value in enumerate(content)]
    else:
        yield where or ("plan",), content
        return
    for name, value in parts:
        yield from _entries(value, (*where, name), place)
