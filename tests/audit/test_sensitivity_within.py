"""Conditions within people reached in other ways: each is held to arithmetic of its own."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pandas as pd
import pytest
import studies
from scipy import stats

from motorlearn.analysis.study import page_analysis
from motorlearn.audit import sensitivity
from motorlearn.audit.sensitivity.within_people import DRAWN, NO_LOT
from motorlearn.trials import Trials


@pytest.fixture(scope="module")
def found():
    return page_analysis(studies.crossover(), mixed=False)


@pytest.fixture(scope="module")
def rows(found):
    return found.sensitivity.table.set_index("variant")


def by_period(study, phase="retention"):
    table = study.trials.table.query("phase == @phase")
    means = table.groupby(["participant", "period"])["radial_error"].mean().unstack("period")
    first = table[table["period"] == 1].drop_duplicates("participant")
    return means.assign(first=first.set_index("participant")["group"]).dropna()


def test_the_first_row_is_the_primary_answer(found, rows):
    for name in ("estimate", "conf_low", "conf_high", "p"):
        wanted = found.primary[name].iloc[0]
        assert rows.loc["as analysed", name] == pytest.approx(wanted, rel=1e-9)


def test_without_the_baseline_it_is_half_the_difference_between_orders(found, rows):
    """Two orders, the period taken out: a t test of the differences between periods (by hand)."""
    scores = by_period(found.study)
    gap = scores[2] - scores[1]
    one, other = (gap[scores["first"] == name] for name in ("blocked", "random"))
    wanted = stats.ttest_ind(one, other)
    row = rows.loc["not adjusted for the baseline"]
    assert row["estimate"] == pytest.approx((one.mean() - other.mean()) / 2)
    assert row["p"] == pytest.approx(wanted.pvalue)


def test_the_period_left_in_is_the_paired_t_test(found):
    study = found.study
    plain = study.design.primary.model_copy(update={"baseline": None})
    design = study.design.model_copy(update={"primary": plain})
    row = page_analysis(replace(study, design=design), mixed=False).sensitivity.table.set_index(
        "variant"
    )
    scores = by_period(study)
    sign = np.where(scores["first"] == "blocked", 1, -1)
    assert row.loc["period not taken out", "p"] == pytest.approx(
        stats.ttest_1samp(sign * (scores[2] - scores[1]), 0).pvalue
    )
    assert "not adjusted for the baseline" not in row.index


def test_orders_drawn_again_give_the_p_of_every_way_of_drawing_them():
    """Eight people, four in each order: all 70 ways by hand, Welch's t."""
    study = studies.crossover()
    kept = study.trials.table["participant"].isin(
        study.trials.table["participant"].drop_duplicates().iloc[[0, 1, 2, 4, 5, 6, 7, 9]]
    )
    few = replace(study, trials=Trials(study.trials.table[kept], units=study.trials.units))
    scores = by_period(few)
    gap = (scores[2] - scores[1]).to_numpy()
    first = np.flatnonzero(scores["first"] == "blocked")

    def t(places):
        inside = np.isin(np.arange(len(gap)), places)
        return abs(stats.ttest_ind(gap[inside], gap[~inside], equal_var=False).statistic)

    every = np.array([t(places) for places in combinations(range(len(gap)), len(first))])
    exact = np.mean(every >= t(first) - 1e-12)
    analysed = page_analysis(few, mixed=False)
    p = analysed.sensitivity.table.set_index("variant").loc[DRAWN, "p"]
    assert p == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / 4999) + 1e-3)


def test_without_each_person_is_the_study_without_them(found):
    table = found.study.trials.table
    person = found.sensitivity.leave_one_out["participant"].iloc[2]
    fewer = Trials(table[table["participant"] != person], units=found.study.trials.units)
    again = page_analysis(replace(found.study, trials=fewer), mixed=False)
    row = found.sensitivity.leave_one_out.set_index("participant").loc[person]
    assert row["p"] == pytest.approx(again.primary["p"].iloc[0], rel=1e-9)


def test_orders_that_were_not_drawn_are_not_drawn_again(found):
    way = found.study.design.allocation.model_copy(update={"method": "none"})
    study = replace(found.study, design=found.study.design.model_copy(update={"allocation": way}))
    row = (
        sensitivity(found.comparisons["radial_error"], study=study, phase="retention")
        .table.set_index("variant")
        .loc[DRAWN]
    )
    assert row["note"] == NO_LOT and pd.isna(row["p"])
