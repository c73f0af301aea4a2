"""One question where there used to be thousands of errors, and questions nobody asked before."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.design import design_from_mapping
from motorlearn.trials.checking.problems import summary
from motorlearn.trials.importing.proposing import propose_recipe

HEADINGS = {
    "sub_id": "participant",
    "sID": "participant",
    "study_id": "participant",
    "group_id": "group",
    "phase_id": "phase",
    "block_id": "block",
    "trial_phase": "trial",
    "mt": "time",
    "yoked_to": "pair",
}


def table(n=12):
    rng = np.random.default_rng(3)
    parts = [
        pd.DataFrame(
            {
                "participant": f"P{person}",
                "phase": "acquisition",
                "trial": np.tile(np.arange(1, 6), 4),
                "time": rng.normal(9, 1, 20).round(3),
            }
        )
        for person in range(n)
    ]
    return pd.concat(parts, ignore_index=True)


def read(tmp_path, rows):
    rows.to_csv(tmp_path / "trials.csv", index=False)
    return ml.read_trials(tmp_path / "trials.csv")


def test_numbering_that_begins_anew_is_one_question(tmp_path):
    found = read(tmp_path, table()).problems
    found = found[found["severity"] != "note"]
    assert found["rule"].tolist() == ["numbering of trials begins anew"]
    assert found["value"].iloc[0].startswith("180 trials in acquisition")


def test_rows_pasted_twice_stay_errors(tmp_path):
    rows = table().assign(block=lambda t: t.groupby("participant").cumcount() // 5 + 1)
    twice = pd.concat([rows, rows.head(5)], ignore_index=True)
    found = read(tmp_path, twice).problems
    assert (found["rule"] == "duplicate trial").sum() == 5
    pasted = pd.concat([table().drop_duplicates(["participant", "trial"])] * 2)
    assert (read(tmp_path, pasted).problems["rule"] == "duplicate trial").sum() == 60


def test_a_default_value_is_asked_about(tmp_path):
    rows = table(40)
    rows.loc[rows.index[::17], "time"] = 12.0
    rows = rows.assign(block=rows.groupby("participant").cumcount() // 5 + 1)
    found = read(tmp_path, rows).problems
    asked = found[found["rule"] == "one value again and again"]
    assert asked["value"].tolist() == [f"exactly 12 in {len(rows.index[::17])} of 800 rows"]


def test_coarse_measurements_are_not_asked_about(tmp_path):
    rows = table(40).assign(time=lambda t: t["time"].round(1))
    rows = rows.assign(block=rows.groupby("participant").cumcount() // 5 + 1)
    assert set(read(tmp_path, rows).problems["severity"]) <= {"note"}


def test_alike_doubts_are_one_question():
    frame = pd.DataFrame({"severity": ["doubt"] * 52, "rule": ["more trials than planned"] * 52})
    assert summary(frame) == "0 errors, 52 doubts (1 question), 0 notes."


@pytest.mark.parametrize(("heading", "name"), HEADINGS.items())
def test_headings_are_proposed(tmp_path, heading, name):
    other = "id" if name != "participant" else "spell"
    file = tmp_path / "foreign.csv"
    file.write_text(f"{other},{heading}\na,1\nb,2\n")
    if name == "participant":
        file.write_text(f"{heading},spell\na,1\nb,2\n")
    assert propose_recipe(file).recipe.columns[heading] == name


def test_a_questionnaire_in_wide_form_is_recognised(tmp_path):
    file = tmp_path / "foreign.csv"
    file.write_text("id,phase,t1_pa\na,pretest,4\nb,pretest,5\n")
    reasons = propose_recipe(file).reasons.set_index("heading")["why"]
    assert reasons["t1_pa"] == "looks like scale pa of a questionnaire at time 1"


def test_good_trials_become_reasons(tmp_path):
    file = tmp_path / "foreign.csv"
    file.write_text("id,phase,time,Good?\na,pretest,4.5,1\na,pretest,,0\n")
    recipe = propose_recipe(file).recipe
    assert recipe.levels["void"] == {"0": "Good is 0", "1": ""}
    trials = ml.trials.import_trials(file, recipe)
    assert ml.trials.counted_rows(trials.table).tolist() == [True, False]


def test_a_mapped_column_called_name_is_kept(tmp_path):
    file = tmp_path / "trials.csv"
    file.write_text("id,phase,Name\na,pretest,near\nb,pretest,far\n")
    kept = ml.read_trials(file, columns={"id": "participant", "Name": "label"})
    assert kept.table["label"].tolist() == ["near", "far"]
    assert "Name" not in ml.read_trials(file, columns={"id": "participant"}).table


def test_yoked_pairs_are_checked(tmp_path):
    rows = pd.DataFrame(
        {
            "participant": ["a", "b", "c", "d"],
            "group": ["choice", "yoked", "choice", "yoked"],
            "pair": [1, 1, 2, 3],
            "phase": "retention",
            "trial": 1,
            "time": [2.5, 3.5, 2.7, 3.1],
        }
    )
    rows.to_csv(tmp_path / "trials.csv", index=False)
    plan = """
[study]
title = "Ring push"
[[groups]]
name = "choice"
[[groups]]
name = "yoked"
yoked_to = "choice"
[[tests]]
phase = "retention"
trials = 1
[[outcomes]]
name = "time"
better = "lower"
"""
    (tmp_path / "study.toml").write_text(plan)
    found = ml.read_study(tmp_path).problems
    told = found[found["rule"] == "pair is not whole"]["value"].tolist()
    assert told == ["2: c (choice)", "3: d (yoked)"]
    (tmp_path / "study.toml").write_text(plan.replace('"choice"\n[[tests', '"other"\n[[tests'))
    with pytest.raises(ml.exceptions.DesignError, match="yoked_to of group"):
        ml.read_study(tmp_path)


def test_targets_differ_by_phase_test_and_task():
    content = {
        "study": {"title": "Ring push"},
        "groups": [{"name": "all"}],
        "tasks": [{"name": "lob"}, {"name": "bank"}],
        "tests": [
            {"phase": "transfer", "name": "near", "session": 1, "trials": 2},
            {"phase": "transfer", "name": "far", "session": 2, "trials": 2},
        ],
        "outcomes": [
            {
                "name": "angle",
                "better": "lower",
                "column": "reached",
                "target": 40,
                "targets": {"far": 60, "bank": 50},
                "measure": "total_error",
            }
        ],
    }
    design = design_from_mapping(content)
    rows = pd.DataFrame(
        {
            "phase": "transfer",
            "test": ["near", "near", "far"],
            "task": ["lob", "bank", "bank"],
            "session": [1, 1, 2],
        }
    )
    targets = ml.design.target_of_rows(rows, design.outcomes[0], design)
    assert targets.tolist() == [40, 50, 60]
    content["outcomes"][0]["targets"] = {"fra": 1}
    with pytest.raises(ml.exceptions.DesignError, match="names what the plan lacks: fra"):
        design_from_mapping(content)
