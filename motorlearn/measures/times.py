"""Times taken by trials."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motorlearn.exceptions import InputError
from motorlearn.measures.aim import Floats, mean_by_group, mean_of_present


def mean_time(times: ArrayLike, *, axis: int = -1) -> Floats:
    """Mean time of the trials that count; empty cells (NaN) are left out.

    Raises
    ------
    InputError
        If a time is negative.

    Examples
    --------
    >>> float(mean_time([9.5, np.nan, 10.5]))
    10.0
    """
    return mean_of_present(_not_negative(np.asarray(times, dtype=float)), axis)


def time_by_group(times: Floats, codes: NDArray[np.intp], groups: int) -> dict[str, NDArray[Any]]:
    """Mean time of many groups of trials, with the number of times used.

    Examples
    --------
    >>> time_by_group(np.array([1.0, 2.0, np.nan]), np.array([0, 0, 1]), 2)["n_time"].tolist()
    [2, 0]
    """
    present = ~np.isnan(_not_negative(times))
    return {
        "n_time": np.bincount(codes[present], minlength=groups),
        "mean_time": mean_by_group(times[present], codes[present], groups),
    }


def _not_negative(times: Floats) -> Floats:
    if (times < 0).any():
        raise InputError(
            "a time cannot be negative", times[times < 0].ravel(), "correct or empty these cells"
        )
    return times
