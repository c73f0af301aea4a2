"""The registration of a plan: its text, the plan that is kept, and the report that comes later."""

import datetime
import io
import re

import docx
import pytest
from typer.testing import CliRunner

import motorlearn as ml
from motorlearn.commands import app
from motorlearn.exceptions import FileError, InputError
from motorlearn.plan import simulate_study
from motorlearn.plan.registered import registered_versions
from motorlearn.report import register_plan, supervisor_page
from motorlearn.report.sections.results import compose
from motorlearn.report.view import view_of
from motorlearn.wording import method

PLAN = """
[study]
title = "Ring push"
question = "Is the radial error smaller after random practice?"
[units]
length = "cm"
[[groups]]
name = "blocked"
schedule = "blocked"
size = 8
[[groups]]
name = "random"
schedule = "random"
size = 8
[[tests]]
phase = "pretest"
trials = 10
[[tests]]
phase = "retention"
trials = 10
interval_days = 7
[[outcomes]]
name = "radial_error"
unit = "cm"
better = "lower"
[primary]
outcome = "radial_error"
groups = ["random", "blocked"]
[smallest_effect]
value = 3
reason = "what a coach sees"
[assumptions]
baseline = 38
between_sd = 6
within_sd = 15
[[exclusions]]
rule = "trials in which the ring left the lane"
[files]
trials = "trials.csv"
"""
DAY = datetime.date(2026, 1, 5)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "study.toml").write_text(PLAN, "utf-8")
    return tmp_path


def test_the_text_has_the_order_of_a_registration_and_the_plan_s_own_numbers(folder):
    file, version = register_plan(folder, folder / "plan.md", simulations=40, today=DAY)
    text = file.read_text("utf-8")
    heads = [line[3:] for line in text.splitlines() if line.startswith("## ")]
    assert heads == [
        "Question and hypotheses", "Design", "Sample", "Outcomes", "Analysis",
        "Departures from this plan", "Ethics, data and code", "How this text was made",
    ]  # fmt: skip
    assert "Nothing had been recorded at that time" in text and "2026-01-05" in text
    assert version.sha256 in text
    assert "trials in which the ring left the lane" in text
    assert "what a coach sees" in text
    assert "difference of random against blocked in radial error at retention" in text
    assert "smallest of interest" in text and "| 40 |" in text
    assert "None" not in text.replace("None is declared", "") and "nan" not in text
    assert "Say who knows the groups: those who teach, test, rate and analyse." in text
    none = "None is declared; whatever else is computed explores, and is told as such."
    assert f"## Secondary analyses\n\n{none}\n" in text


def test_who_knows_the_groups_need_not_be_asked_of_blinded_tests(folder):
    blinded = PLAN.replace("trials = 10", "trials = 10\nblinded = true")
    (folder / "study.toml").write_text(blinded, "utf-8")
    text = register_plan(folder, folder / "plan.md", simulations=40, today=DAY)[0].read_text(
        "utf-8"
    )
    assert "Whoever tests does not know the groups." in text and "Say who knows" not in text


def test_the_word_text_says_the_same_as_the_other(folder):
    plain, _ = register_plan(folder, folder / "plan.md", simulations=40, today=DAY)
    office, _ = register_plan(folder, folder / "plan.docx", simulations=40, today=DAY)
    read = docx.Document(io.BytesIO(office.read_bytes()))
    said = " ".join(p.text for p in read.paragraphs)
    for sentence in (
        "Nothing had been recorded at that time.",
        "Planned number of people: blocked 8",
    ):
        assert sentence in said and sentence in plain.read_text("utf-8")


def test_a_plan_that_cannot_be_simulated_says_so(folder):
    plan = folder / "study.toml"
    plan.write_text(plan.read_text("utf-8").replace("[assumptions]\nbaseline = 38\nbetween_sd = 6\n"
                                                    "within_sd = 15\n", ""), "utf-8")  # fmt: skip
    text = register_plan(folder, folder / "plan.md", simulations=40)[0].read_text("utf-8")
    assert "The power of this plan could not be simulated" in text


def test_the_report_sets_the_registered_plan_beside_the_present_one(folder):
    design = ml.read_design(folder)
    study = simulate_study(design, seed=4, missing=False)
    study.trials.table.to_csv(folder / "trials.csv", index=False)
    kept = registered_versions(folder)
    assert kept == ()
    page = supervisor_page(ml.read_study(folder))
    assert "not registered" in dict(page.entries)["registration"][0]
    text = register_plan(folder, folder / "late.md", simulations=40, today=DAY)[0].read_text(
        "utf-8"
    )
    assert "this is no registration before the data" in text
    plan = folder / "study.toml"
    plan.write_text(plan.read_text("utf-8").replace("value = 3", "value = 2"), "utf-8")
    analysis = ml.analyse_study(ml.read_study(folder))
    document = compose(view_of(analysis, decimal="."), versions={"motorlearn": "test"})
    (changes,) = [table for table in document.tables if table.name == "plan-changes"]
    assert changes.rows.to_dict("records") == [
        {
            "date": "not registered",
            "entry": "smallest_effect.value",
            "before": "3.0",
            "after": "2.0",
        }
    ]
    said = dict(supervisor_page(analysis).entries)["registration"][0]
    told = r"when (160|320) trials had been recorded\. 1 entry was changed after"
    assert re.search(told, said)
    text = " ".join(document.texts)
    assert re.search(told + ", 1 of them without being registered", text)


@pytest.mark.parametrize("name", ["plan.pdf", "plan", "plan.txt"])
def test_another_ending_is_refused(folder, name):
    with pytest.raises(InputError, match=r"end the name in \.docx or \.md"):
        register_plan(folder, folder / name)


def test_files_of_the_study_and_of_others_are_kept(folder):
    mine = folder / "notes.md"
    mine.write_text("my own notes", "utf-8")
    with pytest.raises(FileError, match="not made by this command"):
        register_plan(folder, mine, simulations=40)
    assert mine.read_text("utf-8") == "my own notes"


def test_the_command_says_what_it_wrote(folder):
    out = folder / "registration.md"
    done = CliRunner().invoke(
        app, ["register", str(folder), "--out", str(out), "--simulations", "40"]
    )
    assert done.exit_code == 0, done.output
    assert "Registration written" in done.output and "SHA-256 of study.toml" in done.output
    assert out.is_file() and len(registered_versions(folder)) == 1


def test_a_registration_speaks_of_what_is_to_come_with_looks_and_alternatives(folder):
    plan = folder / "study.toml"
    looks = '[interim]\nfractions = [0.5, 1.0]\n[multiverse]\neffects = ["ratio"]\n'
    plan.write_text(plan.read_text("utf-8") + looks, "utf-8")
    text = register_plan(folder, folder / "plan.md", simulations=40, today=DAY)[0].read_text(
        "utf-8"
    )
    for said in (
        "The outcome will be radial error", "Groups will be compared", "trials will never be",
        "Tests will be:", "Practice conditions will be", "planned at 8 and 16 people",
        "nominal levels .0031 and .049", "all 2 combinations", "Interim looks by simulation",
    ):  # fmt: skip
        assert said in text, said
    for past in (" was ", " were ", "took"):
        assert past not in text.replace("this text was made", ""), past


def test_a_plan_without_data_is_told_in_the_future_and_a_method_in_the_past(folder):
    assert "Groups were compared" in method.analysis_paragraph(ml.read_design(folder), {})
    rows = [
        f"P{person},{group},{phase},1,"
        for person, group in enumerate(("blocked", "random"))
        for phase in ("pretest", "retention")
    ]
    head = "participant,group,phase,trial,radial_error"
    (folder / "trials.csv").write_text("\n".join([head, *rows]) + "\n", "utf-8")
    ml.write_report(ml.read_study(folder), folder / "out", quiet=True)
    assert "Groups will be compared" in (folder / "out" / "report.html").read_text("utf-8")
