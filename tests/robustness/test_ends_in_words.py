"""Ordinary trouble at the command line: one sentence, exit code 2, nothing of the user's lost."""

import os
import shutil
import sys
from pathlib import Path

import pandas as pd
import pytest

import motorlearn as ml
from motorlearn import commands
from motorlearn.exceptions import InputError
from motorlearn.plan import Answers, write_plan

HUGE = "9" * 4000


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """A study with data that are sound."""
    folder = tmp_path_factory.mktemp("sound") / "study"
    write_plan(folder, Answers(size=4, sessions=1, blocks=1, trials=6, test_trials=6))
    made = ml.simulate_study(ml.read_design(folder), seed=1, missing=False)
    made.trials.table.to_csv(folder / "trials.csv", index=False)
    made.participants.to_csv(folder / "participants.csv", index=False)
    return folder


@pytest.fixture
def study(sound, tmp_path):
    return Path(shutil.copytree(sound, tmp_path / "study"))


@pytest.fixture
def run(monkeypatch, capsys):
    """Run the command line; gives the exit code and what it said of trouble."""

    def called(*arguments):
        monkeypatch.setattr(sys, "argv", ["motorlearn", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            commands.main()
        return ended.value.code or 0, capsys.readouterr().err

    return called


def itself(folder):
    (folder / "loop").symlink_to("loop")
    return folder / "loop"


def pipe(folder):
    os.mkfifo(folder / "pipe")
    return folder / "pipe"


def a_file(folder):
    (folder / "file").write_text("mine")
    return folder / "file"


PLACES = {
    "long": lambda folder: folder / ("n" * 300),
    "loop": itself,
    "pipe": pipe,
    "file": a_file,
    "nowhere": lambda folder: "/proc/none/out",
    "inside a file": lambda folder: a_file(folder) / "out",
}
OUTPUTS = {
    "new": lambda study, place: ("new", place),
    "sheets": lambda study, place: ("sheets", study, "--out", place, "--seed", 1),
    "share": lambda study, place: ("share", study, "--out", place),
    "page": lambda study, place: ("check", study, "--page", place),
    "key": lambda study, place: ("share", study, "--out", f"{study}-out", "--key", place),
}
INPUTS = {
    "check": lambda place: ("check", place),
    "audit": lambda place: ("audit", place),
    "power": lambda place: ("power", place, "--simulations", 2),
    "report": lambda place: ("report", place, "--out", "out"),
}


def in_one_sentence(code, told):
    return (
        code == 2
        and "Traceback" not in told
        and "fault of motorlearn" not in told
        and 20 < len(told.strip()) <= 520
        and told.strip("\n").isprintable()
        and told.count("\n") <= 1
    )


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("output", OUTPUTS)
def test_an_output_that_cannot_be(study, run, tmp_path, output, place):
    code, told = run(*OUTPUTS[output](study, PLACES[place](tmp_path)))
    assert in_one_sentence(code, told), told
    if (tmp_path / "file").exists():
        assert (tmp_path / "file").read_text() == "mine"
    assert [path for path in tmp_path.rglob(".*") if path.name.startswith(".") and
            "unfinished" in path.name] == []  # fmt: skip


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("command", INPUTS)
def test_an_input_that_is_none(run, tmp_path, command, place):
    code, told = run(*INPUTS[command](PLACES[place](tmp_path)))
    assert in_one_sentence(code, told), told


@pytest.mark.parametrize("place", PLACES)
def test_a_foreign_file_that_is_none(study, run, tmp_path, place):
    code, told = run("import", PLACES[place](tmp_path), "--study", study)
    assert in_one_sentence(code, told), told


@pytest.mark.parametrize("name", ["trials.csv", "study.toml"])
@pytest.mark.parametrize("way", ["plain", "round about", "link", "hard link"])
def test_an_output_does_not_take_the_place_of_an_input(study, run, tmp_path, name, way):
    target = study / name
    before = target.read_bytes()
    if way == "round about":
        target = study / ".." / study.name / name
    elif way != "plain":
        (os.symlink if way == "link" else os.link)(target, tmp_path / "other")
        target = tmp_path / "other"
    for command, option in (("check", "--page"), ("audit", "--store")):
        code, told = run(command, study, option, target)
        assert in_one_sentence(code, told) and "a file of the study" in told
    assert (study / name).read_bytes() == before


def test_a_page_replaces_a_page_and_nothing_else(study, run, tmp_path):
    thesis, page = tmp_path / "thesis.html", tmp_path / "page.html"
    thesis.write_text("years of work")
    assert run("check", study, "--page", page)[0] == run("check", study, "--page", page)[0] == 0
    code, told = run("check", study, "--page", thesis)
    assert in_one_sentence(code, told) and thesis.read_text() == "years of work"


@pytest.mark.parametrize("value", ["1e20", "-1e20", "1e308", "9" * 400, "1e-320"])
@pytest.mark.parametrize("column", ["hit", "trial", "session", "block", "x", "radial_error"])
def test_vast_numbers_in_a_column_are_problems_or_numbers(study, run, column, value):
    table = pd.read_csv(study / "trials.csv", dtype=str)
    if column not in table:
        table[column] = "1"
    table.loc[3, column] = value
    table.to_csv(study / "trials.csv", index=False)
    code, told = run("check", study)
    assert code in (0, 1) and told == ""
    if column in ("hit", "trial", "session", "block") and value != "1e-320":
        assert code == 1


@pytest.mark.parametrize(
    "line",
    [
        f"title = {HUGE}",
        f"seed = {HUGE}",
        "seed = -1",
        "title = inf",
        f'title = "{"t" * 10_000}"',
        'title = "a\\u0000b\\u001b[31m"\nno_such_key = "\\u202e"',
    ],
)
def test_vast_numbers_in_a_plan(study, run, line):
    plan = study / "study.toml"
    name = line.split(" = ")[0]
    rest = [row for row in plan.read_text().splitlines() if not row.startswith(f"{name} =")]
    rest.insert(rest.index("[study]") + 1, line)
    plan.write_text("\n".join(rest))
    code, told = run("check", study)
    assert (code == 0 and name == "seed") or in_one_sentence(code, told), told


def test_a_table_of_every_kind_is_taken_in(study, run, tmp_path):
    table = pd.read_csv(study / "trials.csv")
    table.to_parquet(tmp_path / "log.parquet")
    (study / "trials.csv").unlink()
    assert run("import", tmp_path / "log.parquet", "--study", study) == (0, "")
    assert len(ml.read_study(study).trials.table) == len(table)


def test_a_fault_of_ours_is_said_to_be_one_and_shown_on_demand(study, run, monkeypatch):
    def broken(*arguments, **more):
        raise KeyError("participant\x1b[31m")

    monkeypatch.setattr(ml, "read_study", broken)
    code, told = run("check", study)
    assert code == 2 and told.count("\n") == 1 and "\x1b" not in told
    assert "fault of motorlearn" in told and "KeyError" in told and "--debug" in told
    for arguments in (("--debug", "check", study), ("check", study, "--debug")):
        code, told = run(*arguments)
        assert code == 2 and "Traceback" in told and "in broken" in told


@pytest.mark.parametrize("problem", [MemoryError(), OSError(28, "No space left on device")])
def test_the_system_is_named_where_it_is_the_cause(study, run, monkeypatch, problem):
    def broken(*arguments, **more):
        raise problem

    monkeypatch.setattr(ml, "read_study", broken)
    assert in_one_sentence(*run("check", study))


def test_a_message_is_one_that_a_terminal_can_show():
    message = str(InputError("c" * 5000 + "\x1b]0;", ["\u202e" + "v" * 9000] * 9, "r" * 5000))
    assert len(message) <= 500 and message.isprintable()
    assert "\\u202e" in str(InputError("a\u202eb"))
