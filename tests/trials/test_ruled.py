"""Exclusions and replacements of a plan: applied, counted, logged, undone; one sentence each."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.design import design_from_mapping
from motorlearn.exceptions import DesignError
from motorlearn.trials import as_recorded, planned_rows

PLAN = """
[study]
title = "Ring push"
[[groups]]
name = "blocked"
[[groups]]
name = "random"
[[practice]]
session = 1
day = 0
blocks = 2
trials_per_block = 5
[[tests]]
phase = "pretest"
trials = 4
[[tests]]
phase = "retention"
trials = 4
[[outcomes]]
name = "radial_error"
unit = "cm"
better = "lower"
[primary]
outcome = "radial_error"
groups = ["random", "blocked"]
[units]
length = "cm"
"""
RULES = """
[[exclusions]]
rule = "P3 was told the target"
participants = ["P3"]
phases = ["tests"]
reason = "was told the target"
[[exclusions]]
rule = "free practice"
phases = ["acquisition"]
column = "block"
above = 2
reason = "optional free practice"
[[replacements]]
column = "y"
equals = 90
value = 132
reason = "default of the device"
[[replacements]]
column = "y"
phases = ["tests"]
missing = true
take = "largest"
reason = "left the mat"
[[replacements]]
column = "x"
phases = ["tests"]
missing = true
value = 33
sign = "mean"
reason = "left the mat"
"""


def trials():
    rng = np.random.default_rng(1)
    parts = [("pretest", 1, 4), *(("acquisition", b, 5) for b in (1, 2, 3)), ("retention", 1, 4)]
    frames = []
    for person in range(1, 9):
        for phase, block, count in parts:
            frames.append(
                pd.DataFrame(
                    {
                        "participant": f"P{person}",
                        "group": ("blocked", "random")[person % 2],
                        "phase": phase,
                        "block": block,
                        "trial": np.arange(1, count + 1),
                        "x": -np.abs(rng.normal(5, 2, count)).round(2),
                        "y": rng.normal(0, 20, count).round(2),
                    }
                )
            )
    table = pd.concat(frames, ignore_index=True)
    at = table.index[(table["participant"] == "P1") & (table["phase"] == "retention")]
    table.loc[at[0], "y"] = 90
    table.loc[at[1], ["x", "y"]] = np.nan
    return table, at


def read(tmp_path, rules=RULES, table=None):
    (tmp_path / "study.toml").write_text(PLAN + rules)
    (trials()[0] if table is None else table).to_csv(tmp_path / "trials.csv", index=False)
    return ml.read_study(tmp_path)


def rules_of(study):
    return study.problems[study.problems["severity"] != "note"]["rule"].tolist()


def test_rules_by_hand(tmp_path):
    study, (_, at) = read(tmp_path), trials()
    table = study.trials.table
    assert table.loc[at[0], "y"] == 132
    assert table.loc[at[1], ["x", "y"]].tolist() == [-33.0, 132.0]
    left = study.trials.excluded.set_index("rule")[["people", "rows"]]
    assert left.loc["P3 was told the target"].tolist() == [1, 8]
    assert left.loc["free practice"].tolist() == [8, 40]
    assert study.trials.replaced["before"].fillna(-1).tolist() == [90, -1, -1]
    changes = study.trials.changes
    logged = changes[changes["rule"].str.startswith("replaced as the plan says")]
    assert logged[["row", "column", "before", "after"]].values.tolist() == [
        [at[0] + 2, "y", "90", "132"],
        [at[1] + 2, "y", "", "132"],
        [at[1] + 2, "x", "", "-33"],
    ]


def test_a_person_out_of_the_tests_stays_in_practice(tmp_path):
    found = ml.analyse_study(read(tmp_path))
    means = found.comparisons["radial_error"].means.set_index(["phase", "group"])["n"]
    assert means["retention", "random"] == 3 and means["acquisition", "random"] == 4
    assert found.primary.iloc[0][["n_group", "n_reference"]].tolist() == [3, 4]


def test_nobody_asks_thirty_times(tmp_path):
    study = read(tmp_path)
    assert [rule for rule in rules_of(study) if "interval" not in rule] == []
    notes = study.problems[study.problems["severity"] == "note"].groupby("rule").size()
    assert notes.to_dict() == {"excluded as the plan says": 2, "replaced as the plan says": 3}
    assert len(planned_rows(study)) == len(study.trials.table) - 40


def test_undone_it_is_the_study_without_the_rules(tmp_path):
    study = read(tmp_path)
    plain, _ = trials()
    undone = as_recorded(study).trials
    pd.testing.assert_frame_equal(undone.table[["x", "y"]], plain[["x", "y"]])
    assert undone.replaced.empty
    one = as_recorded(study, study.trials.replaced["rule"].iloc[0]).trials
    assert one.table.loc[trials()[1][0], "y"] == 90 and len(one.replaced) == 2


def test_the_sensitivity_has_the_answer_without(tmp_path):
    study = read(tmp_path)
    table = ml.analyse_study(study).sensitivity.table.set_index("variant")
    other = ml.analyse_study(as_recorded(study)).primary.iloc[0]
    undone = table.loc["without the plan's replacements"]
    assert undone["estimate"] == pytest.approx(other["estimate"], rel=1e-12)
    assert undone["p"] == pytest.approx(other["p"], rel=1e-9)
    assert sum(name.startswith("without the replacement of") for name in table.index) == 3


def test_radial_errors_follow(tmp_path):
    table, at = trials()
    table["radial_error"] = np.hypot(table["x"], table["y"]).round(2)
    study = read(tmp_path, table=table)
    read_back = study.trials.table.loc[at[1]]
    assert read_back["radial_error"] == pytest.approx(np.hypot(33, 132))


def exclusion(**more):
    entry = {"rule": "out", "reason": "fell ill"} | more
    return (
        "[[exclusions]]\n"
        + "\n".join(
            f"{key} = {list(value) if isinstance(value, tuple) else value!r}"
            for key, value in entry.items()
        ).replace("True", "true")
        + "\n"
    )


def test_an_exclusion_that_names_nobody(tmp_path):
    study = read(tmp_path, exclusion(participants=("P99",)))
    said = study.problems[study.problems["rule"] == "exclusion names nobody"]
    assert said["value"].tolist() == ["out: P99"] and said["severity"].tolist() == ["error"]
    assert len(study.trials.table) == len(trials()[0])


def test_rules_that_touch_nothing(tmp_path):
    more = '[[replacements]]\ncolumn = "y"\nequals = 77.7\nvalue = 1\nreason = "default"\n'
    study = read(tmp_path, exclusion(column="y", above=9999.0) + more)
    assert [r for r in rules_of(study) if "touches" in r] == [
        "exclusion touches nothing",
        "replacement touches nothing",
    ]


def test_the_worst_of_the_others_is_taken(tmp_path):
    """Beyond the mat (above 60) a trial gets the person's worst within it, by hand."""
    table = trials()[0].drop(columns=["x", "y"])
    mine = (table["participant"] == "P2") & (table["phase"] == "retention")
    table["radial_error"] = 10.5
    table.loc[mine, "radial_error"] = [20.5, 300.5, 41.25, 11.5]
    rule = '[[replacements]]\ncolumn = "radial_error"\nabove = 60\ntake = "worst"\nreason = "mat"\n'
    read_back = read(tmp_path, rule, table).trials.table
    assert read_back.loc[mine, "radial_error"].tolist() == [20.5, 41.25, 41.25, 11.5]


def test_nothing_to_take(tmp_path):
    table, at = trials()
    table.loc[at, "y"] = np.nan
    study = read(tmp_path, table=table)
    assert "nothing to replace by" in rules_of(study)
    assert study.trials.table.loc[at, "y"].isna().all()


@pytest.mark.parametrize(
    ("rules", "said"),
    [
        (exclusion(participants=("P1",), reason=""), "has no reason"),
        (exclusion(column="y"), "together with missing"),
        (exclusion(phases=("retenton",)), "names what the plan lacks: retenton"),
        ('[[replacements]]\ncolumn = "y"\nmissing = true\nvalue = 1\n', "has no reason"),
        ('[[replacements]]\ncolumn = "y"\nvalue = 1\nreason = "r"\n', "which cells"),
        ('[[replacements]]\ncolumn = "y"\nmissing = true\nreason = "r"\n', "either value"),
        (
            '[[replacements]]\ncolumn = "y"\nmissing = true\ntake = "worst"\nreason = "r"\n',
            "no outcome",
        ),
    ],
)
def test_rules_that_are_not_whole_are_refused(tmp_path, rules, said):
    with pytest.raises(DesignError, match=said):
        read(tmp_path, rules)


def test_a_rule_for_a_column_that_is_not_there(tmp_path):
    with pytest.raises(ml.exceptions.ColumnError, match="column the trials do not have"):
        read(tmp_path, exclusion(column="height", above=1.0))


def test_numbers_of_participants_are_read():
    content = {
        "study": {"title": "Ring push"},
        "groups": [{"name": "all"}],
        "tests": [{"phase": "retention", "trials": 2}],
        "outcomes": [{"name": "time", "better": "lower"}],
        "exclusions": [{"rule": "out", "participants": [22], "reason": "fell ill"}],
    }
    assert design_from_mapping(content).exclusions[0].participants == ("22",)
