"""The commands of the programme page run as they stand, with filled sheets in between."""

import re
import shlex
from pathlib import Path

import pytest
from field_days import fill_ratings, fill_sessions, fill_tests
from typer.testing import CliRunner

from motorlearn import commands

PAGE = Path(__file__).parents[2] / "docs" / "programme.md"
BLOCKS = re.findall(r"^```console\n(.*?)^```", PAGE.read_text(encoding="utf-8"), re.M | re.S)
LINES = [line for block in BLOCKS for line in block.splitlines() if line.strip()]


def test_the_programme_takes_at_most_twelve_commands():
    assert 5 <= len(LINES) <= 12


def test_the_commands_lead_from_an_empty_folder_to_the_learners(tmp_path, monkeypatch, no_pictures):
    monkeypatch.chdir(tmp_path)
    for line in LINES:
        arguments = shlex.split(line)[1:]
        done = CliRunner().invoke(commands.app, arguments)
        assert done.exit_code == 0, f"{line}\n{done.output}{done.exception!r}"
        if arguments[0] == "sheets":
            fill_tests(Path("ring"))
            fill_sessions(Path("ring"))
            fill_ratings(Path("ring"))
    assert len(list(Path("ring-pages/learners").glob("*.html"))) == 14
    text = Path("ring-report/report.html").read_text(encoding="utf-8")
    assert "of 20" in text
    wrongs = (" in programme", "participant, by none", "all 1 of 14", "arose by allocation")
    for wrong in (*wrongs, "its own schedule", "schedules are equivalent"):
        assert wrong not in text


@pytest.mark.parametrize("word", ["phases", "faults", "checklist", "drills"])
def test_the_page_names_what_is_to_be_written(word):
    assert word in PAGE.read_text(encoding="utf-8")
