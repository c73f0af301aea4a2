"""Looking at data before an analysis: units, outliers, orders, balance, attrition."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.exceptions import ColumnError
from motorlearn.trials import attrition, baseline_differences, missing_table, order_audit, outliers
from motorlearn.trials.checking.orders import orders_as_planned
from motorlearn.trials.checking.suspicions import clocks_run_forward, floor_and_ceiling, mixed_units
from motorlearn.trials.reading.sheet import Sheet


def sheet_of(table):
    return Sheet(table, np.arange(2, len(table) + 2), "t.csv")


def test_a_session_in_metres_is_asked_about_and_not_converted():
    rng = np.random.default_rng(8)
    table = pd.DataFrame(
        {
            "participant": np.repeat(["p1", "p2", "p3", "p4", "p5"], 20),
            "session": np.tile(np.repeat([1, 2], 10), 5),
            "x": rng.normal(0, 15, 100),
            "speed": rng.normal(7, 0.3, 100),
        }
    )
    assert mixed_units(sheet_of(table)).empty
    table.loc[30:39, "x"] /= 100
    table.loc[50:59, "speed"] *= 3.6
    problems = mixed_units(sheet_of(table))
    assert problems[["row", "column"]].values.tolist() == [[32, "x"], [52, "speed"]]
    assert "m and cm" in problems["advice"][0]
    assert "km/h and m/s" in problems["advice"][1]


def test_outliers_by_hand():
    """Median 5, deviations 4 3 2 1 0 1 2 3 95: MAD 2, so the limits are 5 ± 3 · 1.4826 · 2."""
    values = [1.0, 2, 3, 4, 5, 6, 7, 8, 100]
    table = pd.DataFrame({"participant": "p1", "phase": "pretest", "time": values})
    found = outliers(table, "time")
    assert found.index.tolist() == [8]
    assert found[["median", "low", "high"]].values.tolist()[0] == pytest.approx(
        [5, 5 - 6 * 1.482602218505602, 5 + 6 * 1.482602218505602], rel=1e-12
    )


def test_outliers_need_spread_and_five_values_and_a_column():
    table = pd.DataFrame({"participant": "p1", "phase": "a", "time": [1.0, 1, 1, 1, 1, 9]})
    assert outliers(table, "time").empty
    assert outliers(table.head(4), "time").empty
    with pytest.raises(ColumnError, match="speed"):
        outliers(table, "speed")


def test_outliers_do_not_depend_on_shift_scale_or_row_order():
    rng = np.random.default_rng(3)
    table = pd.DataFrame(
        {"participant": rng.integers(0, 5, 300), "phase": "a", "time": rng.standard_cauchy(300)}
    )
    found = set(outliers(table, "time").index)
    assert found
    assert set(outliers(table.assign(time=7 + 3 * table["time"]), "time").index) == found
    assert set(outliers(table.sample(frac=1, random_state=1), "time").index) == found


def practice(orders):
    rows = [
        (name, group, "acquisition", 1, number, task)
        for name, group, tasks in orders
        for number, task in enumerate(tasks, 1)
    ]
    names = ["participant", "group", "phase", "session", "trial", "task"]
    return pd.DataFrame(rows, columns=names)


def test_order_audit_counts_switches_and_runs():
    table = practice([("p1", "blocked", "aaabbbccc"), ("p2", "random", "abcacbbac")])
    audit = order_audit(table.sample(frac=1, random_state=2)).set_index("participant")
    assert audit.loc["p1", ["switches", "longest", "periodic"]].tolist() == [2, 3, False]
    assert audit.loc["p1", "switch_rate"] == 2 / 8
    assert audit.loc["p2", ["switches", "longest"]].tolist() == [7, 2]


def test_practice_in_another_order_than_planned_is_found():
    base = {
        "study": {"title": "x"},
        "tasks": [{"name": name} for name in "abc"],
        "groups": [{"name": name, "schedule": name} for name in ("blocked", "serial", "random")],
        "practice": [{"session": 1, "day": 0, "trials_per_block": 9}],
        "tests": [{"phase": "pretest", "trials": 3}],
        "outcomes": [{"name": "hit", "better": "higher"}],
    }
    design = ml.design.design_from_mapping(base)
    good = [
        ("p1", "blocked", "aaabbbccc"),
        ("p2", "serial", "abcabcabc"),
        ("p3", "random", "abcacbbac"),
    ]
    assert orders_as_planned(sheet_of(practice(good)), design).empty
    bad = [
        ("p1", "blocked", "abcacbbac"),
        ("p2", "serial", "aaabbbccc"),
        ("p3", "random", "abcabcabc"),
    ]
    problems = orders_as_planned(sheet_of(practice(bad)), design)
    assert problems["row"].tolist() == [2, 11, 20]


def test_baseline_differences_by_hand():
    people = pd.DataFrame(
        {
            "group": ["a"] * 4 + ["b"] * 4,
            "age": [20, 22, 24, 26, 21, 23, 25, np.nan],
            "hand": ["r", "r", "r", "l", "r", "l", "l", "l"],
        }
    )
    table = baseline_differences(people, ["age", "hand"]).set_index(["variable", "level"])
    spread = np.sqrt((20 / 3 + 4) / 2)
    assert table.loc[("age", ""), "difference"] == pytest.approx((23 - 23) / spread)
    share = (0.75 - 0.25) / np.sqrt(0.75 * 0.25)
    assert table.loc[("hand", "r"), "difference"] == pytest.approx(share)
    assert table["look"].tolist() == [False, True, True]
    assert not [name for name in table.columns if name.startswith("p")]


def test_baseline_differences_of_three_groups_and_of_no_spread():
    people = pd.DataFrame({"group": list("aabbcc"), "age": [1, 1, 1, 1, 2, 2], "arm": 1})
    table = baseline_differences(people, ["age"])
    assert len(table) == 3
    assert table["difference"].tolist()[0] == 0
    assert table["difference"].isna().tolist() == [False, True, True]
    with pytest.raises(ColumnError, match="weight"):
        baseline_differences(people, ["weight"])


def test_attrition_by_group_and_by_earlier_score():
    table = pd.DataFrame(
        {
            "participant": ["p1", "p2", "p3", "p4", "p5", "p1", "p2", "p5"],
            "group": ["a", "a", "a", "a", "b", "a", "a", "b"],
            "phase": ["pretest"] * 5 + ["retention"] * 3,
            "time": [10.0, 12, 18, 20, 9, 8, 9, 7],
        }
    )
    people = pd.DataFrame({"participant": [f"p{i}" for i in range(1, 7)], "group": list("aaaabb")})
    result = attrition(table, "retention", outcome="time", people=people).set_index("group")
    assert result.loc["a", ["allocated", "tested", "lost"]].tolist() == [4, 2, 2]
    assert result.loc["b", ["allocated", "tested", "lost"]].tolist() == [2, 1, 1]
    assert result.loc["a", ["earlier_tested", "earlier_lost"]].tolist() == [11, 19]
    assert result.loc["a", "difference"] == pytest.approx(8 / np.sqrt(2))
    assert np.isnan(result.loc["b", "difference"])


def test_missing_is_counted_per_cell(study_folder):
    study_folder.trials.loc[:2, "x"] = np.nan
    table = missing_table(study_folder.trials, "x")
    first = table.iloc[0]
    assert first[["group", "phase", "n", "missing"]].tolist() == ["blocked", "pretest", 4, 2]
    assert table["missing"].sum() == 3


def test_people_who_always_or_never_hit_are_noted_trial_by_trial_and_aggregated():
    table = pd.DataFrame(
        {
            "participant": np.repeat(["p1", "p2", "p3", "p4"], 10),
            "phase": "pretest",
            "hit": [0.0] * 10 + [1.0] * 10 + [0, 1] * 5 + [1.0] * 9 + [np.nan],
        }
    )
    problems = floor_and_ceiling(sheet_of(table))
    assert problems["value"].tolist() == ["p1, pretest: 0 of 10", "p2, pretest: 10 of 10"]
    sums = table.groupby(["participant", "phase"], as_index=False).agg(
        hits=("hit", "sum"), attempts=("hit", "count")
    )
    assert floor_and_ceiling(sheet_of(sums))["value"].tolist() == problems["value"].tolist()


def test_a_clock_that_runs_backwards_is_asked_about():
    late = ("23:58", "23:59", "00:01", "00:02")
    table = pd.DataFrame(
        {
            "participant": ["p1"] * 4 + ["p2"] * 2,
            "phase": "acquisition",
            "trial": [1, 2, 3, 4, 1, 2],
            "date": [f"2026-03-02 {h}" for h in (*late, "10:00", "10:00")],
        }
    )
    assert clocks_run_forward(sheet_of(table))["row"].tolist() == [4]
    assert clocks_run_forward(sheet_of(table.sample(frac=1, random_state=4)))["value"].tolist() == [
        "2026-03-02 00:01"
    ]
    assert clocks_run_forward(sheet_of(table.assign(date="2026-03-02"))).empty


def test_a_clock_in_a_column_of_its_own_is_read_with_its_date():
    table = pd.DataFrame(
        {
            "participant": "p1",
            "trial": [1, 2, 3, 4],
            "date": ["2026-03-02", "2026-03-02", "2026-03-03", "2026-03-03"],
            "clock": ["23:58:10", "23:59:40", "00:01:05", "00:00:59"],
        }
    )
    found = clocks_run_forward(sheet_of(table))
    assert found["row"].tolist() == [5] and found["column"].tolist() == ["clock"]
    alone = clocks_run_forward(sheet_of(table.drop(columns="date")))
    assert alone["row"].tolist() == [4, 5]
    assert clocks_run_forward(sheet_of(table.assign(clock=["9:00", "9:01", "9:02", None]))).empty
