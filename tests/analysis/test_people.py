"""Who is there at each part: practice without sessions, practice without rows, counted hits."""

from types import SimpleNamespace

import pandas as pd
import pytest

from motorlearn.analysis.people import (
    attrition,
    participant_flow,
    presence,
    reasons_of,
    roster,
)
from motorlearn.analysis.scores import scores_of
from motorlearn.design import design_from_mapping

PLAN = {
    "study": {"title": "Ring push"},
    "groups": [{"name": "programme", "schedule": "constant"}],
    "practice": [{"session": 1, "day": 0, "blocks": 1, "trials_per_block": 4}],
    "tests": [
        {"phase": "pretest", "trials": 2},
        {"phase": "retention", "trials": 2, "interval_days": 7},
    ],
    "outcomes": [{"name": "hit", "better": "higher", "low": 0, "high": 1}],
}
DESIGN = design_from_mapping(PLAN)


def parts(phases):
    rows = [(person, phase, phase, 1.0) for person in ("P01", "P02") for phase in phases]
    table = pd.DataFrame(rows, columns=["participant", "phase", "stage", "hit"])
    people = pd.DataFrame({"participant": ["P01", "P02"], "group": "programme"})
    found = presence(table, people, DESIGN)
    return (
        found.groupby("stage", sort=False)["trials"].apply(lambda n: int((n > 0).sum())).to_dict()
    )


def test_practice_without_a_session_column_stands_once_with_everybody():
    assert parts(["pretest", "acquisition", "retention"]) == {
        "Pretest": 2,
        "Practice": 2,
        "Delayed retention": 2,
    }


def test_nobody_is_absent_from_practice_that_was_not_recorded():
    assert "practice" not in " ".join(parts(["pretest", "retention"])).lower()


def test_a_hit_of_counted_rows_is_the_share_of_hits():
    table = pd.DataFrame({"participant": ["P01", "P02"], "hits": [5, 9], "attempts": [20, 18]})
    data = scores_of(table, DESIGN.outcomes[0], DESIGN)
    assert data.cells(["participant"])["score"].tolist() == [0.25, 0.5]
    assert data.outcome.label == "hit rate"


def test_a_share_counts_usable_trials_against_the_plan_and_is_never_above_one():
    # P01: three hits where two were planned; P02: one void, one without hit but with a time; P03:
    # nothing usable.
    rows = [
        ("P01", 1.0, 2.0, ""), ("P01", 1.0, 2.0, ""), ("P01", 0.0, None, ""),
        ("P02", 1.0, 2.0, "slipped"), ("P02", None, 2.0, ""),
        ("P03", None, None, ""), ("P03", 1.0, 2.0, "slipped"),
    ]  # fmt: skip
    table = pd.DataFrame(rows, columns=["participant", "hit", "time", "void"])
    table = table.assign(phase="pretest", stage="pretest")
    people = pd.DataFrame({"participant": ["P01", "P02", "P03"], "group": "programme"})
    found = presence(table, people, DESIGN)
    found = found[found["stage"] == "Pretest"].set_index("participant")
    assert found["trials"].tolist() == [3, 1, 0]
    assert found["share"].tolist() == pytest.approx([1.0, 0.5, 0.0])


def test_a_reason_is_told_where_somebody_is_absent_for_the_first_time():
    there = {"P01": (4, 4, 4), "P02": (4, 0, 0), "P03": (4, 4, 0)}
    present = pd.DataFrame(
        [
            {"participant": who, "group": "programme", "stage": stage, "trials": n}
            for place, stage in enumerate(("Pretest", "Practice", "Retention"))
            for who, counts in there.items()
            for n in [counts[place]]
        ]
    )
    people = pd.DataFrame(
        {
            "participant": ["P01", "P02", "P03"],
            "status": ["completed", "moved away", "completed"],
            "stopped_because": [None, None, "pain in the shoulder"],
        }
    )
    flow = participant_flow(present, ["programme"], people).set_index("stage")
    assert flow["n"].to_dict() == {"Allocated": 3, "Pretest": 3, "Practice": 2, "Retention": 1}
    assert flow["note"].to_dict() == {
        "Allocated": "",
        "Pretest": "",
        "Practice": "1 absent\n1 moved away",
        "Retention": "2 absent\n1 pain in the shoulder",
    }
    assert reasons_of(people) == {"moved away": 1, "pain in the shoulder": 1}


def test_only_rows_that_were_left_out_are_counted_beside_the_absent():
    present = pd.DataFrame(
        {"participant": ["P01", "P02"], "group": "programme", "stage": "Pretest", "trials": [4, 0]}
    )
    left_out = pd.DataFrame(
        {
            "participant": ["P01", "P02"],
            "group": "programme",
            "reason": ["void: slipped", "no retention"],
            "rows": [3, 0],
        }
    )
    found = attrition(present, left_out, ["programme"])
    assert found[["stage", "reason", "participants"]].values.tolist() == [
        ["Pretest", "no usable trial", 1],
        ["all", "void: slipped", 1],
    ]
    assert found["rows"].iloc[1] == 3


def test_somebody_with_trials_who_is_in_no_list_is_there_all_the_same():
    table = pd.DataFrame({"participant": ["P01", "P02", "P02"], "group": ["a", "b", "b"]})
    listed = pd.DataFrame({"participant": ["P01"], "group": ["a"], "age": [20]})
    known = roster(SimpleNamespace(participants=listed), table)
    assert known[["participant", "group"]].values.tolist() == [["P01", "a"], ["P02", "b"]]
