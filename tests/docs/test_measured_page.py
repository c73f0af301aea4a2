"""The page of goals: every row finds its result, and a miss is told as one."""

import csv
import re
import sys
from pathlib import Path

DOCS = Path(__file__).parents[2] / "docs"
sys.path.insert(0, str(DOCS))

import measured  # noqa: E402

ROWS = list(csv.DictReader((DOCS / "goals.csv").open(encoding="utf-8")))
WAITING = "tests/benchmarks/measured.csv"


def test_every_goal_has_a_result():
    for row in ROWS:
        where = f"{row['part']}, {row['aim']}"
        goal = measured.goal(row)
        assert goal.found[0] <= goal.found[1], where
        still_to_run = row["source"].startswith(WAITING) or not row["source"]
        assert measured.stored(row["source"]) or (row["typed"] and still_to_run), where


def test_every_miss_has_its_reason_and_every_reason_a_goal():
    goals = {(row["part"], row["aim"]): measured.goal(row) for row in ROWS}
    assert set(measured.reasons()) <= set(goals)
    for row in ROWS:
        goal = goals[row["part"], row["aim"]]
        if not row["source"].startswith(WAITING):  # a quiet run may still change those
            assert goal.met is not False or goal.why, f"{row['part']}, {row['aim']}"
    assert all(reason["why"] for reason in measured.reasons().values())


def test_the_worst_misses_are_named_first():
    shown = measured.worst([g for row in ROWS if (g := measured.goal(row)).met is False])
    far = [float(re.search(r"([\d.]+) times off", line)[1]) for line in shown]
    assert far == sorted(far, reverse=True)
    assert far[-1] >= 1


def test_one_number_outside_the_aim_is_a_miss():
    def met(low, high, typed):
        row = dict.fromkeys(ROWS[0], "") | {"low": low, "high": high, "typed": typed}
        return measured.goal(row).met

    assert met("", "13", "12.9")
    assert not met("", "13", "12.9 to 13.1")
    assert not met("0.04", "0.065", "0.039 to 0.05")
    assert met("200", "", "200")
    assert met("", "", "5") is None


def test_a_result_is_read_where_it_stands(tmp_path, monkeypatch):
    monkeypatch.setattr(measured, "ROOT", tmp_path)
    (tmp_path / "t.csv").write_text(
        "action,seconds,ratio,studies,rate\n"
        'import motorlearn,0.1,4,10,2.0 %\n"1,000 hits",8,,30,6.0 %\n'
    )
    assert measured.stored("t.csv;seconds;action=1000 hits") == [8]
    assert measured.stored("t.csv;seconds/pandas;action~hits") == [20]
    assert measured.stored("t.csv;1/ratio;action!hits") == [0.25]
    assert measured.stored("t.csv;rate") == [0.02, 0.06]
    assert measured.stored("t.csv;mean studies") == [25]
    assert measured.stored("t.csv;seconds;action=nothing") == []
    assert measured.stored("none.csv;seconds") == []
