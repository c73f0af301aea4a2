"""The one page on a study, and the recomputation of its numbers."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import studies
from typer.testing import CliRunner

from motorlearn.commands import app
from motorlearn.design import design_from_mapping
from motorlearn.exceptions import FileError, InputError
from motorlearn.plan import simulate_study
from motorlearn.report import StudyAudit, audit_study, recompute
from motorlearn.report.kept_page import changed_files, read_page
from motorlearn.report.study_page import HASH, data_hashes
from motorlearn.report.tests_run import effect_row
from motorlearn.trials import Study, Trials
from motorlearn.wording.units import units_of

PLAN = {
    "study": {"title": "Ring push", "seed": 7},
    "groups": [
        {"name": "blocked", "schedule": "blocked", "size": 8},
        {"name": "random", "schedule": "random", "size": 8},
    ],
    "tasks": [{"name": "straight"}, {"name": "lob"}],
    "practice": [{"session": 1, "day": 0, "trials_per_block": 12}],
    "tests": [
        {"phase": "pretest", "trials": 10},
        {"phase": "retention", "trials": 10, "interval_days": 7},
    ],
    "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    "primary": {"outcome": "radial_error", "groups": ["random", "blocked"]},
    "smallest_effect": {"value": 3, "reason": "what a coach sees"},
}


@pytest.fixture(scope="module")
def study():
    return simulate_study(design_from_mapping(PLAN), seed=1, missing=False)


@pytest.fixture(scope="module")
def page(study):
    return audit_study(study)


def fact(page, topic):
    return page.facts.set_index("topic").loc[topic, "finding"]


def test_the_page_names_plan_units_primary_and_seeds(page):
    assert fact(page, "unit allocated").startswith("participant")
    assert "random against blocked" in fact(page, "primary comparison")
    assert "what a coach sees" in fact(page, "smallest effect of interest")
    assert "study 7" in fact(page, "seeds")


def test_every_test_has_one_label_and_one_is_primary(page):
    assert (page.tests["label"] == "primary").sum() == 1
    row = page.tests[page.tests["label"] == "primary"].iloc[0]
    assert (row["phase"], row["contrast"]) == ("retention", "random − blocked")
    assert page.tests["label"].isin(["primary", "secondary", "sensitivity", "exploratory"]).all()


def test_flow_counts_people(page):
    assert page.flow.set_index("group").loc[
        "random", ["allocated", "Delayed retention"]
    ].tolist() == [8, 8]


def test_no_power_is_computed_from_the_result(page):
    assert "power" not in str(page).lower()


def test_the_same_study_gives_the_same_numbers(study, page):
    stored = StudyAudit.from_json(page.to_json())
    assert recompute(study, stored)["agrees"].all()


def test_a_changed_score_is_found(study, page):
    table = study.trials.table.copy()
    table.loc[table["phase"] == "retention", "radial_error"] *= 1.001
    changed = replace(study, trials=Trials(table))
    found = recompute(changed, page)
    assert not found["agrees"].all()
    assert found[~found["agrees"]]["name"].str.contains("retention").any()
    assert data_hashes(changed) != data_hashes(study)


def test_a_missing_number_does_not_agree(study, page):
    fewer = replace(page, numbers=page.numbers.iloc[1:])
    assert (~recompute(study, fewer)["agrees"]).sum() == 1


def test_numbers_agree_within_a_hundred_millionth_and_where_both_have_them(study, page):
    for factor, agrees in ((1 + 1e-6, False), (1 + 1e-10, True)):
        other = page.numbers.assign(value=page.numbers["value"] * factor)
        found = recompute(study, replace(page, numbers=other))
        large = found["stored"].abs() > 1
        assert large.any() and (found.loc[large, "agrees"] == agrees).all()
    extra = pd.DataFrame({"name": ["of an older version"], "value": [np.nan]})
    more = replace(page, numbers=pd.concat([page.numbers, extra]))
    assert recompute(study, more).set_index("name")["agrees"].idxmin() == "of an older version"


def test_a_file_that_is_gone_has_changed(study, page):
    gone = pd.DataFrame({"topic": [f"{HASH}ratings.csv"], "finding": ["0af3"]})
    before = replace(page, facts=pd.concat([page.facts, gone], ignore_index=True))
    assert changed_files(study, page) == []
    assert changed_files(study, before) == ["ratings.csv"]


@pytest.mark.parametrize(
    "spoil",
    [
        lambda page: {"facts": pd.concat([page.facts, page.facts.head(1)], ignore_index=True)},
        lambda page: {"facts": page.facts.rename(columns={"topic": "subject"})},
        lambda page: {"numbers": page.numbers[["value", "name"]]},
        lambda page: {"numbers": page.numbers.assign(value="much")},
        lambda page: {"recipe": replace(page.recipe, seed=0.5)},
    ],
    ids=["a fact twice", "another column", "another order", "no number", "half a seed"],
)
def test_a_kept_page_that_lacks_what_it_is_compared_by_is_damaged(page, tmp_path, spoil):
    (tmp_path / "page.json").write_text(replace(page, **spoil(page)).to_json(), encoding="utf-8")
    told = r"page that was kept is damaged.*keep the page again with 'motorlearn audit --store'"
    with pytest.raises(FileError, match=told):
        read_page(tmp_path / "page.json")


@pytest.mark.parametrize(
    ("changed", "role", "label", "p_adjusted"),
    [
        ({}, "primary", "primary", 0.02),
        ({"adjusted": False}, "primary", "secondary", 0.05),
        ({"kind": "simple effect"}, "primary", "secondary", 0.05),
        ({"phase": "pretest"}, "primary", "secondary", 0.05),
        ({"group": "aid", "reference": "none"}, "primary", "secondary", 0.05),
        ({}, "secondary", "exploratory", 0.05),
    ],
)
def test_one_effect_of_factors_is_primary_and_keeps_its_p(changed, role, label, p_adjusted):
    main = {"outcome": "radial_error", "group": "random", "reference": "blocked"}
    numbers = {"estimate": -2.0, "conf_low": -3.0, "conf_high": -1.0, "p": 0.02}
    design = design_from_mapping(PLAN)
    analysis = SimpleNamespace(
        primary=pd.DataFrame([main | numbers]),
        question=SimpleNamespace(primary_stage=SimpleNamespace(name="retention")),
        design=design.model_copy(update={"primary": SimpleNamespace(factors=("order",))}),
        adjusted=True,
    )
    row = numbers | {"kind": "main effect", "phase": "retention", "adjusted": True,
                     "effect": "difference", "term": "order", "method": "m", "at": "",
                     "at_reference": "", "p_adjusted": 0.05, **main} | changed  # fmt: skip
    name = "radial_error" if role == "primary" else "time"
    found = effect_row(analysis, SimpleNamespace(name=name, role=role), row)
    assert (found["label"], found["p_adjusted"]) == (label, p_adjusted)


def test_a_plan_without_any_outcome_in_the_data_is_refused(study):
    table = study.trials.table.drop(columns=["radial_error", "x", "y"])
    with pytest.raises(InputError, match="'radial_error' of the plan is no column"):
        audit_study(replace(study, trials=Trials(table)))


def test_one_group_has_a_page_without_contrasts(study):
    plan = design_from_mapping({**PLAN, "groups": PLAN["groups"][:1], "primary": None})
    table = study.trials.table
    alone = replace(
        study, design=plan, trials=Trials(table[table["group"] == "blocked"]), participants=None
    )
    page = audit_study(alone)
    assert "none declared" in fact(page, "primary comparison")
    assert page.tests["family"].eq("").all() and page.primary["reference"].item() == "pretest"
    change = page.tests[page.tests["contrast"] == "blocked: retention against pretest"]
    assert change["p"].item() == page.primary["p"].item()


# The command ------------------------------------------------------------------------------------


def folder_of(study, path, scale=1.0):
    table = study.trials.table.copy()
    table["radial_error"] *= scale
    table.drop(columns=["x", "y", "hit"], errors="ignore").to_csv(path / "trials.csv", index=False)
    study.participants.to_csv(path / "participants.csv", index=False)
    (path / "study.toml").write_text(
        """
[study]
title = "Ring push"
[units]
length = "cm"
[[groups]]
name = "blocked"
schedule = "blocked"
[[groups]]
name = "random"
schedule = "random"
[[tasks]]
name = "straight"
[[tasks]]
name = "lob"
[[practice]]
session = 1
day = 0
trials_per_block = 12
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
[files]
participants = "participants.csv"
""",
        encoding="utf-8",
    )
    return path


def test_the_command_stores_a_page_and_holds_a_later_run_against_it(study, tmp_path):
    folder = folder_of(study, tmp_path)
    kept = tmp_path / "audit.json"
    run = CliRunner()
    first = run.invoke(app, ["audit", str(folder), "--store", str(kept)])
    assert first.exit_code == 0, first.output
    assert "The study on one page" in first.output
    same = run.invoke(app, ["audit", str(folder), "--against", str(kept)])
    assert same.exit_code == 0, same.output
    assert "agree" in same.output and "Changed since" not in same.output
    folder_of(study, tmp_path, scale=1.01)
    changed = run.invoke(app, ["audit", str(folder), "--against", str(kept)])
    assert changed.exit_code == 1
    assert "differ" in changed.output
    assert "Changed since the page was kept: trials.csv\n" in changed.output
    assert "study.toml" not in changed.output.partition("Changed since")[2]


def test_a_progress_test_that_is_given_twice_is_two_tests():
    rows = [
        (f"P{i:02d}", "all", phase, session, hits + i % 5, 20)
        for i in range(8)
        for phase, session, hits in (("progress", 2, 4), ("progress", 4, 9), ("retention", 5, 7))
    ]
    names = ["participant", "group", "phase", "session", "hits", "attempts"]
    tests = [
        {"phase": "progress", "session": 2, "week": 2, "trials": 20},
        {"phase": "progress", "session": 4, "week": 4, "trials": 20},
        {"phase": "retention", "session": 5, "trials": 20, "interval_days": 7},
    ]
    plan = {"study": {"title": "Ring push"}, "groups": [{"name": "all"}], "tests": tests,
            "outcomes": [{"name": "hits", "better": "higher", "low": 0, "high": 20}]}  # fmt: skip
    study = Study(design_from_mapping(plan), Trials(pd.DataFrame(rows, columns=names)))
    page = audit_study(study)
    tests_of_flow = ["Progress test 1", "Progress test 2", "Delayed retention"]
    assert list(page.flow.columns) == ["group", "allocated", *tests_of_flow]
    shape = page.assumptions.query("assumption == 'changes are roughly normal'")
    assert len(shape) and shape["finding"].str.startswith("All 8 changes are alike").all()
    assert (shape["grade"] == "look").all()


def test_stored_pages_are_results(page):
    pd.testing.assert_frame_equal(StudyAudit.from_json(page.to_json()).tests, page.tests)


def test_the_page_lists_the_tests_of_the_report_with_the_same_family():
    plan = {
        **PLAN,
        "groups": [*PLAN["groups"], {"name": "serial", "schedule": "serial", "size": 8}],
    }
    study = simulate_study(design_from_mapping(plan), seed=1, missing=False)
    tests = audit_study(study).tests
    adjusted = tests[tests["family"] == "radial_error at retention, adjusted"]
    assert set(adjusted["contrast"]) == {"serial − blocked"}
    alone = tests[tests["label"] == "primary"]
    assert alone["contrast"].item() == "random − blocked"
    assert alone["p_adjusted"].item() == alone["p"].item()
    assert "acquisition" in set(tests["phase"])


def test_data_read_by_a_recipe_get_their_page_and_hash(study, tmp_path):
    folder_of(study, tmp_path)
    (tmp_path / "trials.csv").rename(tmp_path / "log.csv")
    plan = tmp_path / "study.toml"
    plan.write_text(plan.read_text("utf-8") + '\n[import]\nfile = "log.csv"\n', "utf-8")
    done = CliRunner().invoke(app, ["audit", str(tmp_path)])
    assert "SHA-256 of log.csv" in done.output


@pytest.mark.parametrize(
    ("name", "allocated", "analysed"),
    [
        ("timed_task", "participant, in permuted blocks", "participant: one score"),
        ("classes", "class, as a whole", "class: one mean per class and test"),
        ("crossover", "order of conditions, in permuted blocks", "participant: the difference"),
        ("one_athlete", "conditions of sessions, by lot", "session of a person"),
    ],
)
def test_the_units_are_those_of_the_design(name, allocated, analysed):
    facts = units_of(getattr(studies, name)().design)
    assert facts["unit allocated"] == allocated
    assert facts["unit analysed"].startswith(analysed)
