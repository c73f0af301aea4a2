"""Problems shown: on the console, as a table, as a page; ten thousand stay readable."""

from html.parser import HTMLParser

import pandas as pd
from typer.testing import CliRunner

from motorlearn.commands import app
from motorlearn.tables import to_csv, to_html, to_text
from motorlearn.trials import (
    no_problems,
    problem_counts,
    problem_list,
    problem_page,
    read_trials,
)
from motorlearn.trials.checking.problem_page import problem_table
from motorlearn.trials.checking.problems import gather, problem_frame

NASTY = '<script>alert("x")</script>'


def many(count=10_000):
    rules = [("text among numbers", "error"), ("near-duplicate identifiers", "doubt")]
    size = count // 2
    return gather(
        [
            problem_frame(
                rule,
                severity=severity,
                file="t.csv",
                row=list(range(2, size + 2)),
                column="x",
                value=[f"{NASTY}{i}" for i in range(size)],
                advice="look",
            )
            for rule, severity in rules
        ]
    )


class Tags(HTMLParser):
    def __init__(self, page):
        super().__init__()
        self.tags = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)


def test_ten_thousand_problems_stay_readable_on_the_console():
    text = problem_list(many())
    assert text.startswith("5000 errors, 5000 doubts (1 question), 0 notes.")
    assert len(text.splitlines()) < 25
    assert "and 4995 more" in text


def test_the_page_escapes_what_stood_in_the_file_and_counts_the_rest():
    page = problem_page(many())
    tags = Tags(page).tags
    assert "script" not in tags
    assert tags.count("details") == 2
    assert tags.count("tr") == 2 * 201
    assert page.count("and 4800 more") == 2
    assert "http" not in page
    assert len(page) < 300_000


def test_the_table_has_every_writer_and_counts_every_problem():
    table = problem_table(many())
    assert table.rows["count"].sum() == 10_000
    assert "<script>" not in to_html(table)
    assert "text among numbers" in to_text(table)
    assert to_csv(table).count("\r\n") == 3


def test_no_problems_are_said_too():
    assert problem_list(no_problems()) == "No problems found."
    assert "No problems found." in problem_page(no_problems())
    assert problem_counts(no_problems()).empty


def test_problems_come_with_the_weightiest_first():
    frame = gather(
        [
            problem_frame("c", severity="note", advice="a", row=1),
            problem_frame("b", severity="error", advice="a", row=9),
            problem_frame("a", severity="doubt", advice="a", row=2),
        ]
    )
    assert frame["severity"].tolist() == ["error", "doubt", "note"]
    assert isinstance(frame["row"].dtype, pd.Int64Dtype)


def test_check_lists_problems_and_exits_by_the_errors(study_folder):
    runner = CliRunner()
    clean = runner.invoke(app, ["check", str(study_folder.write())])
    assert (clean.exit_code, clean.output) == (0, "No problems found.\n")
    study_folder.trials["task"] = study_folder.trials["task"].replace("bank", "bnak")
    page = study_folder.path / "problems.html"
    result = runner.invoke(app, ["check", str(study_folder.write()), "--page", str(page)])
    assert result.exit_code == 1
    assert "task not in the plan: 1" in result.output
    assert "bnak" in page.read_text(encoding="utf-8")


def test_commands_turn_our_errors_into_one_line(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["motorlearn", "check", str(tmp_path)])
    try:
        __import__("motorlearn.commands", fromlist=["main"]).main()
    except SystemExit as stop:
        assert stop.code == 2
    assert capsys.readouterr().err.startswith("motorlearn: there is no study plan")


def test_import_and_share_from_the_command_line(study_folder, tmp_path_factory):
    runner = CliRunner()
    place = tmp_path_factory.mktemp("elsewhere")
    file = place / "log.csv"
    study_folder.trials.to_csv(file, index=False, sep=";", decimal=",")
    result = runner.invoke(app, ["import", str(file), "--study", str(study_folder.write())])
    assert result.exit_code == 0, result.output
    assert "Proposed reading of log.csv" in result.output
    result = runner.invoke(app, ["share", str(study_folder.path), "--out", str(place / "pack")])
    assert result.exit_code == 0, result.output
    assert "Left out: trials.date" in result.output


def test_signs_a_terminal_would_obey_are_shown_as_escapes(tmp_path):
    file = tmp_path / "t.csv"
    file.write_text("participant,x\np1,1\np2,\x1b[31mred\np3,2\np4,\u202e9\n", encoding="utf-8")
    text = problem_list(read_trials(file).problems)
    assert "\x1b" not in text and "\u202e" not in text
    assert "\\x1b[31mred" in text
