"""What a rule must not catch, and what it must: rows of nobody, flags, voids, groups not told."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.trials.checking.balance import baseline_differences
from motorlearn.trials.checking.people import check_people, check_same_people
from motorlearn.trials.checking.rules import duplicate_trials, impossible_values, void_trials
from motorlearn.trials.counted import set_aside_void
from motorlearn.trials.reading.sheet import Sheet


def sheet(**columns):
    table = pd.DataFrame(columns)
    return Sheet(table, np.arange(len(table)) + 2, file="trials.csv")


def test_a_flag_is_0_or_1_and_a_count_is_whole():
    found = impossible_values(sheet(hit=[0.0, 1.0, 0.5], attempts=[1.0, 2.5, np.nan]))
    assert found[["column", "row"]].values.tolist() == [["attempts", 3], ["hit", 4]]


def test_rows_of_nobody_are_no_duplicates_of_each_other():
    rows = sheet(participant=["a", "a", None, None], trial=[1, 1, 1, 1], time=[2.0, 3.0, 4.0, 5.0])
    assert duplicate_trials(rows)["row"].tolist() == [3]


def test_rows_that_the_plan_excluded_may_have_outcomes():
    rows = sheet(participant=["a", "b"], void=["too slow", "slipped"], time=[9.0, 2.0])
    assert void_trials(rows)["row"].tolist() == [2, 3]
    assert void_trials(rows, ("too slow",))["row"].tolist() == [3]


def test_a_difference_of_a_quarter_is_not_yet_looked_at():
    start = np.array([-1.0, 0.0, 1.0])
    people = pd.DataFrame({"group": list("aaabbb"), "age": [*start, *(start - 0.25)]})
    found = baseline_differences(people, ["age"])
    assert found["difference"].tolist() == [0.25] and not found["look"].any()
    people["age"] = [*start, *(start - 0.26)]
    assert baseline_differences(people, ["age"])["look"].all()


def test_void_rows_of_a_table_without_people_are_listed():
    rows = pd.DataFrame({"time": [2.0, 3.0, 4.0], "void": ["", "slipped", "slipped"]})
    counted, left_out = set_aside_void(rows, participant="participant")
    assert counted["time"].tolist() == [2.0]
    assert left_out.values.tolist() == [["", "", "void: slipped", 2]]


def test_a_void_trial_with_an_outcome_is_left_out_by_its_reason():
    rows = pd.DataFrame({"participant": ["a", "a"], "time": [2.0, 3.0], "void": [None, "slipped"]})
    found = ml.trials.left_out(rows.assign(group="x"), "time")
    assert found.values.tolist() == [["a", "x", "void: slipped", 1]]


def test_a_trial_that_names_no_group_contradicts_nobody():
    people = sheet(participant=["a", "b"], group=["x", "y"])
    trials = sheet(participant=["a", "b"], group=["y", None], trial=[1, 1])
    found = check_same_people(trials, people)
    assert found[["rule", "value"]].values.tolist() == [
        ["participant in two groups", "a in y, listed in x"]
    ]


@pytest.mark.parametrize(("within", "rules"), [(False, ["group not in the plan"]), (True, [])])
def test_groups_of_the_list_are_those_of_the_plan_unless_people_meet_every_condition(within, rules):
    content = {
        "study": {"title": "Ring push"},
        "groups": [{"name": "blocked"}, {"name": "random"}],
        "tests": [{"phase": "retention", "trials": 20, "interval_days": 7}],
        "outcomes": [{"name": "time", "better": "lower"}],
    }
    if within:
        content["within"] = {"by": "period"}
    design = ml.design.design_from_mapping(content)
    people = sheet(participant=["a", "b"], group=["blocked", "left first"])
    assert check_people(people, design)["rule"].tolist() == rules
