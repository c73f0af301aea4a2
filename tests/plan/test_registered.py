"""Registered versions of a plan: kept once, read back, and held against the plan as it is."""

import datetime
import hashlib
import json

import pytest

from motorlearn.design import read_design
from motorlearn.exceptions import FileError
from motorlearn.plan.registered import (
    KEPT,
    plan_changes,
    register_version,
    registered_versions,
)

PLAN = """
[study]
title = "Ring push"
[[groups]]
name = "blocked"
size = 12
[[groups]]
name = "random"
size = 12
[[tests]]
phase = "pretest"
trials = 20
[[tests]]
phase = "retention"
trials = 20
interval_days = 7
[[outcomes]]
name = "hits"
better = "higher"
"""
FIRST, LATER = datetime.date(2026, 1, 5), datetime.date(2026, 2, 9)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "study.toml").write_text(PLAN, "utf-8")
    return tmp_path


def change(folder, old, new):
    file = folder / "study.toml"
    file.write_text(file.read_text("utf-8").replace(old, new), "utf-8")


def test_a_plan_is_kept_with_day_checksum_and_trials(folder):
    version, new = register_version(folder, read_design(folder), recorded=0, today=FIRST)
    assert new and version.date == "2026-01-05" and version.recorded == 0
    assert version.sha256 == hashlib.sha256((folder / "study.toml").read_bytes()).hexdigest()
    assert registered_versions(folder) == (version,)
    again, new = register_version(folder, read_design(folder), recorded=9, today=LATER)
    assert not new and again == version and len(registered_versions(folder)) == 1


def test_every_change_is_told_with_the_day_it_was_registered(folder):
    register_version(folder, read_design(folder), recorded=0, today=FIRST)
    change(folder, 'name = "random"\nsize = 12', 'name = "random"\nsize = 14')
    register_version(folder, read_design(folder), recorded=40, today=LATER)
    change(folder, "interval_days = 7", "interval_days = 14")
    change(folder, 'name = "hits"', 'name = "hits"\nhigh = 20')
    found = plan_changes(registered_versions(folder), read_design(folder))
    assert [(c.date, c.entry, c.before, c.after) for c in found] == [
        ("2026-02-09", "groups.random.size", "12", "14"),
        ("", "tests.retention.interval_days", "7.0", "14.0"),
        ("", "outcomes.hits.high", "", "20.0"),
    ]


def test_a_plan_without_registration_has_no_versions_and_no_changes(folder):
    assert registered_versions(folder) == () and registered_versions(None) == ()
    assert plan_changes((), read_design(folder)) == []


def test_a_comment_is_no_change_of_the_plan_but_another_file(folder):
    register_version(folder, read_design(folder), recorded=0, today=FIRST)
    change(folder, "[study]", "# a remark\n[study]")
    assert plan_changes(registered_versions(folder), read_design(folder)) == []
    _, new = register_version(folder, read_design(folder), recorded=0, today=LATER)
    assert new


@pytest.mark.parametrize(
    "content", ["", "[]", "{", '{"versions": [{"date": 1}]}', '{"versions": [{"plan": []}]}']
)
def test_a_damaged_file_is_named_and_not_written_over(folder, content):
    (folder / KEPT).write_text(content, "utf-8")
    with pytest.raises(FileError, match=r"registered\.json|registered plan"):
        registered_versions(folder)
    with pytest.raises(FileError):
        register_version(folder, read_design(folder), recorded=0, today=FIRST)
    assert (folder / KEPT).read_text("utf-8") == content


def test_a_folder_without_a_plan_is_refused(tmp_path, folder):
    design = read_design(folder)
    empty = tmp_path / "empty"
    empty.mkdir()
    with pytest.raises(FileError, match="no plan to register"):
        register_version(empty, design, recorded=0, today=FIRST)


def test_somebody_elses_file_of_that_name_is_kept(folder):
    (folder / KEPT).write_text(json.dumps({"versions": []}), "utf-8")
    with pytest.raises(FileError, match="not made by this command"):
        register_version(folder, read_design(folder), recorded=0, today=FIRST)
