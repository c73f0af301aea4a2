"""Which task each participant does on each trial of an invented or planned study."""

import hashlib
import itertools
from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.plan.arguments import seed_number
from motorlearn.plan.schedules.balanced_orders import williams_orders
from motorlearn.plan.schedules.schedule import draw_order
from motorlearn.plan.timetable import Event, Timetable

_ALL_ORDERS_UP_TO = 3
_HALVES = ("blocked first", "random first")


def draw_orders(
    design: Design, plan: Timetable, people: pd.DataFrame, rng: np.random.Generator
) -> tuple[pd.DataFrame, np.ndarray]:
    """Draw the order of tasks of every participant of an invented study.

    The order in which blocked and serial practice take the tasks is counterbalanced inside each
    group as far as its size allows: all orders of up to three tasks, a Williams design of more.
    Tests that are half blocked and half random begin with either half equally often. Where the
    trials cannot be shared equally, the tasks that come first in the person's own order get one
    more, so that the order balances these too.

    Parameters
    ----------
    people : DataFrame
        With ``group`` and ``schedule``.

    Returns
    -------
    people : DataFrame
        With ``task_order`` and, where a test has two halves, ``test_order`` added.
    tasks : ndarray of int, shape (people, trials)
    """
    orders = _own_orders(_number_of_tasks(design))
    places = people["group"].groupby(people["group"], sort=False).indices.values()
    own = np.empty(len(people), dtype=int)
    for place in places:
        own[place] = rng.permutation(_equal_shares(len(place), orders, rng))
    half = np.empty(len(people), dtype=int)
    for place in places:
        half[place] = rng.permutation(_equal_shares(len(place), np.eye(2, dtype=int), rng))
    return _laid_out(design, plan, people, (orders[own], half), lambda _: rng)


def planned_orders(
    design: Design, plan: Timetable, people: pd.DataFrame, *, seed: int
) -> tuple[pd.DataFrame, np.ndarray]:
    """Give every listed participant the order of tasks that belongs to the seed and to them alone.

    Balanced as in :func:`draw_orders`. Own orders are handed out in the order of the list inside
    each group and shuffles are drawn from the seed and the identifier, so somebody who is added at
    the end of the list changes nobody else's order.

    Parameters
    ----------
    people : DataFrame
        ``participant, group, schedule`` in the order of enrolment, those who withdrew included.
    seed : int
        Seed of the orders.

    Returns
    -------
    people : DataFrame
        As :func:`draw_orders`.
    tasks : ndarray of int, shape (people, trials)
    """
    seed = seed_number(seed)
    orders = _own_orders(_number_of_tasks(design))
    own = np.empty(len(people), dtype=int)
    half = np.empty(len(people), dtype=int)
    for group, place in people["group"].groupby(people["group"], sort=False).indices.items():
        own[place] = _equal_shares(
            len(place), orders, _stream(seed, "own order", group), whole=True
        )
        half[place] = _equal_shares(
            len(place), np.eye(2, dtype=int), _stream(seed, "half", group), whole=True
        )
    streams = [_stream(seed, "trials", name) for name in people["participant"]]
    return _laid_out(design, plan, people, (orders[own], half), streams.__getitem__)


def _stream(seed: int, *purpose: object) -> np.random.Generator:
    """Source of chance that depends on a seed and a purpose, and on nothing else."""
    told = hashlib.sha256("\x1f".join(map(str, purpose)).encode("utf-8")).digest()
    return np.random.default_rng([seed, *np.frombuffer(told[:16], dtype="<u4").tolist()])


def _laid_out(
    design: Design,
    plan: Timetable,
    people: pd.DataFrame,
    balanced: tuple[np.ndarray, np.ndarray],
    stream: Callable[[int], np.random.Generator],
) -> tuple[pd.DataFrame, np.ndarray]:
    own, half = balanced
    names = [task.name for task in design.tasks] or ["task"]
    tasks = np.zeros((len(people), len(plan.event)), dtype=int)
    given = {True: 0, False: 0}  # Extra trials handed out so far: in practice, in tests.
    for number, event in enumerate(plan.events):
        here = plan.event == number
        for i, schedule in enumerate(people["schedule"]):
            parts = _parts(event, schedule, int(half[i]))
            order = _event_order(
                event.block_size,
                parts,
                len(names),
                given[event.is_practice],
                design.schedules.max_run,
                stream(i),
            )
            tasks[i, here] = own[i][order]
        given[event.is_practice] += event.trials
    people = people.assign(task_order=["-".join(names[t] for t in order) for order in own])
    if any(event.order == "blocked-and-random" for event in plan.events):
        people = people.assign(test_order=[_HALVES[first] for first in half])
    return people, tasks


def _parts(event: Event, schedule: str, half: int) -> list[tuple[str, int]]:
    """Kinds of order an event consists of, with their trials."""
    if event.order == "own":
        return [("random" if schedule in ("own", "none") else schedule, event.trials)]
    if event.order != "blocked-and-random":
        return [(event.order, event.trials)]
    kinds = ("blocked", "random") if half == 0 else ("random", "blocked")
    sizes = (event.block_size, event.trials - event.block_size)
    return [(kind, size) for kind, size in zip(kinds, sizes, strict=True) if size]


def _event_order(
    block_size: int,
    parts: Sequence[tuple[str, int]],
    n_tasks: int,
    given: int,
    max_run: int,
    rng: np.random.Generator,
) -> np.ndarray:
    drawn = []
    for kind, trials in parts:
        drawn.append(
            draw_order(
                kind,
                n_tasks,
                trials,
                block_size=block_size,
                max_run=max_run,
                rng=rng,
                first_extra=given,
            )
        )
        given += trials
    return np.concatenate(drawn)


def _number_of_tasks(design: Design) -> int:
    return max(len(design.tasks), 1)


def _own_orders(n_tasks: int) -> np.ndarray:
    """Orders in which people may take the tasks; each task has each place equally often."""
    if n_tasks > _ALL_ORDERS_UP_TO:
        return williams_orders(n_tasks)
    return np.array(list(itertools.permutations(range(n_tasks))))


def _equal_shares(
    n: int, orders: np.ndarray, rng: np.random.Generator, *, whole: bool = False
) -> np.ndarray:
    """Number of an order for each of n people, each as often as can be.

    They come in rounds that hold every order once. The last round (with ``whole`` every round, so
    that the list can go on) goes through one square after the other, in which every task has every
    place once: tasks then come first equally often, within one, however many people there are.
    """
    square = _squares(orders)
    numbers = np.zeros(0, dtype=int)
    while len(numbers) < n:
        drawn = rng.permutation(len(orders))
        if whole or len(numbers) + len(drawn) > n:
            first = list(dict.fromkeys(square[drawn].tolist()))
            drawn = np.concatenate([drawn[square[drawn] == here] for here in first])
        numbers = np.concatenate([numbers, drawn])
    return numbers[:n]


def _squares(orders: np.ndarray) -> np.ndarray:
    """Number of the square each order belongs to."""
    squares: list[list[int]] = []
    for number, order in enumerate(orders):
        fits = (square for square in squares if (orders[square] != order).all())
        square = next(fits, None)
        if square is None:
            squares.append([number])
        else:
            square.append(number)
    found = np.empty(len(orders), dtype=int)
    for number, square in enumerate(squares):
        found[square] = number
    return found
