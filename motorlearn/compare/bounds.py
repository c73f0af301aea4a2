"""The declared bound on the scale of the analysis: in the score's unit, or in a named SD."""

from collections.abc import Hashable, Sequence
from typing import Final

import numpy as np

from motorlearn.compare.between import Comparing
from motorlearn.exceptions import InputError

SDS: Final = {
    "sd": "SD of participants, pooled within all groups at this test",
    "baseline sd": "SD of participants, pooled within all groups at the baseline",
    "average sd": "SD of participants, root mean variance of the groups compared at this test",
}
"""Standard deviations that a bound may count."""
UNITS: Final = ("score", *SDS)


def sd_of_bound(
    comparing: Comparing, phase: Hashable, unit: str, groups: Sequence[Hashable]
) -> float:
    """The standard deviation that a bound counts; NaN where it counts none."""
    if unit == "sd":
        return comparing.spread(phase)[0]
    if unit == "baseline sd":
        return comparing.spread(_baseline(comparing))[0]
    if unit == "average sd":
        parts = [comparing.of(name, comparing.at(phase)) for name in groups]
        variances = [part.var(ddof=1) if part.size > 1 else np.nan for part in parts]
        return float(np.sqrt(np.mean(variances)))
    return float("nan")


def _baseline(comparing: Comparing) -> Hashable:
    if comparing.baseline is None:
        raise InputError(
            "a bound in SD at the baseline needs a baseline",
            ["baseline sd"],
            "name the test before practice with baseline=, or count the bound in another SD",
        )
    return comparing.baseline


def edge_of(
    comparing: Comparing, phase: Hashable, bound: float, unit: str, groups: Sequence[Hashable]
) -> float:
    """The bound on the scale of the analysis, a positive distance from no effect."""
    if unit != "score":
        return bound * sd_of_bound(comparing, phase, unit, groups)
    return float(abs(np.log(bound))) if comparing.effect == "ratio" else bound
