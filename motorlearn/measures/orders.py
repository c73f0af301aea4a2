"""How much a trial order interferes: switches between tasks and distance between repetitions."""

from collections.abc import Hashable, Sequence

import numpy as np

from motorlearn.exceptions import InputError


def switch_rate(order: Sequence[Hashable]) -> float:
    """Share of trials whose task differs from the trial before: switches / (trials - 1).

    0 for one task throughout, 1 where no task is ever repeated at once.

    Raises
    ------
    InputError
        If the order has fewer than two trials.

    Examples
    --------
    >>> switch_rate("AAABBBCCC"), switch_rate("ABCABCABC")
    (0.25, 1.0)
    """
    codes = _codes(order)
    return float(np.mean(codes[1:] != codes[:-1]))


def mean_lag(order: Sequence[Hashable]) -> float:
    """Mean number of trials from one trial to the next of the same task.

    1 where every task is practised in one run; k for a serial order of k tasks; NaN where no task
    comes twice.

    Examples
    --------
    >>> mean_lag("AAABBBCCC"), mean_lag("ABCABCABC")
    (1.0, 3.0)
    """
    codes = _codes(order)
    by_task = np.argsort(codes, kind="stable")
    same = codes[by_task][1:] == codes[by_task][:-1]
    lags = np.diff(by_task)[same]
    return float(lags.mean()) if lags.size else float("nan")


def longest_run(order: Sequence[Hashable]) -> int:
    """Length of the longest run of one task.

    Examples
    --------
    >>> longest_run("ABBBA")
    3
    """
    codes = _codes(order)
    edges = np.flatnonzero(np.concatenate([[True], codes[1:] != codes[:-1], [True]]))
    return int(np.diff(edges).max())


def _codes(order: Sequence[Hashable]) -> np.ndarray:
    if len(order) < 2:
        raise InputError("a trial order needs at least two trials", [len(order)])
    number: dict[Hashable, int] = {}
    return np.array([number.setdefault(task, len(number)) for task in order])
