"""Contrasts judged against a bound that was declared beforehand."""

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.compare.between import Comparing
from motorlearn.compare.comparison import EQUIVALENCE
from motorlearn.linear.equivalence import equivalence_test
from motorlearn.rows import Row

UNITS = ("score", "sd")
_KEPT = ("phase", "group", "reference", "effect", "adjusted", "estimate", "method")


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
    if bound is None:
        return EQUIVALENCE.frame()
    told = contrasts[contrasts["effect"] != "odds ratio"].to_dict("records")
    edges = [_edge(comparing, contrast["phase"], bound, unit) for contrast in told]
    return EQUIVALENCE.frame(
        [_judged(comparing, contrast, edge) for contrast, edge in zip(told, edges, strict=True)]
    )


def _judged(comparing: Comparing, contrast: Mapping[Hashable, Any], edge: float) -> Row:
    """One contrast against its bound, on the scale on which it is reported."""
    kept = {name: contrast[name] for name in _KEPT}
    if np.isnan(contrast["p"]) or not edge > 0:
        return EQUIVALENCE.row(**kept)
    estimate = contrast["estimate"]
    found = equivalence_test(
        np.log(estimate) if contrast["effect"] == "ratio" else estimate,
        contrast["std_error"],
        contrast["df"],
        bound=edge,
    )
    return EQUIVALENCE.row(
        **kept
        | {
            "bound_low": comparing.shown(found.bound_low),
            "bound_high": comparing.shown(found.bound_high),
            "p_low": found.p_low,
            "p_high": found.p_high,
            "p": found.p,
            "conf_low": comparing.shown(found.conf_low),
            "conf_high": comparing.shown(found.conf_high),
            "equivalent": found.equivalent,
            "method": "two one-sided tests, 90 % interval; " + contrast["method"],
        }
    )


def _edge(comparing: Comparing, phase: Hashable, bound: float, unit: str) -> float:
    if unit == "sd":
        return bound * comparing.spread(phase)[0]
    return float(abs(np.log(bound))) if comparing.effect == "ratio" else bound
