"""A log of sessions answers for practice without trials, in checks and in the report."""

from dataclasses import replace

import pytest
from field_days import fill_sessions, fill_tests, programme_folder

import motorlearn as ml
from motorlearn.plan import compare_with_plan
from motorlearn.report.sections.conduct import session_blocks


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = programme_folder(tmp_path_factory.mktemp("log") / "ring", size=6)
    fill_tests(made, tests=3)
    fill_sessions(made, sessions=5)
    return made


def test_practice_without_trials_is_a_note_where_sessions_were_noted(folder):
    study = ml.read_study(folder)
    doubts = study.problems[study.problems["severity"] != "note"]
    assert set(doubts["value"]) == {"retention"}  # to come
    note = study.problems[study.problems["value"] == "acquisition"].iloc[0]
    assert note["severity"] == "note" and "log of sessions" in note["advice"]


def test_sessions_missed_are_set_against_the_plan(folder):
    study = ml.read_study(folder)
    log = study.sessions.assign(present=1.0)
    log.loc[log["participant"].isin(["P02", "P05"]) & (log["session"] == 3), "present"] = 0
    rows = compare_with_plan(replace(study, sessions=log)).table.set_index("topic")
    missed = rows.loc["sessions missed"]
    assert (missed["planned"], missed["actual"]) == ("5 sessions held", "4 attended")
    assert missed["participants"] == "P02, P05"
    assert rows.loc["sessions not noted", "actual"] == "5 noted"
    assert "practice not recorded" not in rows.index


def test_the_report_tells_attendance_pain_and_fatigue(folder):
    study = ml.read_study(folder)
    log = study.sessions.assign(present=1.0, pain_before=0.0, pain_after=0.0, fatigue_after=4.0)
    log.loc[(log["participant"] == "P03") & (log["session"] == 2), "pain_after"] = 6
    said, table = session_blocks(replace(study, sessions=log))
    assert "at 5.0 on average (5 to 5)" in said.text
    assert "told of by 1 participant at 1 session, 6 of 10 at worst" in said.text
    second = table.rows.iloc[1]
    assert (second["present"], second["pain"], second["worst"], second["fatigue"]) == (
        "6 of 6", 1, 6, 4,
    )  # fmt: skip
    assert not list(session_blocks(replace(study, sessions=None)))
