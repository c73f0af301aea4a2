"""Plan and conduct in the report: what was done otherwise, by whom."""

from types import SimpleNamespace

import pandas as pd

from motorlearn.digits import decimal_sign
from motorlearn.plan import compare_with_plan
from motorlearn.report.sections.closing import _deviations
from motorlearn.report.sections.conduct import session_blocks
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


def test_each_session_has_its_date_who_was_there_and_what_was_told():
    log = pd.DataFrame(
        {
            "participant": ["P01", "P02", "P03"] * 2,
            "session": [1, 1, 1, 2, 2, 2],
            "date": [None, "2026-03-02", "2026-03-02", "", None, "2026-03-09"],
            "present": [1, 1, 1, 0, 1, None],
            "pain_before": [0, 0, 2, None, None, None],
            "pain_after": [1, 0, 5, None, None, None],
            "fatigue_after": [4, 5, None, None, 6, None],
        }
    )
    text, table = session_blocks(SimpleNamespace(sessions=log))
    assert table.rows.astype(object).where(table.rows.notna(), None).to_numpy().tolist() == [
        [1, "2026-03-02", "3 of 3", 2, 5, 4.5],
        [2, "2026-03-09", "1 of 3", None, None, 6.0],
    ]
    assert text.text == (
        "Of 2 practice sessions noted, participants were at 1.3 on average (1 to 2). Pain was told "
        "of by 2 participants at 1 session, 5 of 10 at worst. {tab:sessions} has each session."
    )


def test_a_log_without_dates_and_pain_says_no_more_than_it_holds():
    log = pd.DataFrame({"participant": ["P01", "P02"], "session": [1, 1]})
    text, table = session_blocks(SimpleNamespace(sessions=log))
    (row,) = table.rows.to_dict("records")
    assert (row["date"], row["present"], row["pain"]) == ("", "2 of 2", None)
    assert text.text == (
        "Of 1 practice session noted, participants were at 1.0 on average (1 to 1). Pain was not "
        "noted. {tab:sessions} has each session."
    )
