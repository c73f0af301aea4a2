"""Practice orders: blocked, serial, random with a cap on runs, constant, variable, increasing."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.exceptions import InputError
from motorlearn.plan.arguments import distinct_names, seed_number, whole_number
from motorlearn.plan.schedules.random_orders import Order, Wanted, random_order


def make_schedule(
    kind: str,
    tasks: Sequence[str],
    trials: int,
    *,
    block_size: int | None = None,
    seed: int = 0,
    max_run: int = 2,
) -> pd.DataFrame:
    """Make one practice order: which task is practised on each trial.

    ``blocked`` finishes one task before the next (AAA BBB CCC); ``serial`` repeats a fixed cycle
    (ABC ABC); ``random`` shuffles with equal counts in every block and at most `max_run` alike in a
    row; ``variable`` shuffles with no task twice in a row; ``constant`` keeps to the first task;
    ``increasing`` is blocked in the first third, serial in the second and random in the last.
    Where the trials cannot be shared equally among the tasks, the counts differ by one, in all and
    in every block; the tasks with the extra trial are the first ones, in a random order drawn ones.

    Parameters
    ----------
    kind : {"blocked", "serial", "random", "variable", "constant", "increasing"}
        The schedule.
    tasks : sequence of str
        Tasks in the order in which blocked and serial practice take them.
    trials : int
        Number of trials in all.
    block_size : int, optional
        Trials in a block; counts of the tasks are equal, or differ by one, in every block of a
        random order. Default: one block.
    seed : int
        Seed of the shuffles; blocked, serial and constant orders do not use it.
    max_run : int
        Longest run of one task in a random order, across the borders of blocks too.

    Returns
    -------
    DataFrame
        ``block, trial, task``: one row per trial, trials numbered from 1.

    Raises
    ------
    InputError
        If the kind is unknown, a task is named twice, or a number is not whole and 1 or more.

    References
    ----------
    Shea, J. B., & Morgan, R. L. (1979). Contextual interference effects on the acquisition,
    retention, and transfer of a motor skill. *Journal of Experimental Psychology: Human Learning
    and Memory*, 5, 179-187. https://doi.org/10.1037/0278-7393.5.2.179

    Examples
    --------
    >>> import motorlearn as ml
    >>> "".join(ml.make_schedule("serial", ["A", "B", "C"], 9)["task"])
    'ABCABCABC'
    >>> order = ml.make_schedule("random", ["A", "B", "C"], 18, block_size=9, seed=1)
    >>> order.groupby("block")["task"].value_counts().unique().tolist()
    [3]
    """
    names = distinct_names("tasks", tasks)
    size = trials if block_size is None else block_size
    order = draw_order(
        kind,
        len(names),
        trials,
        block_size=size,
        max_run=max_run,
        rng=np.random.default_rng(seed_number(seed)),
    )
    return pd.DataFrame(
        {
            "block": np.arange(len(order)) // int(size) + 1,
            "trial": np.arange(1, len(order) + 1),
            "task": np.array(names, dtype=object)[order],
        }
    ).astype({"task": "str"})


def draw_order(
    kind: str,
    n_tasks: int,
    trials: int,
    *,
    block_size: int,
    max_run: int = 2,
    rng: np.random.Generator,
    first_extra: int | None = None,
) -> Order:
    """Draw a practice order as task numbers from 0.

    Counts of the tasks differ by one at most, in all and in every block of a random order.

    Parameters
    ----------
    kind : str
        A schedule, see :func:`make_schedule`.
    n_tasks, trials, block_size, max_run : int
        Numbers of tasks, trials, trials in a block, longest run.
    rng : Generator
        Source of chance.
    first_extra : int, optional
        The task that gets the first trial that cannot be shared equally; the tasks after it get
        the others. By default the first task, in a random order one that is drawn.

    Returns
    -------
    ndarray of int, shape (trials,)
    """
    if kind not in _KINDS:
        raise InputError("there is no such schedule", [kind], f"choose one of {', '.join(_KINDS)}")
    n = whole_number("the number of tasks", n_tasks)
    wanted = Wanted(
        n,
        whole_number("trials", trials),
        whole_number("block_size", block_size),
        whole_number("max_run", max_run),
        None if first_extra is None else int(first_extra) % n,
    )
    return _KINDS[kind](wanted, rng)


def _blocked(wanted: Wanted, rng: np.random.Generator) -> Order:
    return np.repeat(np.arange(wanted.n_tasks), wanted.counts(wanted.first_extra or 0))


def _serial(wanted: Wanted, rng: np.random.Generator) -> Order:
    return (np.arange(wanted.trials) + (wanted.first_extra or 0)) % wanted.n_tasks


def _constant(wanted: Wanted, rng: np.random.Generator) -> Order:
    return np.zeros(wanted.trials, dtype=int)


def _variable(wanted: Wanted, rng: np.random.Generator) -> Order:
    return random_order(replace(wanted, max_run=1), rng)


def _random(wanted: Wanted, rng: np.random.Generator) -> Order:
    return random_order(wanted, rng)


def _increasing(wanted: Wanted, rng: np.random.Generator) -> Order:
    cycles = np.diff(np.round(np.linspace(0, wanted.trials // wanted.n_tasks, 4)).astype(int))
    lengths = cycles * wanted.n_tasks
    lengths[-1] += wanted.trials % wanted.n_tasks
    order = np.zeros(0, dtype=int)
    for make, length in zip((_blocked, _serial, None), lengths, strict=True):
        part = replace(wanted, trials=int(length))
        if length:
            new = make(part, rng) if make else random_order(part, rng, before=order)
            order = np.concatenate([order, new])
    return order


_KINDS: Final[dict[str, Callable[[Wanted, np.random.Generator], Order]]] = {
    "blocked": _blocked,
    "serial": _serial,
    "random": _random,
    "variable": _variable,
    "constant": _constant,
    "increasing": _increasing,
}
