"""Which task each participant does on each trial of an invented or planned study."""

import itertools
import math

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.plan.schedules.balanced_orders import williams_orders
from motorlearn.plan.schedules.schedule import draw_order
from motorlearn.plan.timetable import Event, Timetable

_ALL_ORDERS_UP_TO = 3
_HALVES = ("blocked first", "random first")


def draw_orders(
    design: Design, plan: Timetable, people: pd.DataFrame, rng: np.random.Generator
) -> tuple[pd.DataFrame, np.ndarray]:
    """Draw the order of tasks of every participant.

    The order in which blocked and serial practice take the tasks is counterbalanced inside each
    group as far as its size allows: all orders of up to three tasks, a Williams design of more.
    Tests that are half blocked and half random begin with either half equally often.

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
    names = [task.name for task in design.tasks] or ["task"]
    permuted = _counterbalance(people["group"], len(names), rng)
    first_half = _alternate(people["group"], rng)
    tasks = np.zeros((len(people), len(plan.event)), dtype=int)
    for number, event in enumerate(plan.events):
        here = plan.event == number
        for i, schedule in enumerate(people["schedule"]):
            drawn = _event_order(event, schedule, len(names), first_half[i], rng)
            tasks[i, here] = permuted[i][drawn]
    people = people.assign(task_order=["-".join(names[t] for t in order) for order in permuted])
    if any(event.order == "blocked-and-random" for event in plan.events):
        people = people.assign(test_order=[_HALVES[half] for half in first_half])
    return people, tasks


def _event_order(event: Event, schedule: str, n_tasks: int, half: int, rng) -> np.ndarray:
    if event.order == "own":
        kind = "random" if schedule in ("own", "none") else schedule
        return _draw(kind, n_tasks, event.trials, event.block_size, rng)
    if event.order == "blocked-and-random":
        kinds = ("blocked", "random") if half == 0 else ("random", "blocked")
        sizes = (event.block_size, event.trials - event.block_size)
        return np.concatenate(
            [_draw(kind, n_tasks, size, size, rng) for kind, size in zip(kinds, sizes, strict=True)]
        )
    return _draw(event.order, n_tasks, event.trials, event.trials, rng)


def _draw(kind: str, n_tasks: int, trials: int, block_size: int, rng) -> np.ndarray:
    """Draw an order of whole cycles and cut it where the trials do not share out equally."""
    if not trials:
        return np.zeros(0, dtype=int)
    whole = math.ceil(trials / n_tasks) * n_tasks
    return draw_order(kind, n_tasks, whole, block_size=block_size, rng=rng)[:trials]


def _counterbalance(groups: pd.Series, n_tasks: int, rng) -> np.ndarray:
    """Give each participant an order of the tasks, balanced inside the group."""
    if n_tasks > _ALL_ORDERS_UP_TO:
        orders = williams_orders(n_tasks)
    else:
        orders = np.array(list(itertools.permutations(range(n_tasks))))
    chosen = np.empty((len(groups), n_tasks), dtype=int)
    for _, place in groups.groupby(groups, sort=False).indices.items():
        chosen[place] = orders[_equal_shares(len(place), len(orders), rng)]
    return chosen


def _alternate(groups: pd.Series, rng) -> np.ndarray:
    half = np.empty(len(groups), dtype=int)
    for _, place in groups.groupby(groups, sort=False).indices.items():
        half[place] = _equal_shares(len(place), 2, rng)
    return half


def _equal_shares(n: int, levels: int, rng) -> np.ndarray:
    """Levels in chance order, each as often as can be."""
    rounds = [rng.permutation(levels) for _ in range(math.ceil(n / levels))]
    return rng.permutation(np.concatenate(rounds)[:n])
