"""Tests of all groups together at one phase, of the baseline, of covariates, of parallel slopes."""

from collections.abc import Hashable, Sequence

import numpy as np
import pandas as pd

from motorlearn.compare.between import Adjusted, Comparing
from motorlearn.compare.comparison import OMNIBUS, how
from motorlearn.linear.ancova import Ancova
from motorlearn.linear.hypotheses import FTest, joint_test
from motorlearn.linear.samples import welch_one_way
from motorlearn.rows import Row


def omnibus_rows(comparing: Comparing, phase: Hashable, adjusted: Adjusted | None) -> list[Row]:
    """Tests of all groups at one phase."""
    if len(comparing.data.groups) < 2:
        return []
    samples = [comparing.of(name, comparing.at(phase)) for name in comparing.data.groups]
    test = welch_one_way(samples)
    method = "Welch's one-way analysis" + comparing.suffix
    if np.isnan(test.statistic):
        method = "not computed: every group needs two participants whose scores differ"
    rows = [omnibus_row(phase, "group", test, method)]
    if adjusted is None:
        return rows
    if adjusted.model is None:
        return [
            *rows,
            OMNIBUS.row(phase=phase, term="group", method=how("", adjusted.reason)["method"]),
        ]
    model, method = adjusted.model, comparing.ancova_method
    rows.append(omnibus_row(phase, "group", model.group_test, method))
    for term in dict.fromkeys(adjusted.terms):
        test = covariate_test(model, [name == term for name in adjusted.terms])
        rows.append(omnibus_row(phase, term, test, method))
    if model.slopes_test is not None:
        term = ":".join(["group", *dict.fromkeys(adjusted.terms)])
        parallel = method + ", test of parallel slopes"
        rows.append(omnibus_row(phase, term, model.slopes_test, parallel))
    return rows


def covariate_test(model: Ancova, own: Sequence[bool]) -> FTest:
    """F test of some columns of covariates after everything else."""
    places: list[int] = np.flatnonzero(own).tolist()
    if len(places) == 1:
        return model.covariate_tests[places[0]]
    rows = np.eye(model.fit.design.shape[1])[[model.groups + place for place in places]]
    return joint_test(model.fit, rows)


def omnibus_row(phase: Hashable, term: str, test: FTest | None, method: str) -> Row:
    """Row of an F test; without numbers where there is none."""
    if test is None:
        return OMNIBUS.row(phase=phase, term=term, method=method)
    return OMNIBUS.row(
        phase=phase,
        term=term,
        df1=test.df1,
        df2=test.df2,
        statistic=test.statistic,
        p=test.p,
        partial_eta2=test.partial_eta2,
        method=method,
    )


def omnibus_frame(rows: list[Row]) -> pd.DataFrame:
    """Rows of omnibus tests as a frame."""
    frame = OMNIBUS.frame(rows)
    # Welch's test has whole df of its groups; where it stands alone they stay whole.
    return frame.assign(df1=[row["df1"] for row in rows]) if rows else frame
