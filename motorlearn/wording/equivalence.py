"""The equivalence verdict: a contrast against a smallest effect of interest declared beforehand."""

import math
from dataclasses import dataclass
from typing import Literal

import pandas as pd
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.linear import equivalence_test

Verdict = Literal["equivalent", "larger", "smaller than the bound but not nil", "undecided"]


@dataclass(frozen=True)
class Judgement:
    """A contrast judged against symmetric bounds, on the contrast's own scale.

    Parameters
    ----------
    verdict : str
        ``equivalent`` (90 % interval inside the bounds, 95 % interval holds the null), ``smaller
        than the bound but not nil`` (inside, null excluded), ``larger`` (95 % interval beyond one
        bound) or ``undecided``.
    low, high : float
        The bounds.
    conf_low, conf_high : float
        90 % interval.
    p : float
        The larger of the two one-sided p values.
    """

    verdict: Verdict
    low: float
    high: float
    conf_low: float
    conf_high: float
    p: float


def bounds(effect: str, smallest: float) -> tuple[float, float]:
    """Bounds on both sides of the null: ``±value``, or ``value`` and ``1/value`` for a ratio.

    Examples
    --------
    >>> bounds("difference", 2.5)
    (-2.5, 2.5)
    >>> [round(bound, 3) for bound in bounds("ratio", 0.9)]
    [0.9, 1.111]
    """
    if effect != "ratio":
        return -abs(smallest), abs(smallest)
    if smallest <= 0 or smallest == 1:
        raise InputError("a smallest ratio of interest must be positive and not 1", [smallest])
    return min(smallest, 1 / smallest), max(smallest, 1 / smallest)


def judge(contrast: pd.Series, smallest: float) -> Judgement:
    """Judge a contrast against the smallest effect of interest by two one-sided tests.

    Ratios are judged on the log scale; the standard error follows from the 95 % interval, so
    that verdict and interval cannot contradict each other.

    Parameters
    ----------
    contrast : Series
        ``effect, estimate, df, conf_low, conf_high``, a 95 % interval.
    smallest : float
        Smallest effect of interest, on the scale of the contrast.

    Examples
    --------
    >>> row = pd.Series({"effect": "difference", "estimate": 0.2, "df": 60.0,
    ...                  "conf_low": -0.8, "conf_high": 1.2})
    >>> judge(row, 2.0).verdict
    'equivalent'
    """
    low, high = bounds(str(contrast["effect"]), smallest)
    to, back = (math.log, math.exp) if contrast["effect"] == "ratio" else (float, float)
    estimate, lower, upper = (to(contrast[c]) for c in ("estimate", "conf_low", "conf_high"))
    df = float(contrast["df"])
    std_error = (upper - lower) / (2 * stats.t.isf(0.025, df))
    test = equivalence_test(estimate, std_error, df, bound=(to(low), to(high)))
    if test.equivalent:
        verdict: Verdict = (
            "equivalent" if lower <= 0.0 <= upper else "smaller than the bound but not nil"
        )
    else:
        verdict = "larger" if lower > to(high) or upper < to(low) else "undecided"
    return Judgement(verdict, low, high, back(test.conf_low), back(test.conf_high), test.p)
