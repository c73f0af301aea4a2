"""The tutorial: its commands run in an empty folder as they stand, and print what it shows."""

import re
import shlex
from pathlib import Path

import pytest
import tomlkit
from typer.testing import CliRunner

from motorlearn import commands

PAGE = Path(__file__).parents[2] / "docs" / "tutorial.md"
BLOCK = re.compile(r"^```(console|text|toml|py)\n(.*?)^```", re.MULTILINE | re.DOTALL)
BLOCKS = BLOCK.findall(PAGE.read_text(encoding="utf-8"))
ANALYSIS = ("motorlearn report", "motorlearn audit rehearsal")


def follow(blocks):
    """Do what each block says; what the commands printed, with what the page shows of it."""
    printed, pairs = "", []
    for kind, text in blocks:
        if kind == "console":
            printed = "".join(run(line) for line in text.splitlines())
        elif kind == "toml":
            write_into_plan(text)
        elif kind == "py":
            exec(compile(text, "tutorial", "exec"), {"__name__": "page"})
        else:
            pairs.append((text, printed))
    return pairs


def run(line):
    done = CliRunner().invoke(commands.app, shlex.split(line)[1:])
    assert done.exit_code == 0, f"{line}\n{done.output}{done.exception!r}"
    return done.output


def write_into_plan(text):
    """Type the keys of a block into the plan, each under its heading."""
    file = Path("ring/study.toml")
    plan = tomlkit.parse(file.read_text(encoding="utf-8"))
    for heading, keys in tomlkit.parse(text).items():
        plan.setdefault(heading, tomlkit.table()).update(keys)
    file.write_text(tomlkit.dumps(plan), encoding="utf-8")


def missing_lines(shown, printed):
    """Lines of the page that the command did not print, in their order; ``…`` stands for any."""
    left, lost = printed.splitlines(), []
    for line in shown.splitlines():
        wanted = ".*".join(map(re.escape, line.rstrip().split("…")))
        places = [k for k, got in enumerate(left) if re.fullmatch(wanted, got.rstrip())]
        if places:
            left = left[places[0] + 1 :]
        elif line.strip() not in ("", "…"):
            lost.append(line)
    return lost


def test_a_line_that_was_not_printed_is_found():
    assert missing_lines("a\n…\nc 1…3\n", "a\nb\nc 1 2 3\n") == []
    assert missing_lines("a\nb\n", "b\na\n") == ["b"]


def is_analysis(block):
    return block[0] == "console" and block[1].startswith(ANALYSIS)


def without_analysis(blocks):
    """The blocks without the two commands that take long, and without what these print."""
    kept, skipping = [], False
    for block in blocks:
        skipping = is_analysis(block) or (skipping and block[0] == "text")
        if not skipping:
            kept.append(block)
    return kept


def check(blocks, folder, monkeypatch):
    monkeypatch.chdir(folder)
    pairs = follow(blocks)
    assert pairs
    for shown, printed in pairs:
        assert missing_lines(shown, printed) == [], printed


def test_the_first_hour_runs_and_prints_what_the_page_shows(tmp_path, monkeypatch):
    assert sum(map(is_analysis, BLOCKS)) == 2
    check(without_analysis(BLOCKS), tmp_path, monkeypatch)


@pytest.mark.slow
def test_the_report_of_the_first_hour_is_as_the_page_says(tmp_path, monkeypatch):
    check(BLOCKS, tmp_path, monkeypatch)
    assert (tmp_path / "first-report" / "report.html").is_file()
