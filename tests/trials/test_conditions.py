"""A plan in which people meet every condition: the check takes it as it is, and names gaps."""

import pandas as pd
import pytest

import motorlearn as ml

PLAN = """
[study]
title = "Ring push"
[[groups]]
name = "blocked"
[[groups]]
name = "random"
[[tests]]
phase = "retention"
trials = 2
[[outcomes]]
name = "radial_error"
unit = "cm"
better = "lower"
[primary]
outcome = "radial_error"
groups = ["random", "blocked"]

"""
WITHIN = '[within]\nby = "period"\n'


def table():
    rows = [
        (
            f"P{person}",
            condition,
            1 + (place + person) % 2,
            "retention",
            trial,
            20.0 + person + trial,
        )
        for person in range(1, 7)
        for place, condition in enumerate(("blocked", "random"))
        for trial in (1, 2)
    ]
    names = ["participant", "group", "period", "phase", "trial", "radial_error"]
    return pd.DataFrame(rows, columns=names)


def read(folder, rows, plan=PLAN + WITHIN):

    (folder / "study.toml").write_text(plan, encoding="utf-8")
    rows.to_csv(folder / "trials.csv", index=False)
    return ml.read_study(folder)


def rules(study):
    found = study.problems
    return set(found["rule"][found["severity"].isin(["error", "doubt"])])


def test_a_person_in_two_groups_is_an_error_unless_the_plan_says_so(tmp_path):
    assert "participant in two groups" in rules(read(tmp_path, table(), PLAN))
    assert rules(read(tmp_path, table())) & {
        "participant in two groups", "more trials than planned", "participant without a condition",
    } == set()  # fmt: skip


def test_a_column_called_condition_is_the_group_and_the_group_the_sequence(tmp_path):
    rows = table().rename(columns={"group": "condition"}).assign(group="first")
    found = read(tmp_path, rows)
    assert set(found.trials.table["group"]) == {"blocked", "random"}
    assert set(found.trials.table["sequence"]) == {"first"}
    answer = ml.analyse_study(found)
    assert answer.primary[["group", "reference", "n_group"]].values.tolist() == [
        ["random", "blocked", 6]
    ]


GAPS = {
    "one condition only": (
        lambda t: t[(t["participant"] != "P2") | (t["group"] == "random")],
        "participant without a condition",
        "P2: no trial under blocked",
    ),
    "one condition in two periods": (
        lambda t: t.assign(period=t["period"].where(t.index != 0, 3 - t["period"])),
        "condition in two periods",
        "P1 in blocked",
    ),
    "no period": (lambda t: t.drop(columns="period"), "no column of the period", ""),
    "no condition": (lambda t: t.drop(columns="group"), "no column of the condition", ""),
}


@pytest.mark.parametrize("case", GAPS)
def test_gaps_are_one_problem_each(tmp_path, case):
    spoil, rule, value = GAPS[case]
    found = read(tmp_path, spoil(table())).problems
    row = found[found["rule"] == rule]
    assert len(row) == 1
    assert row["value"].fillna("").item() == value


CLASSES = PLAN + '[allocation]\nunit = "class"\nmethod = "cluster"\n'


def classes():
    rows = table()
    rows = rows[(rows["group"] == "random") == (rows["participant"] > "P3")]
    return rows.assign(**{"class": "c" + rows["participant"].str[1:]})


@pytest.mark.parametrize(
    ("spoil", "rule"),
    [
        (lambda t: t.drop(columns="class"), "no column of what was allocated"),
        (lambda t: t.assign(**{"class": t["class"].replace("c4", "c1")}), "class in two groups"),
        (
            lambda t: t.assign(**{"class": t["class"].where(t.index != t.index[0], "c2")}),
            "participant in more than one class",
        ),
    ],
)
def test_classes_that_do_not_fit_the_plan_are_named(tmp_path, spoil, rule):
    assert rule not in rules(read(tmp_path, classes(), CLASSES))
    assert rule in rules(read(tmp_path, spoil(classes()), CLASSES))
