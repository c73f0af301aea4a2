"""The cases together: a mean over athletes who differ, and each athlete drawn towards it."""

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from motorlearn.compare.single_case.phases import difference_variance
from motorlearn.compare.single_case.records import Record
from motorlearn.compare.single_case.result import SUMMARY
from motorlearn.results import Refused

SHRUNKEN = ("case", "estimate", "weight")


def summarise(
    records: list[Record], factors: np.ndarray, *, athletes: int, level: float
) -> tuple[pd.DataFrame | Refused, pd.DataFrame]:
    """Mean difference over athletes by a hierarchical model of two levels, and shrunken ones.

    Each athlete's difference ``d_i`` has the variance ``v_i`` of its sessions (widened by serial
    dependence) around a difference of its own; these scatter with variance ``tau**2`` (Paule and
    Mandel) about the mean. The interval takes t with ``cases - 1`` degrees of freedom and the
    larger of the two standard errors, by the model and by the scatter that was seen.
    """
    none = pd.DataFrame(columns=list(SHRUNKEN))
    if athletes < 2:
        return Refused("there is one athlete, and nothing is said about others"), none
    found = [difference_variance(record) for record in records]
    d = np.array([difference for difference, _, _ in found])
    v = np.array([variance for _, variance, _ in found]) * factors
    if (v <= 0).any():
        return Refused("an athlete's sessions do not vary, so no weight is known"), none
    fit = combine_effects(d, v, method_re="iterated", use_t=True)
    tau2 = max(float(fit.tau2), 0.0)
    weights = 1 / (v + tau2)
    mean = float((weights * d).sum() / weights.sum())
    by_model = np.sqrt(1 / weights.sum())
    seen = np.sqrt((weights * (d - mean) ** 2).sum() / weights.sum() / (len(d) - 1))
    half = stats.t.isf((1 - level) / 2, len(d) - 1) * max(by_model, seen)
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
