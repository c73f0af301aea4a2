"""Orders of tasks that balance position and carry-over (Williams designs)."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.exceptions import InputError
from motorlearn.plan.arguments import distinct_names, whole_number

MOST_TASKS: Final = 200
"""Most tasks of an order."""


def williams_orders(n: int) -> np.ndarray:
    """Orders of n tasks in which each task follows each other task equally often.

    For even n the n rows are the cyclic shifts of ``0, 1, n-1, 2, n-2, ...``; for odd n the mirror
    images of the rows are added, which makes 2 n rows.

    Parameters
    ----------
    n : int
        Number of tasks.

    Returns
    -------
    ndarray of int, shape (n or 2 n, n)
        One order per row.

    References
    ----------
    Williams, E. J. (1949). Experimental designs balanced for the estimation of residual effects of
    treatments. *Australian Journal of Scientific Research A*, 2, 149-168.
    https://doi.org/10.1071/CH9490149

    Examples
    --------
    >>> williams_orders(4).tolist()
    [[0, 1, 3, 2], [1, 2, 0, 3], [2, 3, 1, 0], [3, 0, 2, 1]]
    """
    if whole_number("the number of tasks", n) < 2:
        raise InputError("an order needs two tasks or more", [n])
    if n > MOST_TASKS:
        raise InputError(f"an order of more than {MOST_TASKS} tasks is beyond any study", [n])
    n = int(n)
    steps = np.arange(n)
    first = np.where(steps % 2, (steps + 1) // 2, (n - steps // 2) % n)
    rows = (first + steps[:, None]) % n
    return rows if n % 2 == 0 else np.vstack([rows, rows[:, ::-1]])


def williams_design(tasks: Sequence[str]) -> pd.DataFrame:
    """Williams design of named tasks: one order per row, columns by position.

    Examples
    --------
    >>> williams_design(["straight", "bank", "lob"]).shape
    (6, 3)
    """
    names = np.array(distinct_names("tasks", tasks), dtype=object)
    orders = williams_orders(len(names))
    return pd.DataFrame(
        names[orders],
        index=pd.RangeIndex(1, len(orders) + 1, name="order"),
        columns=pd.RangeIndex(1, len(names) + 1, name="position"),
    )
