"""Sheets that were filled in, and the allocation that was drawn, outlive a second run."""

import json

import openpyxl
import pandas as pd
import pytest
from plans_of_tests import programme
from typer.testing import CliRunner

import motorlearn as ml
from motorlearn import commands
from motorlearn.exceptions import InputError
from motorlearn.plan import Answers, write_plan, write_sheets

RUN = CliRunner()


@pytest.fixture
def study(tmp_path):
    answers = Answers(size=6, blocks=1, trials=6, test_trials=6, sessions=1)
    return write_plan(tmp_path / "two", answers).parent


def run(study, *more, out="sheets"):
    arguments = ["sheets", str(study), "--out", str(study / out), *more]
    return RUN.invoke(commands.app, arguments)


def fill(folder):
    """Type one landing point into the workbook and one hit into the text file."""
    book = openpyxl.load_workbook(folder / "trials.xlsx")
    book["trials"]["F2"].value = 12.5
    book.save(folder / "trials.xlsx")
    rows = pd.read_csv(folder / "trials.csv", dtype=str)
    rows.loc[0, "x"] = "12.5"
    rows.to_csv(folder / "trials.csv", index=False)


def test_a_second_run_keeps_what_was_filled_in_and_says_so(study):
    assert run(study, "--seed", "1").exit_code == 0
    folder = study / "sheets"
    fill(folder)
    (folder / "photo.txt").write_text("of the board")
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    again = run(study, "--seed", "1", "--items", "stance,grip")
    assert again.exit_code == 0, again.output
    for name in ("trials.xlsx", "trials.csv", "photo.txt"):
        assert (folder / name).read_bytes() == before[name], name
        assert name in again.output
    assert (folder / "ratings.csv").is_file()
    third = run(study, "--seed", "1")
    assert "trials.csv" in third.output
    assert (folder / "trials.csv").read_bytes() == before["trials.csv"]


def test_a_drawn_allocation_is_kept_whatever_the_seed_and_the_folder(study):
    run(study, "--seed", "1")
    drawn = (study / "sheets" / "concealed" / "participants.csv").read_bytes()
    log = json.loads((study / "sheets" / "concealed" / "allocation.json").read_text())
    again = run(study, "--seed", "2")
    assert (study / "sheets" / "concealed" / "participants.csv").read_bytes() == drawn
    assert "allocation is kept" in again.output
    kept = json.loads((study / "sheets" / "concealed" / "allocation.json").read_text())
    assert kept["result_sha256"] == log["result_sha256"]
    other = run(study, "--seed", "3", out="more sheets")
    assert other.exit_code == 0, other.output
    assert (study / "more sheets" / "concealed" / "participants.csv").read_bytes() == drawn


def test_a_copy_of_the_list_beside_the_plan_is_the_allocation(study):
    run(study, "--seed", "1")
    people = (study / "sheets" / "concealed" / "participants.csv").read_bytes()
    (study / "participants.csv").write_bytes(people)
    done = RUN.invoke(
        commands.app,
        ["sheets", str(study), "--out", str(study.parent / "elsewhere"), "--seed", "9"],
    )
    assert done.exit_code == 0, done.output
    there = study.parent / "elsewhere" / "concealed" / "participants.csv"
    assert pd.read_csv(there).equals(pd.read_csv(study / "participants.csv"))


def test_a_new_draw_is_asked_for_and_logged(study):
    run(study, "--seed", "1")
    folder = study / "sheets" / "concealed"
    first = json.loads((folder / "allocation.json").read_text())
    assert run(study, "--seed", "2", "--redraw").exit_code == 0
    second = json.loads((folder / "allocation.json").read_text())
    assert second["seed"] == 2
    assert [entry["result_sha256"] for entry in second["earlier"]] == [first["result_sha256"]]
    assert second["earlier"][0]["seed"] == 1


def test_there_is_no_new_draw_once_something_was_filled_in(study):
    run(study, "--seed", "1")
    fill(study / "sheets")
    before = (study / "sheets" / "trials.csv").read_bytes()
    refused = run(study, "--seed", "2", "--redraw")
    assert refused.exit_code != 0
    assert isinstance(refused.exception, InputError)
    assert "filled in" in str(refused.exception)
    assert (study / "sheets" / "trials.csv").read_bytes() == before


def test_sheets_of_an_earlier_version_are_taken_as_filled(tmp_path):
    people = pd.DataFrame({"participant": ["a", "b"]})
    folder = write_sheets(programme(), tmp_path / "s", seed=1, participants=people)
    (folder / "sheets.json").write_text('{"seed": 1, "rows": 3}\n')
    before = (folder / "trials.csv").read_bytes()
    three = pd.DataFrame({"participant": ["a", "b", "c"]})
    write_sheets(programme(), folder, seed=1, participants=three)
    assert (folder / "trials.csv").read_bytes() == before


def test_clips_keep_their_numbers_and_orders_their_seed(tmp_path):
    two = pd.DataFrame({"participant": ["a", "b"]})
    folder = write_sheets(programme(), tmp_path / "s", seed=1, participants=two, items=("grip",))
    key, trials = (pd.read_csv(folder / f) for f in ("concealed/clips.csv", "trials.csv"))
    three = pd.DataFrame({"participant": ["a", "b", "c"]})
    write_sheets(programme(), folder, seed=2, participants=three, items=("grip",))
    again = pd.read_csv(folder / "concealed" / "clips.csv")
    assert again.head(len(key)).equals(key)
    assert again["clip"].is_unique
    assert set(again["participant"]) == {"a", "b", "c"}
    assert json.loads((folder / "sheets.json").read_text())["seed"] == 1
    assert pd.read_csv(folder / "trials.csv").head(len(trials)).equals(trials)


def test_those_who_joined_later_are_added_and_nobody_changes_group(study):
    run(study, "--seed", "1")
    kept = pd.read_csv(study / "sheets" / "concealed" / "participants.csv")
    more = pd.concat([kept[["participant"]], pd.DataFrame({"participant": ["P98", "P99"]})])
    folder = write_sheets(ml.read_design(study), study / "sheets", seed=5, participants=more)
    now = pd.read_csv(folder / "concealed" / "participants.csv")
    assert len(now) == len(kept) + 2
    assert now.head(len(kept))["group"].tolist() == kept["group"].tolist()
    log = json.loads((folder / "concealed" / "allocation.json").read_text())
    assert log["continued"][0]["participants"] == len(kept)
