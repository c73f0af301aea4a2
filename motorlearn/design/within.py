"""The ``[within]`` of a plan: each person practises under every group of the plan."""

from collections.abc import Sequence
from typing import Literal

from pydantic import Field

from motorlearn.design.base import Name, Section


class WithinPeople(Section):
    """Each person meets every group of the plan: the groups are conditions within people.

    ``by`` is what changes places with the condition and the column that says so: the ``period`` in
    which it was met, or the ``task`` or ``hand`` with which. ``sequences`` lists the orders to
    which people are allocated, each with every group once; left out, they are counterbalanced (each
    condition as often in each place, and as often after each other one). ``washout_days`` is the
    pause between periods. Practice and tests of the plan are those of one period; ``size`` of the
    groups is the number of people.
    """

    by: Literal["period", "task", "hand"] = "period"
    washout_days: float | None = Field(default=None, ge=0)
    sequences: tuple[tuple[Name, ...], ...] = ()


def counterbalanced(names: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """Orders in which each name has each place, and follows each other name, equally often.

    For an even number these are as many orders as names, for an odd number twice as many
    (Williams, 1949, Australian Journal of Scientific Research A, 2, 149-168, from memory).

    Examples
    --------
    >>> counterbalanced(["blocked", "random"])
    (('blocked', 'random'), ('random', 'blocked'))
    """
    k = len(names)
    first, low, high = [0], 1, k - 1
    while len(first) < k:
        first.append(low if len(first) % 2 else high)
        low, high = (low + 1, high) if len(first) % 2 == 0 else (low, high - 1)
    orders = [tuple(names[(place + step) % k] for place in first) for step in range(k)]
    mirrored = [] if k % 2 == 0 else [order[::-1] for order in orders]
    return tuple(dict.fromkeys([*orders, *mirrored]))


def check_within(
    within: WithinPeople | None, names: Sequence[str], *, clusters: str | None, factors: int
) -> None:
    """Refuse a design within people that its groups cannot have.

    Raises
    ------
    ValueError
        If there is one group only, a sequence lacks a group, or classes or factors are planned.
    """
    if within is None:
        return
    if len(names) < 2:
        raise ValueError("[within] needs two groups or more, which each person meets")
    if factors:
        raise ValueError("[within] and [[factors]] exclude each other; factors are between people")
    if clusters:
        raise ValueError(
            f"[within] and allocation.unit = {clusters!r} exclude each other: people meet every "
            "condition, so no class is allocated to one"
        )
    wrong = [order for order in within.sequences if sorted(order) != sorted(names)]
    if wrong:
        raise ValueError(
            f"within.sequences: {', '.join(wrong[0])} does not hold every group once "
            f"({', '.join(names)})"
        )
