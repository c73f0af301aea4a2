"""Contrasts judged against a bound that was declared beforehand."""

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.compare.between import Comparing
from motorlearn.compare.bounds import edge_of
from motorlearn.compare.crossing import labels_of
from motorlearn.compare.schemas import EQUIVALENCE
from motorlearn.linear.equivalence import equivalence_test
from motorlearn.rows import Row

_KEPT = ("phase", "group", "reference", "effect", "adjusted", "estimate", "method")


def equivalence_frame(
    comparing: Comparing,
    contrasts: pd.DataFrame,
    *,
    bound: float | None,
    unit: str = "score",
    effects: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Two one-sided tests of every contrast against a bound.

    The bound is in the unit of the score, a ratio where the effect is one, or in standard
    deviations: with ``unit="sd"`` pooled within all groups at that phase, with ``"baseline sd"`` at
    the baseline, with ``"average sd"`` of the root mean variance of the two groups compared, by
    which ``linear.equivalence_of_means`` standardises. Odds ratios have no bound in the unit of the
    score and are left to their differences of probabilities.
    """
    if bound is None:
        return EQUIVALENCE.frame()
    told = contrasts[contrasts["effect"] != "odds ratio"].to_dict("records")
    edges = [
        edge_of(comparing, one["phase"], bound, unit, (one["group"], one["reference"]))
        for one in told
    ]
    groups = comparing.data.groups
    for one in effects.to_dict("records") if effects is not None else ():
        group, reference = labels_of(one)
        told.append(one | {"group": group, "reference": reference})
        edges.append(edge_of(comparing, one["phase"], bound, unit, groups))
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
