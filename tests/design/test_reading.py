"""Plans that are wrong: every mistake is named with its place and the nearest known word."""

import tomllib

import pytest

from motorlearn.design import Design, design_from_mapping, read_design
from motorlearn.exceptions import DesignError, FileError

PLAN = {
    "study": {"title": "Ring push"},
    "groups": [{"name": "blocked"}, {"name": "random"}],
    "tests": [{"phase": "pretest", "trials": 30}, {"phase": "retention", "trials": 36}],
    "outcomes": [{"name": "radial_error", "better": "lower"}],
}


def test_a_plan_is_read_from_a_file_and_from_its_folder(tmp_path):
    text = '[study]\ntitle = "Grün"\n[[groups]]\nname = "a"\n[[tests]]\nphase = "pretest"\n'
    text += 'trials = 3\n[[outcomes]]\nname = "hit"\nbetter = "higher"\n'
    (tmp_path / "study.toml").write_text("\ufeff" + text, encoding="utf-8")
    for path in (tmp_path, tmp_path / "study.toml"):
        assert read_design(path).study.title == "Grün"
    assert isinstance(design_from_mapping(tomllib.loads(text)), Design)


MISTAKES = {
    "unknown section": ({"grups": []}, "unknown key 'grups', did you mean 'groups'"),
    "unknown key": (
        {"study": {"title": "x", "titel": "y"}},
        "unknown key 'study.titel', did you mean 'title'",
    ),
    "unknown key in a list": (
        {"tests": [{"phase": "pretest", "trials": 3, "trails": 3}]},
        "unknown key 'tests (entry 1).trails', did you mean 'trials'",
    ),
    "unknown key in the import": (
        {"import": {"file": "a.csv", "seperator": ";"}},
        "unknown key 'import.seperator', did you mean 'separator'",
    ),
    "unknown key deep in the import": (
        {"import": {"file": "a", "wide": [{"heading": "h", "phase": "pretest", "atempts": 2}]}},
        "unknown key 'import.wide (entry 1).atempts', did you mean 'attempts'",
    ),
    "nothing near": ({"zzzz": 1}, "unknown key 'zzzz'"),
    "missing key": ({"study": {}}, "'study.title' is missing"),
    "unknown phase": ({"tests": [{"phase": "posttset", "trials": 3}]}, "tests (entry 1).phase"),
    "retention without a gap": (
        {"tests": [{"phase": "retention", "trials": 3, "interval_days": 0}]},
        "needs a gap without practice",
    ),
    "group twice": ({"groups": [{"name": "a"}, {"name": "a"}]}, "group named twice: a"),
    "no trials": ({"tests": [{"phase": "pretest", "trials": 0}]}, "(given: 0)"),
}


@pytest.mark.parametrize("case", MISTAKES)
def test_a_mistake_is_named_with_its_place(case):
    change, words = MISTAKES[case]
    with pytest.raises(DesignError) as caught:
        design_from_mapping(PLAN | change)
    assert words in str(caught.value)


def test_all_mistakes_are_named_together_and_consequences_are_not():
    with pytest.raises(DesignError) as caught:
        design_from_mapping(
            PLAN
            | {"grups": [], "tests": [{"phase": "pretest", "trials": 3, "trails": 3}], "study": {}}
        )
    text = str(caught.value)
    assert all(word in text for word in ("grups", "trails", "study.title"))
    assert "at least 1 item" not in text


def test_files_that_are_no_plan_are_refused(tmp_path):
    with pytest.raises(FileError, match="no study plan"):
        read_design(tmp_path)
    (tmp_path / "study.toml").write_bytes(b"[study\n")
    with pytest.raises(FileError, match="not valid TOML"):
        read_design(tmp_path)
    (tmp_path / "study.toml").write_bytes(b'[study]\ntitle = "\xff"\n')
    with pytest.raises(FileError, match="not UTF-8"):
        read_design(tmp_path)


def test_a_heading_that_stands_twice_is_named(tmp_path):
    (tmp_path / "study.toml").write_text('[study]\ntitle = "a"\n[study]  # again\nseed = 1\n')
    with pytest.raises(FileError, match=r"heading \[study\] stands twice .* under the first one"):
        read_design(tmp_path)
