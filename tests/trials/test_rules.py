"""Every rule finds its fault, at its place, and nothing else; data without fault pass."""

import re

import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.exceptions import ColumnError, DesignError, FileError
from motorlearn.trials.reading.identifiers import near_duplicates


def found(study_folder):
    problems = ml.read_study(study_folder.write()).problems
    return problems[~problems["rule"].isin(["outcome never varies"])]


def test_data_that_keep_every_rule_have_no_problems(study_folder):
    assert ml.read_study(study_folder.write()).problems.empty


def set_cell(row, column, value):
    def edit(trials):
        trials[column] = trials[column].astype(object)
        trials.loc[row - 2, column] = value

    return edit


def set_where(column, value, **where):
    def edit(trials):
        mask = pd.Series(True, index=trials.index)
        for name, wanted in where.items():
            mask &= trials[name] == wanted
        trials.loc[mask, column] = value

    return edit


def renamed(old, new, rows):
    def edit(trials):
        trials.loc[[row - 2 for row in rows], "participant"] = new

    return edit


RETENTION_P02 = {"participant": "p02", "phase": "retention"}

BROKEN = {
    "duplicate trial": (set_cell(5, "trial", 1), [("duplicate trial", 5, "trial", "p01, acq")]),
    "two groups": (
        set_cell(3, "group", "random"),
        [
            ("participant in two groups", 2, "group", "p01 in blocked"),
            ("participant in two groups", 3, "group", "p01 in random"),
        ],
    ),
    "hit contradicts": (
        set_cell(4, "hit", 0),
        [("hit contradicts landing point", 4, "hit", "0 at")],
    ),
    "unknown phase": (
        set_cell(9, "phase", "retentoin"),
        [
            ("phase not in the plan", 9, "phase", "retentoin"),
            ("fewer trials than planned", 8, "participant", "p01, retention: 1 of 2"),
        ],
    ),
    "unknown group": (
        set_where("group", "ranodm", participant="p02"),
        [
            ("group not in the plan", 10, "group", "ranodm"),
            ("participant in two groups", 10, "group", "p02 in ranodm, listed in random"),
        ],
    ),
    "unknown task": (set_cell(2, "task", "lob"), [("task not in the plan", 2, "task", "lob")]),
    "text": (set_cell(2, "x", "three"), [("text among numbers", 2, "x", "three")]),
    "text number": (set_cell(2, "x", "'3.0"), [("number stored as text", 2, "x", "'3.0")]),
    "comma": (set_cell(2, "x", "3,0"), [("other decimal mark", 2, "x", "3,0")]),
    "flag of 2": (
        set_cell(2, "hit", 2),
        [
            ("impossible value", 2, "hit", "2"),
            ("hit contradicts landing point", 2, "hit", "2 at 5"),
        ],
    ),
    "negative distance": (
        set_cell(2, "radial_error", -5),
        [
            ("impossible value", 2, "radial_error", "-5"),
            ("radial error contradicts landing point", 2, "radial_error", "-5 instead of 5"),
        ],
    ),
    "half a block": (set_cell(2, "block", 1.5), [("impossible value", 2, "block", "1.5")]),
    "feedback in a test": (
        set_cell(3, "feedback", 1),
        [("feedback in a test", 3, "feedback", "pretest")],
    ),
    "retention too early": (
        set_where("date", "2026-03-05", **RETENTION_P02),
        [("retention interval outside its window", 16, "date", "p02: 3 days")],
    ),
    "retention before practice": (
        set_where("date", "2026-03-01", **RETENTION_P02),
        [
            ("sessions out of order", 16, "date", "2026-03-01"),
            ("retention interval outside its window", 16, "date", "p02: -1 days"),
        ],
    ),
    "radial error": (
        set_cell(2, "radial_error", 9),
        [("radial error contradicts landing point", 2, "radial_error", "9 instead of 5")],
    ),
    "void with outcome": (
        set_cell(2, "void", "slipped"),
        [("void trial with an outcome", 2, "void", "slipped")],
    ),
    "nobody": (
        set_cell(2, "participant", ""),
        [
            ("no participant", 2, "participant", ""),
            ("fewer trials than planned", 3, "participant", "p01, pretest: 1 of 2"),
        ],
    ),
    "not listed": (
        renamed("p01", "p99", range(2, 10)),
        [
            ("participant not in the list", 2, "participant", "p99"),
            ("participant without trials", 2, "participant", "p01"),
        ],
    ),
    "near-duplicate": (
        renamed("p01", "P 1", [9]),
        [
            ("participant not in the list", 9, "participant", "P 1"),
            ("near-duplicate identifiers", 2, "participant", "p01"),
            ("near-duplicate identifiers", 9, "participant", "P 1"),
        ],
    ),
    "ambiguous date": (
        set_where("date", "09/03/2026", **RETENTION_P02),
        [("ambiguous date", 16, "date", "09/03/2026")],
    ),
    "no date": (
        set_cell(2, "date", "spring"),
        [("not a date", 2, "date", "spring")],
    ),
}


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_rule_is_found_at_its_place(study_folder, case):
    edit, expected = BROKEN[case]
    edit(study_folder.trials)
    problems = found(study_folder)
    if case in ("near-duplicate", "not listed"):
        problems = problems[problems["rule"] != "fewer trials than planned"]
    shown = problems[["rule", "row", "column"]].values.tolist()
    assert shown == [list(entry[:3]) for entry in expected]
    for value, (_, _, _, fragment) in zip(problems["value"], expected, strict=True):
        assert fragment in value
    assert (problems["advice"].str.len() > 10).all()
    assert set(problems["file"]) <= {"trials.csv", "participants.csv"}


def test_a_test_that_was_counted_and_one_by_trials_are_both_held_against_the_plan(study_folder):
    trials = study_folder.trials
    counted = trials.drop_duplicates(["participant", "phase"]).query("phase == 'retention'")
    counted = counted.assign(hits=1.0, attempts=2.0)
    counted[["trial", "hit", "x", "y", "radial_error"]] = None
    study_folder.trials = pd.concat([trials.query("phase != 'retention'"), counted])
    assert "fewer trials than planned" not in set(found(study_folder)["rule"])
    counted.loc[counted.index[0], ["hits", "attempts"]] = [None, None]
    study_folder.trials = pd.concat([trials.query("phase != 'retention'"), counted])
    notes = found(study_folder).query("rule == 'fewer trials than planned'")["value"]
    assert notes.tolist() == ["p01, retention: 0 of 2"]


def test_a_void_trial_keeps_its_row_without_complaint(study_folder):
    for column in ("hit", "x", "y", "radial_error"):
        set_cell(2, column, None)(study_folder.trials)
    set_cell(2, "void", "paddle slipped")(study_folder.trials)
    study = ml.read_study(study_folder.write())
    assert len(study.trials.table) == 32
    assert study.problems.empty
    assert (~ml.trials.counted_rows(study.trials.table)).tolist() == [True] + [False] * 31


def test_an_empty_outcome_is_missing_and_only_noted(study_folder):
    for column in ("hit", "x", "y", "radial_error"):
        set_cell(2, column, None)(study_folder.trials)
    problems = found(study_folder)
    assert problems[["rule", "severity"]].values.tolist() == [["trial without an outcome", "note"]]


def test_aggregated_rows_with_unequal_attempts(tmp_path):
    file = tmp_path / "hits.csv"
    file.write_text(
        "participant,group,phase,hits,attempts\np01,a,pretest,12,20\np01,a,retention,18,18\n"
        "p02,b,pretest,21,20\np02,b,retention,5,\np02,b,retention,5,20\np03,b,pretest,-1,20\n"
        "p04,b,pretest,2.5,0\n"
    )
    trials = ml.read_trials(file)
    assert trials.problems.query("severity == 'note'")["value"].tolist() == [
        "p01, retention: 18 of 18"
    ]
    errors = trials.problems.query("severity == 'error'")
    shown = errors[["rule", "row", "column", "value"]].values.tolist()
    assert sorted(map(tuple, shown)) == [
        ("duplicate trial", 6, "participant", "p02, retention"),
        ("hits above attempts", 4, "hits", "21 of 20"),
        ("hits above attempts", 8, "hits", "2.5 of 0"),
        ("hits without attempts", 5, "hits", "5"),
        ("impossible value", 7, "hits", "-1"),
        ("impossible value", 8, "attempts", "0"),
        ("impossible value", 8, "hits", "2.5"),
    ]
    assert trials.table["attempts"].tolist()[:2] == [20, 18]


def test_every_problem_comes_at_once(study_folder):
    set_cell(2, "x", "three")(study_folder.trials)
    set_cell(3, "feedback", 1)(study_folder.trials)
    set_cell(2, "task", "lob")(study_folder.trials)
    set_where("date", "2026-03-05", **RETENTION_P02)(study_folder.trials)
    assert len(found(study_folder)) == 4


def test_groups_come_from_the_list_where_trials_have_none(study_folder):
    expected = study_folder.trials["group"].tolist()
    study_folder.trials = study_folder.trials.drop(columns="group")
    study = ml.read_study(study_folder.write())
    assert study.trials.table["group"].tolist() == expected
    assert study.trials.changes["rule"].tolist() == ["group taken from participants.csv"]


def test_a_phase_or_a_group_without_data_is_an_error(study_folder):
    study_folder.trials = study_folder.trials[study_folder.trials["phase"] != "pretest"]
    study_folder.plan = study_folder.plan.replace(
        'name = "random"', 'name = "random"\n[[groups]]\nname = "serial"'
    )
    problems = found(study_folder)
    errors = problems[problems["severity"] == "error"]
    assert errors[["rule", "value"]].values.tolist() == [
        ["phase without data", "pretest"],
        ["group without data", "serial"],
    ]


def test_a_test_still_to_come_is_asked_about_and_stops_nothing(study_folder):
    study_folder.trials = study_folder.trials[study_folder.trials["phase"] != "retention"]
    problems = found(study_folder)
    assert problems[["rule", "value", "severity"]].values.tolist() == [
        ["test without data yet", "retention", "doubt"]
    ]


def test_practice_that_was_not_recorded_is_a_doubt_and_stops_nothing(study_folder):
    study_folder.trials = study_folder.trials[study_folder.trials["phase"] != "acquisition"]
    problems = found(study_folder)
    assert "error" not in set(problems["severity"])
    said = problems.set_index("rule").loc["practice not recorded"]
    assert (said["severity"], said["value"]) == ("doubt", "acquisition")
    assert not problems["value"].str.contains("acquisition: 0 of").any()


def test_one_participant_is_said(study_folder):
    study_folder.trials = study_folder.trials[study_folder.trials["participant"] == "p01"]
    study_folder.participants = study_folder.participants.head(1)
    assert "only one participant" in set(found(study_folder)["rule"])


@pytest.mark.parametrize("value", [1, 0])
def test_all_hits_and_all_misses_are_said(tmp_path, value):
    file = tmp_path / "t.csv"
    file.write_text(f"participant,trial,hit\np1,1,{value}\np1,2,{value}\np2,1,{value}\n")
    problems = ml.read_trials(file).problems
    assert problems[["rule", "value"]].values.tolist() == [["outcome never varies", str(value)]]


def test_feedback_in_a_test_is_allowed_where_the_plan_says_so(study_folder):
    set_cell(3, "feedback", 1)(study_folder.trials)
    study_folder.plan = study_folder.plan.replace(
        'phase = "pretest"', 'phase = "pretest"\nfeedback = true'
    )
    assert found(study_folder).empty


def test_an_interval_without_dates_cannot_be_checked_and_that_is_said(study_folder):
    study_folder.trials = study_folder.trials.drop(columns="date")
    assert found(study_folder)["rule"].tolist() == ["interval cannot be checked"]


def test_a_plan_with_an_unknown_key_names_the_nearest(study_folder):
    study_folder.plan = study_folder.plan.replace("radius", "raduis")
    with pytest.raises(DesignError, match=r"unknown key 'target\.raduis', did you mean 'radius'"):
        ml.read_study(study_folder.write())


@pytest.mark.parametrize("name", ["../trials.csv", "/etc/hostname", "sub/../../trials.csv"])
def test_a_file_outside_the_folder_is_refused(study_folder, name):
    study_folder.plan = study_folder.plan.replace('"trials.csv"', f'"{name}"')
    with pytest.raises(FileError, match="outside its folder"):
        ml.read_study(study_folder.write())


def test_a_link_out_of_the_folder_is_refused(study_folder, tmp_path_factory):
    outside = tmp_path_factory.mktemp("elsewhere") / "trials.csv"
    outside.write_text("participant,hit\np1,1\n")
    study_folder.write()
    (study_folder.path / "trials.csv").unlink()
    (study_folder.path / "trials.csv").symlink_to(outside)
    with pytest.raises(FileError, match="outside its folder"):
        ml.read_study(study_folder.path)


def test_no_plan_and_no_data_file(tmp_path, study_folder):
    with pytest.raises(FileError, match=re.escape("there is no study plan")):
        ml.read_study(tmp_path / "nowhere")
    (study_folder.write() / "trials.csv").unlink()
    with pytest.raises(FileError, match=r"no file of trials there yet .*motorlearn import FILE"):
        ml.read_study(study_folder.path)
    (study_folder.path / "Trials.csv").write_text("participant\n", "utf-8")
    with pytest.raises(FileError, match=r"there is no such file .* did you mean 'Trials\.csv'"):
        ml.read_study(study_folder.path)


def test_ratings_need_their_columns_and_their_people(study_folder):
    study_folder.plan = study_folder.plan.replace("[files]", '[files]\nratings = "ratings.csv"')
    folder = study_folder.write()
    (folder / "ratings.csv").write_text("participant,phase,item,score\np01,pretest,stance,1\n")
    with pytest.raises(ColumnError, match="rater"):
        ml.read_study(folder)
    (folder / "ratings.csv").write_text(
        "participant,phase,item,rater,score,void\np01,pretest,stance,A,1,\n"
        "p01,pretest,stance,A,2,\np09,pretest,stance,A,2,\np01,pretest,stance,B,1,blurred\n"
        ",pretest,stance,B,1,\n"
    )
    problems = ml.read_study(folder).problems
    assert problems[["rule", "file", "row"]].values.tolist() == [
        ["duplicate rating", "ratings.csv", 3],
        ["participant not in the list", "ratings.csv", 4],
        ["no participant", "ratings.csv", 6],
        ["void rating with an outcome", "ratings.csv", 5],
    ]
    twice = problems[problems["rule"] == "duplicate rating"].iloc[0]
    assert (twice["column"], twice["value"]) == ("score", "p01, pretest, A, stance")
    assert "whose rating this is" in problems["advice"].iloc[2]


@pytest.mark.parametrize(
    ("identifiers", "expected"),
    [
        (["P7", "P07", "p 7", "P8"], {0, 1, 2}),
        (["p01", "p02", "p10", "p11", "p1"], {0, 4}),
        (["PO7", "P07"], {0, 1}),
        (["p1l", "p11"], {0, 1}),
        (["smith", "smiht", "smyth", "jones"], {0, 1, 2}),
        (["müller", "muller"], {0, 1}),
        (["s101", "s110", "s011"], set()),
        (["a1", "b1", "a2"], set()),
        (["anna", "hanna"], set()),
        ([], set()),
    ],
)
def test_near_duplicates(identifiers, expected):
    assert {place for place, _ in near_duplicates(identifiers)} == expected


def test_left_out_counts_by_reason_and_names_absent_people(study_folder):
    trials = study_folder.trials
    trials.loc[0, ["radial_error", "void"]] = [None, "slipped"]
    trials.loc[trials["participant"] == "p04", "radial_error"] = None
    listed = ml.trials.left_out(trials, "radial_error", phases=("retention",))
    assert listed.values.tolist() == [
        ["p01", "blocked", "void: slipped", 1],
        ["p04", "random", "no outcome", 8],
        ["p04", "random", "no retention", 0],
    ]


def test_rows_of_two_raters_are_told_with_their_remedy(study_folder):
    """With a column of raters, or numbered on: twice the plan for everybody is no free practice."""
    first = study_folder.trials
    study_folder.trials = pd.concat([first.assign(rater="A"), first.assign(rater="B")])
    problems = found(study_folder).set_index("rule")
    advice = problems.loc["more trials than planned", "advice"]
    assert advice.str.contains(r"rows of 2 raters \(A, B\)\? Ratings belong in ratings.csv").all()
    study_folder.trials = pd.concat([first, first.assign(trial=first["trial"] + 100)])
    advice = found(study_folder).set_index("rule").loc["more trials than planned", "advice"]
    assert advice.str.contains("rows of 2 raters? Ratings", regex=False).all()
    study_folder.trials = pd.concat([first, first.tail(2).assign(trial=[101, 102])])
    advice = found(study_folder).set_index("rule").loc[["more trials than planned"], "advice"]
    assert advice.str.contains("trials entered twice").all()


def test_trials_that_all_stand_there_twice_with_other_values_may_be_of_two_raters(study_folder):
    first = study_folder.trials.drop(columns=["x", "y", "hit"])
    second = first.assign(radial_error=first["radial_error"] + 1)
    study_folder.trials = pd.concat([first, second])
    advice = found(study_folder).set_index("rule").loc["duplicate trial", "advice"]
    assert advice.str.contains("rows of several raters belong in ratings.csv").all()
