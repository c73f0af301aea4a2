"""Random orders of tasks: counts as equal as can be in every block, and no run above a cap."""

import bisect
from dataclasses import dataclass

import numpy as np

Order = np.ndarray
_TRIES = 40


@dataclass(frozen=True)
class Wanted:
    """What an order holds: tasks, trials, trials in a block, longest run, first task with more."""

    n_tasks: int
    trials: int
    block_size: int
    max_run: int
    first_extra: int | None

    def counts(self, start: int) -> np.ndarray:
        """Trials of each task, those that are left over given from a task on."""
        whole, extra = divmod(self.trials, self.n_tasks)
        later = (np.arange(self.n_tasks) - start) % self.n_tasks
        return whole + (later < extra)


def random_order(wanted: Wanted, rng: np.random.Generator, before: Order | None = None) -> Order:
    """Draw an order whose counts differ by one at most, in all and in every block.

    The next task is drawn in proportion to what is left of each, among those that leave the rest of
    the block possible; orders under the cap are therefore not all exactly equally likely. A draw
    that cannot go on at the border of a block is thrown away. Where none goes through, a cycle
    through the tasks is taken: it keeps every cap and every balance, so there always is an order.

    Parameters
    ----------
    wanted : Wanted
        What it holds.
    rng : Generator
        Source of chance.
    before : ndarray of int, optional
        What was practised before; the cap holds across the border.

    Returns
    -------
    ndarray of int, shape (trials,)
    """
    if wanted.n_tasks == 1:
        return np.zeros(wanted.trials, dtype=int)
    start = _first_extra(wanted, rng)
    earlier = [] if before is None else [int(task) for task in before]
    forced = wanted.n_tasks == 2 and wanted.max_run == 1
    for _ in range(0 if forced else _TRIES):
        order = list(earlier)
        if all(
            _extend_shuffled(order, counts, wanted.max_run, rng)
            for counts in _block_counts(wanted, start, rng)
        ):
            return np.array(order[len(earlier) :], dtype=int)
    return _cycle(wanted, start, earlier, rng)


def _first_extra(wanted: Wanted, rng: np.random.Generator) -> int:
    if wanted.first_extra is not None:
        return wanted.first_extra
    return int(rng.integers(wanted.n_tasks)) if wanted.trials % wanted.n_tasks else 0


def _block_counts(wanted: Wanted, start: int, rng: np.random.Generator) -> list[np.ndarray]:
    """Count each task's trials in each block: as equal as can be, in the block and in total."""
    n = wanted.n_tasks
    edges = np.append(np.arange(0, wanted.trials, wanted.block_size), wanted.trials)
    left = wanted.counts(start)
    counts = []
    for length in np.diff(edges):
        share = np.full(n, length // n)
        spare = length - share.sum()
        # Odd places go to the tasks that lag behind; ties are broken by chance.
        ahead = np.lexsort((rng.random(n), -(left - share)))
        share[ahead[:spare]] += 1
        counts.append(share)
        left = left - share
    return counts


def _extend_shuffled(
    order: list[int], counts: np.ndarray, cap: int, rng: np.random.Generator
) -> bool:
    """Append the counted tasks in chance order with no run above the cap; say whether it went."""
    left = [int(count) for count in counts]
    last, run = (order[-1], _final_run(order)) if order else (-1, 0)
    for total in range(sum(left) - 1, -1, -1):
        edges = _edges(left, total, last, run, cap)
        if not edges[-1]:
            return False
        task = bisect.bisect_right(edges, rng.random() * edges[-1])
        run = run + 1 if task == last else 1
        last = task
        left[task] -= 1
        order.append(task)
    return True


def _edges(left: list[int], total: int, last: int, run: int, cap: int) -> list[int]:
    """Sums of what is left of each task that may come next, before `total` more; 0 where none may.

    A task that is left more often than the others can part is the only one that may come.
    """
    crowded = None
    if max(left) > cap * (total - max(left) + 1):
        among = [task for task, count in enumerate(left) if count > cap * (total - count + 1)]
        if len(among) > 1:
            return [0] * len(left)
        crowded = among[0]
    edges, reached = [], 0
    for task, count in enumerate(left):
        if count and (crowded is None or task == crowded):
            new_run = run + 1 if task == last else 1
            if new_run <= cap and count - 1 <= cap * (total - count + 2) - new_run:
                reached += count
        edges.append(reached)
    return edges


def _final_run(order: list[int]) -> int:
    run = 1
    while run < len(order) and order[-run - 1] == order[-1]:
        run += 1
    return run


def _cycle(wanted: Wanted, start: int, earlier: list[int], rng: np.random.Generator) -> Order:
    """Go round the tasks in a drawn order that begins with those that get a trial more."""
    n, extra = wanted.n_tasks, wanted.trials % wanted.n_tasks
    tasks = (start + np.arange(n)) % n
    drawn = np.concatenate([rng.permutation(tasks[:extra]), rng.permutation(tasks[extra:])])
    full = bool(earlier) and _final_run(earlier) >= wanted.max_run
    if full and drawn[0] == earlier[-1]:
        drawn = np.roll(drawn, -1)
    return np.asarray(drawn[np.arange(wanted.trials) % n], dtype=int)
