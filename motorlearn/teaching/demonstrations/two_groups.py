"""Two groups of people: means, differences and their tables, shared by the demonstrations."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from motorlearn.linear import one_sample, welch
from motorlearn.tables import Column


def difference(first: np.ndarray, second: np.ndarray) -> tuple[float, float, float]:
    """Give the difference of two means with its Welch interval: estimate, lower, upper.

    Examples
    --------
    >>> estimate, low, high = difference(np.array([3.0, 4, 5]), np.array([1.0, 2, 3]))
    >>> round(estimate, 2), round(low, 2), round(high, 2)
    (2.0, -0.27, 4.27)
    """
    found = welch(first, second)
    return found.estimate, found.conf_low, found.conf_high


def mean_interval(scores: np.ndarray) -> tuple[float, float, float]:
    """Give the mean over people with its t interval: estimate, lower, upper."""
    found = one_sample(scores)
    return found.estimate, found.conf_low, found.conf_high


def moment_means(moments: Mapping[str, np.ndarray], groups: Sequence[str]) -> pd.DataFrame:
    """Give each group's mean and interval at each moment.

    Parameters
    ----------
    moments : mapping of str to ndarray, shape (2, people)
        Scores of both groups, by moment, in the order of time.
    groups : sequence of str
        Names of the groups.

    Returns
    -------
    DataFrame
        ``moment, order, group, mean, conf_low, conf_high``.
    """
    rows = [
        (moment, order, group, *mean_interval(values[g]))
        for order, (moment, values) in enumerate(moments.items(), start=1)
        for g, group in enumerate(groups)
    ]
    return pd.DataFrame(rows, columns=["moment", "order", "group", "mean", "conf_low", "conf_high"])


def gap_and_change(first: tuple[str, np.ndarray], second: tuple[str, np.ndarray]) -> pd.DataFrame:
    """Give the difference of the groups at two moments, and how far it moved between them.

    Parameters
    ----------
    first, second : tuple of str and ndarray, shape (2, people)
        Name of the moment, and the scores of both groups.

    Returns
    -------
    DataFrame
        ``moment, estimate, conf_low, conf_high``: second group minus first; the last row is the
        interaction.
    """
    moments = [first, second, ("change (interaction)", second[1] - first[1])]
    return pd.DataFrame(
        [(moment, *difference(values[1], values[0])) for moment, values in moments],
        columns=["moment", "estimate", "conf_low", "conf_high"],
    )


def estimate_columns(name: str, label: str, unit: str, decimals: int = 2) -> tuple[Column, ...]:
    """Give the columns of a table of differences: what, estimate, lower and upper end."""
    return (
        Column(name),
        Column("estimate", label, "number", unit, decimals),
        Column("conf_low", "lower", "number", unit, decimals),
        Column("conf_high", "upper", "number", unit, decimals),
    )
