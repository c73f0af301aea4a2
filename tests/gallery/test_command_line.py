"""Studies through the command line, as a user meets them: what is said and with which exit code."""

import sys

import pytest
import studies
from test_one_answer import BAD

from motorlearn import commands


@pytest.fixture
def run(monkeypatch, capsys):
    """Run a command; gives its exit code and everything it said."""

    def run(*arguments):
        monkeypatch.setattr(sys, "argv", ["motorlearn", *map(str, arguments)])
        try:
            commands.main()
            code = 0
        except SystemExit as end:
            code = end.code or 0
        said = capsys.readouterr()
        return code, said.out + said.err

    return run


@pytest.mark.parametrize("name", studies.REFUSED)
def test_a_study_without_a_primary_answer_gets_its_page(name, run, tmp_path):
    folder = studies.write(studies.REFUSED[name](), tmp_path / "study")
    code, said = run("audit", folder)
    assert code == 0, said
    assert "not computed" in said and "Traceback" not in said


@pytest.mark.parametrize("name", ["no column", "no value", "hits without a column"])
@pytest.mark.parametrize("command", ["audit", "report"])
def test_a_plan_that_does_not_fit_ends_in_one_sentence(name, command, run, tmp_path):
    make, said = BAD[name]
    folder = studies.write(make(), tmp_path / "study")
    options = ["--out", tmp_path / "out"] if command == "report" else []
    code, told = run(command, folder, *options)
    assert code == 2 and said in " ".join(told.split())
    assert "Traceback" not in told and not (tmp_path / "out").exists()


@pytest.mark.slow
@pytest.mark.parametrize("name", [*list(studies.COMPUTED)[3:], *studies.REFUSED])
def test_every_study_becomes_a_report(name, run, tmp_path):
    # The first three have the plan of the shipped study, whose report is tested in tests/report.
    make = (studies.COMPUTED | studies.REFUSED)[name]
    found = make()
    folder = studies.write(found, tmp_path / "study")
    code, said = run("report", folder, "--out", tmp_path / "out", "--quiet")
    assert code == 0, said
    page = (tmp_path / "out" / "report.html").read_text("utf-8")
    assert found.design.study.title in page and "attempts=" not in page
