"""Contrasts judged against a bound that was declared beforehand."""

import numpy as np
import pandas as pd

from motorlearn.compare.between import NAN, Comparing
from motorlearn.compare.comparison import EQUIVALENCE_COLUMNS
from motorlearn.linear.equivalence import equivalence_test

UNITS = ("score", "sd")


def equivalence_frame(
    comparing: Comparing, contrasts: pd.DataFrame, bound: float | None, *, unit: str = "score"
) -> pd.DataFrame:
    """Two one-sided tests of every contrast against a bound.

    The bound is in the unit of the score, a ratio where the effect is one, or with ``unit="sd"``
    in standard deviations pooled within all groups at that phase. That is not the root mean of two
    variances by which ``linear.equivalence_of_means`` standardises, unless two groups are of one
    size. Odds ratios have no bound in the unit of the score and are left to their differences of
    probabilities.
    """
    rows: list[tuple] = []
    if bound is None:
        return pd.DataFrame(rows, columns=list(EQUIVALENCE_COLUMNS))
    for row in contrasts[contrasts["effect"] != "odds ratio"].itertuples():
        key = (row.phase, row.group, row.reference, row.effect, row.adjusted, row.estimate)
        edge = _edge(comparing, row.phase, bound, unit)
        if np.isnan(row.p) or not edge > 0:
            rows.append((*key, *(NAN,) * 7, False, row.method))
            continue
        found = equivalence_test(
            np.log(row.estimate) if row.effect == "ratio" else row.estimate,
            row.std_error,
            row.df,
            bound=edge,
        )
        bounds = (found.bound_low, found.bound_high, found.conf_low, found.conf_high)
        low, high, *ends = (comparing.shown(value) for value in bounds)
        tests = (found.p_low, found.p_high, found.p)
        method = "two one-sided tests, 90 % interval; " + row.method
        rows.append((*key, low, high, *tests, *ends, found.equivalent, method))
    return pd.DataFrame(rows, columns=list(EQUIVALENCE_COLUMNS))


def _edge(comparing: Comparing, phase, bound: float, unit: str) -> float:
    if unit == "sd":
        return bound * comparing.spread(phase)[0]
    return float(abs(np.log(bound))) if comparing.effect == "ratio" else bound
