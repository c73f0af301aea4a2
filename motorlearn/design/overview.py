"""A plan in a few lines, as a notebook shows it."""

from typing import TYPE_CHECKING

import pandas as pd

from motorlearn.design.factors import primary_words
from motorlearn.digits import count
from motorlearn.tables import Column, Table

if TYPE_CHECKING:
    from motorlearn.design.schema import Design


def plan_table(design: "Design") -> Table:
    """Question, groups, practice, tests, outcomes and the primary comparison of a plan."""
    primary, smallest = design.primary, design.smallest_effect
    asked = "none declared"
    if primary is not None:
        pair = primary_words(design) or "all groups"
        asked = f"{primary.outcome} at {primary.test or primary.phase}, {pair}, {primary.effect}"
    rows = [
        ("question", design.study.question or "not stated"),
        *([("factors", _factors(design))] if design.factors else []),
        ("groups", ", ".join(_sized(group.name, group.size) for group in design.groups)),
        *_within(design),
        ("practice", _practice(design)),
        (
            "tests",
            ", ".join(f"{test.label} ({count(test.trials, 'trial')})" for test in design.tests),
        ),
        ("outcomes", ", ".join(_unit(entry.name, entry.unit) for entry in design.outcomes)),
        ("primary comparison", asked),
        ("smallest effect", "none declared" if smallest is None else smallest.told),
    ]
    frame = pd.DataFrame(rows, columns=["part", "plan"])
    return Table("plan", design.study.title, (Column("part"), Column("plan")), frame)


def _factors(design: "Design") -> str:
    return "; ".join(f"{one.words}: {', '.join(one.levels)}" for one in design.factors)


def _within(design: "Design") -> list[tuple[str, str]]:
    """That people meet every group, in which orders; nothing where each is in one group."""
    if design.within is None:
        return []
    orders = "; ".join(" then ".join(order) for order in design.sequences)
    return [("within people", f"everybody meets every group, by {design.within.by}: {orders}")]


def _practice(design: "Design") -> str:
    """Sessions and trials, group by group where these differ."""
    doses: dict[str, list[str]] = {}
    for name in design.group_names:
        own = design.practice_of(name)
        dose = f"{count(len(own), 'session')}, {count(sum(one.trials for one in own), 'trial')}"
        doses.setdefault(dose if own else "none", []).append(name)
    if len(doses) == 1:
        return next(iter(doses))
    return "; ".join(f"{', '.join(names)}: {dose}" for dose, names in doses.items())


def _sized(name: str, size: int | None) -> str:
    return name if size is None else f"{name} (n = {size})"


def _unit(name: str, unit: str) -> str:
    return f"{name} ({unit})" if unit else name
