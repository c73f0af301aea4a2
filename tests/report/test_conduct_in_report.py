"""Plan and conduct in the report: what was done otherwise, by whom."""

from types import SimpleNamespace

import pandas as pd

from motorlearn.digits import decimal_sign
from motorlearn.plan import compare_with_plan
from motorlearn.report.sections.closing import _deviations
from motorlearn.report.sections.study_tables import deviations_table


def test_conduct_is_set_against_the_plan(shipped):
    with decimal_sign(","):
        conduct = compare_with_plan(shipped).table
        blocks = list(_deviations(SimpleNamespace(study=shipped, departures=conduct)))
    table = next(block for block in blocks if getattr(block, "name", "") == "deviations")
    assert {"no trials", "practice order", "interval"} <= set(table.rows["topic"])
    assert "like random (about 0,78)" in list(table.rows["actual"])
    assert any("{tab:deviations}" in getattr(block, "text", "") for block in blocks)


def test_of_many_people_the_first_are_named():
    people = ", ".join(f"P{i:02d}" for i in range(1, 15))
    row = ("no trials", "retention", "14 people", "0 people", 14, people)
    names = ["topic", "where", "planned", "actual", "people", "participants"]
    table = deviations_table(pd.DataFrame([row], columns=names))
    assert table.title == "Plan and conduct"
    shown = table.rows["participants"].iloc[0]
    assert shown.endswith("P08 and 6 more")
