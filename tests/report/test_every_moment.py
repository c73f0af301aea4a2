"""A programme can be checked, audited and reported at every moment of its life."""

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import studies
from field_days import fill_sessions, fill_tests, programme_folder
from typer.testing import CliRunner

import motorlearn as ml
from motorlearn import commands
from motorlearn.analysis.study import page_analysis
from motorlearn.design import design_from_mapping
from motorlearn.exceptions import FileError
from motorlearn.figures import design_timeline
from motorlearn.plan import Answers, programme_tables, programme_text
from motorlearn.report.figure_cache import Kept
from motorlearn.report.sections.before_data import compose_plan, nothing_recorded
from motorlearn.report.sections.closing import limits_of
from motorlearn.report.sections.exhibits import scores_figure
from motorlearn.report.sections.study_tables import programme_table
from motorlearn.report.view import view_of
from motorlearn.report.writers.contents import Text
from motorlearn.trials import Study, Trials
from motorlearn.wording.captions import effects_words
from motorlearn.wording.method import outcome_paragraph

RUN = CliRunner()


def run(*arguments):
    return RUN.invoke(commands.app, [str(part) for part in arguments])


@pytest.mark.parametrize(
    ("tests", "sessions"),
    [(0, 0), (1, 1), (2, 4), pytest.param(3, 8, marks=pytest.mark.slow)],
)
def test_a_running_programme_is_checked_audited_and_reported(
    tmp_path, no_pictures, tests, sessions
):
    folder = programme_folder(tmp_path / "ring", size=6)
    fill_tests(folder, tests=tests)
    fill_sessions(folder, sessions=sessions)
    assert run("check", folder).exit_code == 0
    audit = run("audit", folder)
    assert audit.exit_code == 0, audit.output + repr(audit.exception)
    report = run("report", folder, "--out", tmp_path / "report", "--quiet")
    assert report.exit_code == 0, report.output + repr(report.exception)
    text = (tmp_path / "report" / "report.html").read_text(encoding="utf-8")
    assert ("hits of 20 were" in text) == (tests > 0)
    assert ("Nothing has been recorded yet" in text) == (tests == 0)


def test_the_report_of_a_plan_tells_no_result(tmp_path, no_pictures):
    folder = tmp_path / "ring"
    folder.mkdir()
    (folder / "study.toml").write_text(programme_text(Answers(title="Ring push", size=9, seed=1)))
    made = run("report", folder, "--out", tmp_path / "report", "--quiet", "--final")
    assert made.exit_code == 0, made.output + repr(made.exception)
    kept = json.loads((tmp_path / "report" / "results.json").read_text(encoding="utf-8"))
    assert kept["analysis"]["refused"] == "nothing has been recorded yet"
    assert kept["results"] == {}
    text = " ".join(kept["sentences"])
    assert "programme n = 9" in text and "p =" not in text
    assert "one group" in kept["tables"]["holes"]["frame"]["topic"]
    assert {"report.docx", "figures", "tables"} <= {p.name for p in (tmp_path / "report").iterdir()}
    assert run("learners", folder, "--out", tmp_path / "pages").exit_code == 0


@pytest.mark.parametrize(
    ("more", "people", "said"),
    [
        ({}, None, "The plan has 2 groups (blocked n = 12 and random n = open)."),
        ({}, [], "The plan has 2 groups (blocked n = 12 and random n = open)."),
        (
            {},
            ["random", "blocked", "random"],
            "3 participants are listed (blocked n = 1 and random n = 2).",
        ),
        ({}, ["random"], "1 participant is listed (random n = 1)."),
        (
            {"within": {"by": "period"}},
            None,
            "Each participant will meet every condition, n = 12. Orders planned: blocked then "
            "random and random then blocked.",
        ),
        (
            {"within": {"by": "period"}},
            ["random then blocked", "blocked then random", "random then blocked"],
            "3 participants are listed (blocked then random n = 1 and random then blocked n = 2).",
        ),
    ],
)
def test_a_plan_tells_who_is_listed_by_group_or_by_order(more, people, said):
    groups = [{"name": "blocked", "schedule": "blocked", "size": 12}, studies.TWO[1]]
    design = design_from_mapping(studies.plan(studies.ERROR, groups=groups, **more))
    names = None if people is None else [f"P{i}" for i in range(len(people))]
    table = None if people is None else pd.DataFrame({"participant": names, "group": people})
    study = Study(design, Trials(pd.DataFrame({"participant": [], "phase": []})), table)
    document = compose_plan(study, kept=Kept(), decimal=".", draft=False, versions={})
    texts = [block.text for block in document.blocks if isinstance(block, Text)]
    assert any(text.endswith(said) for text in texts)


def test_a_file_of_trials_that_is_spelt_otherwise_is_no_study_to_come(tmp_path):
    folder = programme_folder(tmp_path / "ring", size=3)
    (folder / "sheets" / "tests.xlsx").rename(folder / "sheets" / "Tests.xlsx")
    made = run("report", folder, "--out", tmp_path / "report", "--quiet")
    assert isinstance(made.exception, FileError)


def test_blank_practice_rows_stop_nothing(tmp_path, no_pictures):
    folder = programme_folder(tmp_path / "ring", size=6)
    plan = folder / "study.toml"
    plan.write_text(plan.read_text().replace("sheets/tests.xlsx", "sheets/trials.csv"))
    rows = pd.read_csv(folder / "sheets" / "trials.csv")
    tested = rows["phase"] == "pretest"
    rows.loc[tested, "hit"] = [int(i % 3 == 0) for i in range(tested.sum())]
    rows.to_csv(folder / "sheets" / "trials.csv", index=False)
    study = ml.read_study(folder)
    assert set(study.trials.table["phase"]) == {"pretest"}
    assert (study.problems["severity"] == "error").sum() == 0
    note = study.problems[study.problems["rule"] == "not filled in"]
    assert note["value"].tolist() == ["acquisition of 6, progress of 6, retention of 6"]
    ml.write_report(study, tmp_path / "report", quiet=True)


def test_an_absent_learner_is_not_scored_as_no_hit_of_no_attempt(tmp_path):
    folder = programme_folder(tmp_path / "ring", size=3)
    plan = folder / "study.toml"
    plan.write_text(plan.read_text().replace("sheets/tests.xlsx", "sheets/trials.csv"))
    rows = pd.read_csv(folder / "sheets" / "trials.csv")
    there = rows["participant"] != "P02"
    rows.loc[there, "hit"] = 1
    rows.to_csv(folder / "sheets" / "trials.csv", index=False)
    scores = ml.score_trials(ml.read_study(folder).trials.table, ["participant", "phase"])
    assert set(scores["participant"]) == {"P01", "P03"}
    assert (scores["attempts"] > 0).all()


def test_values_in_columns_of_the_plan_are_results():
    """Outcomes whose columns have names of their own: their values had been taken for nothing."""
    recorded = studies.COMPUTED["errors and exclusions"]()
    assert not {"error", "x", "y", "score"} & set(recorded.trials.table)
    assert not nothing_recorded(recorded)
    empty = recorded.trials.table.assign(angle=np.nan, reached=np.nan)
    assert nothing_recorded(replace(recorded, trials=replace(recorded.trials, table=empty)))


def test_a_test_still_to_come_is_told_once_and_blamed_on_nobody():
    found = view_of(ml.analyse_study(studies.before_the_last_test()), decimal=".")
    assert found.departures.empty
    said = " ".join(limits_of(found))
    assert "Nobody has a score at the last test: it is to come, or rows are missing." in said
    assert "those who stay" not in said and "0 participants" not in said


def test_a_group_that_nobody_of_is_left_in_is_told_as_such():
    found = view_of(ml.analyse_study(studies.no_retention_in_a_group()), decimal=".")
    said = " ".join(limits_of(found))
    assert "Nobody of random has a score at the last test, so nothing is said of it." in said
    assert "0 participants" not in said
    entry = found.outcomes[0]
    words = effects_words(entry.comparison.contrasts, entry.voice, None)
    assert "days after the last practice) not computed" in words.alt and "–" not in words.alt


def test_rates_of_hits_are_called_so_in_the_method_too():
    outcome = {"name": "hit", "better": "higher"}
    said = outcome_paragraph(design_from_mapping(studies.plan(outcome)))
    assert "The outcome was hit rate (higher is better)" in said
    assert "declared beforehand, was hit rate at" in said


def test_a_pretest_without_a_day_stands_before_tests_with_one():
    tests = [
        {"phase": "progress", "name": "early", "day": 3, "trials": 5},
        {"phase": "retention", "trials": 5},
        {"phase": "pretest", "trials": 5},
    ]
    design = design_from_mapping(studies.plan(studies.ERROR, tests=tests, practice=None))
    assert list(programme_table(design).rows["part"]) == ["Pretest", "Early", "Retention"]


def test_while_practice_goes_on_the_scores_drawn_are_those_of_the_last_test():
    tests = [{"phase": "pretest", "trials": 5}, {"phase": "posttest", "trials": 5}]
    table = studies.trials(6, [("pretest", 1, 1, 5), ("acquisition", 1, 1, 5)], seed=4)
    one = studies.study(studies.plan(studies.ERROR, tests=tests, primary=None), table)
    found = view_of(page_analysis(one, mixed=False), decimal=".")
    assert [stage.phase for stage in found.stages] == ["pretest", "acquisition"]
    asked = []

    def draw(*values, **options):
        asked.append(options["phases"])
        return SimpleNamespace(with_words=lambda caption, alt: caption)

    caption = scores_figure(replace(found, kept=SimpleNamespace(draw=draw)), found.outcomes[0])
    assert asked == [["Pretest"]] and "pretest" in caption


def test_the_days_of_a_plan_are_the_same_wherever_they_stand():
    content = {
        "tests": [
            {"phase": "pretest", "trials": 5},
            {"phase": "posttest", "trials": 5},
            {"phase": "retention", "trials": 5},
            {"phase": "transfer", "trials": 5, "interval_days": 3},
        ],
        "practice": [{"session": k, "day": 2.0 * k, "trials_per_block": 10} for k in (1, 2)],
    }
    design = design_from_mapping(studies.plan(studies.ERROR, **content))
    days = [2, 2, 4, 4, None, 7]
    shown = programme_table(design).rows.set_index("part")["day"]
    assert shown["Pretest"] == 2 and shown["Posttest"] == 4 and shown["Transfer"] == 7
    assert np.isnan(shown["Retention"])
    planned = programme_tables(design)[0].rows.set_index("what")["day"]
    assert planned.dropna().tolist() == [day for day in days if day is not None]
    assert np.isnan(planned["Delayed retention"])
    alt = design_timeline(design).alt
    for part in ("pretest (day 2", "posttest (day 4", "retention (day not", "transfer (day 7"):
        assert part in alt
