"""The commands of planning, as a newcomer types them."""

from types import SimpleNamespace

import pytest
from typer.testing import CliRunner

from motorlearn import commands

RUN = CliRunner()


@pytest.fixture
def study(tmp_path):
    folder = tmp_path / "mine"
    done = RUN.invoke(commands.app, ["new", str(folder), "--n", "6", "--no-notebooks"])
    assert done.exit_code == 0, done.output
    return folder


def test_new_writes_a_plan_and_says_what_to_do_next(study):
    assert (study / "study.toml").read_text(encoding="utf-8").startswith("# The plan")
    again = RUN.invoke(commands.app, ["new", str(study)])
    assert again.exit_code != 0


def test_new_brings_the_notebooks_and_they_look_for_the_new_study(tmp_path):
    done = RUN.invoke(commands.app, ["new", str(tmp_path / "mine")])
    assert done.exit_code == 0, done.output
    notebook = tmp_path / "mine" / "notebooks" / "01_plan.ipynb"
    assert 'study_folder = \\"..\\"' in notebook.read_text(encoding="utf-8")


def test_new_takes_every_answer_as_an_option(tmp_path):
    arguments = ["--title", "T", "--groups", "a, b", "--tasks", "x,y", "--outcome", "time"]
    arguments += ["--unit", "s", "--sessions", "3", "--seed", "9", "--retention-days", "14"]
    done = RUN.invoke(commands.app, ["new", str(tmp_path / "s"), *arguments, "--no-notebooks"])
    assert done.exit_code == 0, done.output
    text = (tmp_path / "s" / "study.toml").read_text(encoding="utf-8")
    assert 'name = "a"' in text
    assert "interval_days = 14" in text
    assert text.count("[[practice]]") == 3
    assert "seed = 9" in text


def test_new_asks_on_a_terminal(monkeypatch):
    terminal = SimpleNamespace(stdin=SimpleNamespace(isatty=lambda: True))
    monkeypatch.setattr(commands, "sys", terminal)
    asked = []

    def prompt(text, default, type):
        asked.append(text)
        return 5 if text == "size" else default

    monkeypatch.setattr(commands.typer, "prompt", prompt)
    answers = commands._answers(dict.fromkeys(("title", "size", "groups")) | {"title": "given"})
    assert asked == ["size", "groups"]
    assert answers.size == 5
    assert answers.title == "given"
    assert answers.groups == ("blocked", "random")


def test_audit_lists_holes_and_load(study):
    done = RUN.invoke(commands.app, ["audit", str(study)])
    assert done.exit_code == 0
    assert "no ethics approval" in done.output
    assert "Planned trials per participant and week" in done.output


def test_power_prints_a_curve_with_its_assumptions(study):
    done = RUN.invoke(commands.app, ["power", str(study), "--n", "6,8", "--simulations", "40"])
    assert done.exit_code == 0, done.output
    assert "false positives" in done.output
    assert "stand-in values" in done.output
    bad = RUN.invoke(commands.app, ["power", str(study), "--n", "many"])
    assert bad.exit_code != 0


def test_sheets_are_written(study, tmp_path):
    out = tmp_path / "sheets"
    done = RUN.invoke(commands.app, ["sheets", str(study), "--out", str(out), "--seed", "3"])
    assert done.exit_code == 0, done.output
    assert (out / "trials.xlsx").is_file()
    assert (out / "concealed" / "participants.csv").is_file()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["power", "STUDY", "--simulations", "many"], "must be a whole number ('many')"),
        (["power", "STUDY", "--seed", "1.5"], "must be a whole number ('1.5')"),
        (["sheets", "STUDY", "--out", "s", "--seed", "one"], "must be a whole number ('one')"),
        (["new", "x", "--n", "few"], "must be a whole number ('few')"),
        (["new", "x", "--retention-days", "week"], "must be a number ('week')"),
    ],
)
def test_options_that_are_no_numbers_are_refused_in_words(study, arguments, words):
    given = [str(study) if part == "STUDY" else part for part in arguments]
    result = RUN.invoke(commands.app, given)
    assert result.exit_code == 2
    assert words in " ".join(result.output.replace("│", " ").split())
    assert "Input should be" not in result.output
