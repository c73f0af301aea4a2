"""Practice orders: blocked, serial, random with a cap on runs, constant, variable, increasing."""

import bisect
import itertools
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.exceptions import InputError

Order = np.ndarray


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

    Parameters
    ----------
    kind : {"blocked", "serial", "random", "variable", "constant", "increasing"}
        The schedule.
    tasks : sequence of str
        Tasks in the order in which blocked and serial practice take them.
    trials : int
        Number of trials in all.
    block_size : int, optional
        Trials in a block; equal counts of the tasks hold in every block of a random order. Default:
        one block.
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
        If the kind is unknown, a task is named twice, or the counts cannot be equal.

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
    names = list(tasks)
    if not names or len(set(names)) < len(names):
        raise InputError("tasks must be named, each once", names, "name each task once")
    size = trials if block_size is None else block_size
    order = draw_order(
        kind, len(names), trials, block_size=size, max_run=max_run, rng=np.random.default_rng(seed)
    )
    return pd.DataFrame(
        {
            "block": np.arange(trials) // size + 1,
            "trial": np.arange(1, trials + 1),
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
) -> Order:
    """Draw a practice order as task numbers from 0.

    Parameters
    ----------
    kind : str
        A schedule, see :func:`make_schedule`.
    n_tasks, trials, block_size, max_run : int
        Numbers of tasks, trials, trials in a block, longest run.
    rng : Generator
        Source of chance.

    Returns
    -------
    ndarray of int, shape (trials,)
    """
    if kind not in _KINDS:
        raise InputError("there is no such schedule", [kind], f"choose one of {', '.join(_KINDS)}")
    for what, value in (("trials", trials), ("block_size", block_size), ("max_run", max_run)):
        if value < 1:
            raise InputError(f"{what} must be 1 or more", [value])
    if kind != "constant" and trials % n_tasks:
        raise InputError(
            "the trials cannot be shared equally among the tasks",
            [f"{trials} trials", f"{n_tasks} tasks"],
            f"take {trials - trials % n_tasks or n_tasks} or {trials + n_tasks - trials % n_tasks}",
        )
    return _KINDS[kind](n_tasks, trials, block_size, max_run, rng)


def _blocked(n_tasks, trials, block_size, max_run, rng) -> Order:
    return np.repeat(np.arange(n_tasks), trials // n_tasks)


def _serial(n_tasks, trials, block_size, max_run, rng) -> Order:
    return np.tile(np.arange(n_tasks), trials // n_tasks)


def _constant(n_tasks, trials, block_size, max_run, rng) -> Order:
    return np.zeros(trials, dtype=int)


def _variable(n_tasks, trials, block_size, max_run, rng) -> Order:
    return _random(n_tasks, trials, block_size, 1, rng)


def _random(n_tasks, trials, block_size, max_run, rng) -> Order:
    if n_tasks == 1:
        return np.zeros(trials, dtype=int)
    order: list[int] = []
    for counts in _block_counts(n_tasks, trials, block_size, rng):
        _extend_shuffled(order, counts, max_run, rng)
    return np.array(order, dtype=int)


def _increasing(n_tasks, trials, block_size, max_run, rng) -> Order:
    thirds = np.diff(np.round(np.linspace(0, trials // n_tasks, 4)).astype(int)) * n_tasks
    kinds = (_blocked, _serial, _random)
    parts = [
        make(n_tasks, int(length), block_size, max_run, rng)
        for make, length in zip(kinds, thirds, strict=True)
        if length
    ]
    return np.concatenate(parts)


_KINDS: Final[dict[str, Callable[..., Order]]] = {
    "blocked": _blocked,
    "serial": _serial,
    "random": _random,
    "variable": _variable,
    "constant": _constant,
    "increasing": _increasing,
}


def _block_counts(n_tasks, trials, block_size, rng) -> list[np.ndarray]:
    """Count each task's trials in each block: as equal as can be, and equal in total."""
    edges = np.append(np.arange(0, trials, block_size), trials)
    left = np.full(n_tasks, trials // n_tasks)
    counts = []
    for length in np.diff(edges):
        share = np.full(n_tasks, length // n_tasks)
        spare = length - share.sum()
        # Odd places go to the tasks that lag behind; ties are broken by chance.
        ahead = np.lexsort((rng.random(n_tasks), -(left - share)))
        share[ahead[:spare]] += 1
        counts.append(share)
        left = left - share
    return counts


def _extend_shuffled(order: list[int], counts: np.ndarray, cap: int, rng) -> None:
    """Append the counted tasks in chance order with no run above the cap.

    The next task is drawn in proportion to what is left of each, among those that leave the rest
    possible; orders under the cap are therefore not all exactly equally likely.
    """
    left = [int(count) for count in counts]
    last, run = (order[-1], _final_run(order)) if order else (-1, 0)
    while any(left):
        weights = [_weight(task, left, last, run, cap) for task in range(len(left))]
        edges = list(itertools.accumulate(weights))
        if not edges[-1]:
            raise InputError(
                "no order of these tasks keeps the runs that short",
                [f"max_run={cap}"],
                "allow a longer run or balance the tasks",
            )
        task = bisect.bisect_right(edges, rng.random() * edges[-1])
        run = run + 1 if task == last else 1
        last = task
        left[task] -= 1
        order.append(task)


def _weight(task: int, left: list[int], last: int, run: int, cap: int) -> int:
    new_run = run + 1 if task == last else 1
    if not left[task] or new_run > cap:
        return 0
    total = sum(left) - 1
    for other, count in enumerate(left):
        rest = count - (other == task)
        room = cap * (total - rest + 1) - (new_run if other == task else 0)
        if rest > room:
            return 0
    return left[task]


def _final_run(order: list[int]) -> int:
    run = 1
    while run < len(order) and order[-run - 1] == order[-1]:
        run += 1
    return run
