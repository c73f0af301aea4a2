"""The cases together: a mean over athletes who differ, and each athlete drawn towards it."""

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from motorlearn.compare.single_case.records import Record
from motorlearn.compare.single_case.result import SUMMARY
from motorlearn.measures.single_case import DependentDifference
from motorlearn.results import Refused

SHRUNKEN = ("case", "estimate", "weight")


def summarise(
    records: list[Record], differences: list[DependentDifference], *, athletes: int, level: float
) -> tuple[pd.DataFrame | Refused, pd.DataFrame]:
    """Mean difference over athletes by a hierarchical model of two levels, and shrunken ones.

    Each athlete's difference ``d_i`` has the variance ``v_i`` of its sessions (widened by serial
    dependence) around a difference of its own; these scatter with variance ``tau**2`` (Paule and
    Mandel) about the mean. The interval is the wider of two: normal with the model's standard
    error, and t with ``cases - 1`` degrees of freedom with that of the scatter that was seen.
    """
    none = pd.DataFrame(columns=list(SHRUNKEN))
    if athletes < 2:
        return Refused("there is one athlete, and nothing is said about others"), none
    d = np.array([own.estimate for own in differences])
    v = np.array([own.variance for own in differences])
    if (v <= 0).any():
        return Refused("an athlete's sessions do not vary, so no weight is known"), none
    fit = combine_effects(d, v, method_re="iterated", use_t=True)
    tau2 = max(float(fit.tau2), 0.0)
    weights = 1 / (v + tau2)
    mean = float((weights * d).sum() / weights.sum())
    by_model = np.sqrt(1 / weights.sum())
    seen = np.sqrt((weights * (d - mean) ** 2).sum() / weights.sum() / (len(d) - 1))
    tail = (1 - level) / 2
    half = max(stats.norm.isf(tail) * by_model, stats.t.isf(tail, len(d) - 1) * seen)
    row = SUMMARY.row(
        estimate=mean,
        conf_low=mean - half,
        conf_high=mean + half,
        df=len(d) - 1,
        sd_between=np.sqrt(tau2),
        cases=len(d),
    )
    own = tau2 / (tau2 + v)
    shrunken = pd.DataFrame(
        {
            "case": [record.name for record in records],
            "estimate": own * d + (1 - own) * mean,
            "weight": own,
        }
    )
    return SUMMARY.frame([row]), shrunken
