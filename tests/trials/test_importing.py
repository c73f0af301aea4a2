"""Wide weekly sheets, score notations, recipes that are proposed, written and replayed."""

import hashlib
import tomllib

import numpy as np
import openpyxl
import pytest

import motorlearn as ml
from motorlearn.design import ImportRecipe, WideColumn, design_from_mapping
from motorlearn.exceptions import ColumnError, DesignError, FileError, InputError
from motorlearn.tables import to_text
from motorlearn.trials.checking.problems import place
from motorlearn.trials.importing.intake import take_in
from motorlearn.trials.importing.proposing import propose_recipe
from motorlearn.trials.importing.recipe_text import recipe_text, write_recipe
from motorlearn.trials.importing.replay import import_trials
from motorlearn.trials.reading.conversion import factor
from motorlearn.trials.reading.notation import read_score

PLAN = """# kept as it is
[study]
title = "Weekly ring push"

[[groups]]
name = "blocked"
[[groups]]
name = "random"

[[tests]]
phase = "progress"
week = 2
session = 2
trials = 20
[[tests]]
phase = "progress"
week = 4
session = 4
trials = 20
[[tests]]
phase = "retention"
trials = 20
interval_days = 7

[[outcomes]]
name = "hits"
better = "higher"
"""


def weekly(folder, rows=None):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Tests"
    sheet.append(["", "", "week 2", None, "week 4", None, "+1 week"])
    sheet.append(["ID", "Group", "hits", "of", "hits", "of", "hits"])
    for row in rows or [
        ["P7", "B", 12, 20, "14", 20, "15/20"],
        ["P07", "B", "abs", 20, 11, 18, "0,6"],
        ["P8", "R", "12/20", 20, 9, 20, "60 %"],
        ["P9", "R", 7, 20, None, 20, "n/a"],
        ["Mean", None, 10, 20, 11, 20, None],
    ]:
        sheet.append(row)
    sheet.merge_cells("C1:D1")
    sheet.merge_cells("E1:F1")
    book.save(folder / "weekly.xlsx")
    return folder / "weekly.xlsx"


@pytest.fixture
def design():
    return design_from_mapping(tomllib.loads(PLAN))


def test_a_weekly_sheet_becomes_rows_and_nothing_is_guessed(tmp_path, design):
    recipe = propose_recipe(weekly(tmp_path), design=design).recipe
    trials = import_trials(tmp_path / "weekly.xlsx", recipe)
    table = trials.table
    names = ["participant", "group", "phase", "hits", "attempts"]
    expected = [
        ["P7", "blocked", "progress", 12, 20],
        ["P7", "blocked", "progress", 14, 20],
        ["P7", "blocked", "retention", 15, 20],
        ["P07", "blocked", "progress", np.nan, 20],
        ["P07", "blocked", "progress", 11, 18],
        ["P07", "blocked", "retention", np.nan, 20],
        ["P8", "random", "progress", 12, 20],
        ["P8", "random", "progress", 9, 20],
        ["P8", "random", "retention", 12, 20],
        ["P9", "random", "progress", 7, 20],
        ["P9", "random", "progress", np.nan, 20],
        ["P9", "random", "retention", np.nan, 20],
    ]
    for row, wanted in zip(table[names].values.tolist(), expected, strict=True):
        assert row[:3] == wanted[:3]
        np.testing.assert_array_equal(np.array(row[3:], float), np.array(wanted[3:], float))
    assert table["void"].dropna().tolist() == ["absent", "recorded as 'n/a'"]
    problems = trials.problems
    places = {place(entry): entry["rule"] for _, entry in problems.iterrows()}
    assert places["weekly.xlsx, Tests!G4 (+1 week hits)"] == "share among counts"
    assert places["weekly.xlsx, Tests!E3 (cell)"] == "number stored as text"
    assert places["weekly.xlsx, Tests!A4 (ID)"] == "near-duplicate identifiers"
    assert trials.set_aside["reason"].tolist() == ["row of totals"]
    logged = trials.changes
    assert logged["after"][0].startswith("sha256:")
    assert logged[logged["column"] == "week 2 hits [C]"][["before", "after"]].values.tolist() == [
        ["abs", "absent"],
        ["12/20", "12 of 20"],
    ]


def test_a_recipe_is_written_read_back_and_replayed_to_the_same_table(tmp_path, design):
    file = weekly(tmp_path)
    recipe = propose_recipe(file, design=design).recipe
    (tmp_path / "study.toml").write_text(PLAN)
    write_recipe(tmp_path / "study.toml", recipe)
    text = (tmp_path / "study.toml").read_text()
    assert text.startswith(PLAN.rstrip())
    assert ml.read_design(tmp_path).recipe == recipe
    first, again = import_trials(file, recipe), ml.read_study(tmp_path).trials
    assert first.table.equals(again.table)
    write_recipe(tmp_path / "study.toml", recipe)
    assert (tmp_path / "study.toml").read_text() == text


def test_a_recipe_with_every_kind_of_entry_survives_the_text():
    recipe = ImportRecipe(
        file='odd "name" \\ ü.csv',
        sha256="ab" * 32,
        sheets=({"name": "wk [2]", "phase": "progress", "session": 2},),
        heading_row=3,
        separator="\t",
        decimal=",",
        mode="strict",
        columns={"Kürzel": "participant", "a.b": "group"},
        levels={"group": {"1": "blocked", "=x": "random"}},
        wide=({"heading": "x\ny", "phase": "progress", "attempts": 20},),
        missing={"abs": "absent", "-": "not done"},
        convert=({"column": "x", "source": "m", "target": "cm", "where": {"session": 2}},),
    )
    content = tomllib.loads(recipe_text(recipe))["import"]
    assert ImportRecipe.model_validate(content) == recipe


def test_taking_a_file_in_copies_it_and_writes_the_recipe(tmp_path):
    folder = tmp_path / "study"
    folder.mkdir()
    (folder / "study.toml").write_text(PLAN)
    file = weekly(tmp_path)
    intake = take_in(file, folder)
    assert (folder / "weekly.xlsx").read_bytes() == file.read_bytes()
    assert len(intake.study.trials.table) == 12
    assert "week 2 hits" in to_text(intake.proposal.table())
    assert take_in(file, folder).proposal is None
    changes = (folder / "import_changes.csv").read_text()
    assert hashlib.sha256(file.read_bytes()).hexdigest() in changes
    assert "12 of 20" in changes
    assert "row of totals" in (folder / "import_set_aside.csv").read_text()
    assert "share among counts" in (folder / "import_problems.html").read_text()
    file.write_bytes(file.read_bytes() + b" ")
    with pytest.raises(FileError, match="another file of this name"):
        take_in(file, folder)


def test_a_changed_original_is_an_error(tmp_path, design):
    file = weekly(tmp_path)
    recipe = propose_recipe(file, design=design).recipe
    weekly(tmp_path, [["P1", "B", 3, 20, 4, 20, 5], ["P2", "R", 3, 20, 4, 20, 6]])
    rules = import_trials(file, recipe).problems
    assert rules["rule"].tolist()[0] == "original file has changed"


def test_strict_stops_and_lenient_sets_aside_the_rows_of_the_error(tmp_path, design):
    file = weekly(tmp_path)
    recipe = propose_recipe(file, design=design).recipe
    with pytest.raises(InputError, match=r"found 1 errors.*Tests!G4"):
        import_trials(file, recipe.model_copy(update={"mode": "strict"}))
    trials = import_trials(file, recipe.model_copy(update={"mode": "lenient"}))
    assert len(trials.table) == 11
    aside = trials.set_aside[trials.set_aside["reason"] == "share among counts"]
    assert aside[["row", "sheet"]].values.tolist() == [[4, "Tests"]]
    assert "P07 | blocked | retention" in aside["content"].iloc[0]


def test_sheets_are_put_together_with_what_each_stands_for(tmp_path):
    book = openpyxl.Workbook()
    for number, name in enumerate(("pre", "ret")):
        sheet = book.active if number == 0 else book.create_sheet()
        sheet.title = name
        sheet.append(["participant", "hits", "attempts"])
        sheet.append(["p1", 5 + number, 20])
        sheet.append(["p2", 30 if number else 6, 20])
    book.save(tmp_path / "two.xlsx")
    recipe = ImportRecipe(
        file="two.xlsx",
        sheets=({"name": "pre", "phase": "pretest"}, {"name": "ret", "phase": "retention"}),
    )
    trials = import_trials(tmp_path / "two.xlsx", recipe)
    assert trials.table["phase"].tolist() == ["pretest"] * 2 + ["retention"] * 2
    found = trials.problems[trials.problems["rule"] == "hits above attempts"]
    assert found[["sheet", "row", "column"]].values.tolist() == [["ret", 3, "hits [B]"]]


def test_units_change_only_where_a_person_said_so(tmp_path):
    file = tmp_path / "t.csv"
    file.write_text("participant,session,x\np1,1,30\np1,2,0.25\np2,1,\n")
    recipe = ImportRecipe(
        file="t.csv",
        convert=({"column": "x", "source": "m", "target": "cm", "where": {"session": 2}},),
    )
    trials = import_trials(file, recipe)
    np.testing.assert_array_equal(trials.table["x"], [30, 25, np.nan])
    assert trials.changes["rule"].tolist()[-1] == "unit converted (1 values)"
    assert factor("km/h", "m/s") == pytest.approx(1 / 3.6)
    with pytest.raises(InputError, match="no conversion"):
        factor("cm", "s")


def test_missing_words_keep_their_reason_in_long_files(tmp_path):
    file = tmp_path / "t.csv"
    file.write_text("participant,trial,x\np1,1,30\np1,2,inj\np2,1,abs\n")
    recipe = ImportRecipe(file="t.csv", missing={"inj": "injured", "abs": "absent"})
    trials = import_trials(file, recipe)
    assert trials.table["void"].fillna("").tolist() == ["", "injured", "absent"]
    assert trials.table["x"].isna().tolist() == [False, True, True]


@pytest.mark.parametrize(
    ("text", "notation", "expected"),
    [
        ("12", "count", (12, 20, "")),
        ("12/20", "count", (12, 20, "fraction read")),
        ("12 of 20", "fraction", (12, 20, "fraction read")),
        ("12 / 18", "count", (12, 18, "attempts differ")),
        ("60 %", "count", (12, 20, "percentage read")),
        ("60", "percent", (12, 20, "percentage read")),
        ("0,6", "share", (12, 20, "share read")),
        ("0.6", "share", (12, 20, "share read")),
        ("1", "share", (20, 20, "share read")),
        ("0,6", "count", (None, 20, "share among counts")),
        ("61 %", "count", (None, 20, "no whole number of hits")),
        ("abs", "count", (None, 20, "word read as missing")),
        ("", "count", (None, 20, "")),
        ("twelve", "count", (None, 20, "text among numbers")),
        ("2026-12-20", "count", (None, 20, "date among numbers")),
        ("#DIV/0!", "count", (None, 20, "error cell")),
        ("1\u00a0234,5", "number", (1234.5, 20, "thousands separator")),
    ],
)
def test_notations(text, notation, expected):
    score = read_score(text, notation, attempts=20, decimal=",")
    value = None if np.isnan(score.value) else score.value
    assert (value, score.attempts, score.rule) == expected


def test_a_share_without_attempts_is_not_guessed():
    assert read_score("60 %", "percent").rule == "attempts unknown"


def test_recipes_that_cannot_be_followed_are_refused(tmp_path, design):
    file = weekly(tmp_path)
    with pytest.raises(ColumnError, match="week 9"):
        wide = (WideColumn(heading="week 9", phase="progress"),)
        import_trials(
            file, ImportRecipe(file="weekly.xlsx", columns={"ID": "participant"}, wide=wide)
        )
    with pytest.raises(FileError, match="no study plan"):
        write_recipe(tmp_path / "none.toml", ImportRecipe(file="weekly.xlsx"))
    with pytest.raises(
        DesignError, match=r"import\.wide \(entry 1\): phase 'week 2' is not one of"
    ):
        design_from_mapping(
            tomllib.loads(PLAN)
            | {"import": {"file": "w", "wide": [{"heading": "h", "phase": "week 2"}]}}
        )


def test_what_a_file_cannot_say_is_asked(tmp_path, design):
    rows = [[f"P{i}", "B", 0.25 * i, "", 9, "", 8] for i in range(1, 5)]
    asked = " ".join(propose_recipe(weekly(tmp_path, rows), design=design).questions)
    assert "Are numbers up to 1 shares of the attempts?" in asked
    assert "only a test after a gap" in asked
    assert "no ethics approval" in asked
    no_plan = propose_recipe(tmp_path / "weekly.xlsx").questions
    assert any(question.startswith("How many attempts") for question in no_plan)


def test_a_file_without_anything_like_a_participant_is_not_proposed(tmp_path):
    file = tmp_path / "t.csv"
    file.write_text("a,b\n1,2\n3,4\n")
    with pytest.raises(ColumnError, match="looks like identifiers"):
        propose_recipe(file)


def test_a_heading_longer_than_a_name_may_be_is_not_proposed_as_a_test(tmp_path):
    heading = "pretest " + "long " * 20
    (tmp_path / "wide.csv").write_text(f"participant,{heading},retention\np1,3,4\np2,5,6\n")
    found = propose_recipe(tmp_path / "wide.csv").recipe
    assert [entry.heading for entry in found.wide] == ["retention"]
