"""The report command: options, messages, exit codes, and what a second run takes over."""

import hashlib
import hmac
import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

import motorlearn as ml
from motorlearn.commands import app, main
from motorlearn.exceptions import InputError
from motorlearn.files import signature
from motorlearn.report.figure_cache import kept_from

SHIPPED = Path(__file__).parents[2] / "data" / "ring-push"


@pytest.fixture(scope="module")
def little(tmp_path_factory, small):
    """A small study on disk."""
    folder = tmp_path_factory.mktemp("study") / "little"
    folder.mkdir()
    study = small(3)
    study.trials.table.to_csv(folder / "trials.csv", index=False)
    (folder / "study.toml").write_text(PLAN, "utf-8")
    return folder


@pytest.fixture(scope="module")
def first(little, tmp_path_factory, quickly):
    """The first report of the small study, and what was drawn for it."""
    with pytest.MonkeyPatch.context() as patch:
        drawn = quickly(patch)
        folder = tmp_path_factory.mktemp("first") / "out"
        ml.write_report(ml.read_study(little), folder, quiet=True)
        return folder, {name for name, _ in drawn}


@pytest.fixture
def page(first, tmp_path):
    """The page of a copy of the first report, for another run to write over."""
    return shutil.copytree(first[0], tmp_path / "out") / "report.html"


PLAN = """
[study]
title = "A little ring push"
[[groups]]
name = "blocked"
schedule = "blocked"
[[groups]]
name = "random"
schedule = "random"
[[tasks]]
name = "straight"
[[tasks]]
name = "bank"
[[practice]]
session = 1
day = 0
blocks = 3
trials_per_block = 6
[[tests]]
phase = "pretest"
trials = 6
[[tests]]
phase = "retention"
trials = 6
interval_days = 1
[[outcomes]]
name = "radial_error"
unit = "cm"
better = "lower"
[[outcomes]]
name = "hit"
better = "higher"
[target]
radius = 20.0
[units]
length = "cm"
"""


def test_one_outcome_decimal_comma_final(little, tmp_path, quick_pictures):
    run = CliRunner().invoke(
        app,
        [
            "report",
            str(little),
            "--out",
            str(tmp_path / "out"),
            "--outcome",
            "hit",
            "--decimal-comma",
            "--final",
            "--quiet",
        ],
    )
    assert run.exit_code == 0, run.output
    page = (tmp_path / "out" / "report.html").read_text("utf-8")
    assert "hit rate" in page and "Secondary outcome" not in page
    assert "For the author to write" not in page
    assert ";" in (tmp_path / "out" / "tables" / "means-hit.csv").read_text("utf-8")


def test_an_unknown_outcome_is_refused(little, tmp_path):
    with pytest.raises(InputError, match="radial_error, hit"):
        ml.write_report(ml.read_study(little), tmp_path / "out", outcome="hits", quiet=True)


def test_errors_in_the_data_end_with_a_message_and_an_exit_code(
    little, tmp_path, monkeypatch, capsys
):
    broken = tmp_path / "broken"
    shutil.copytree(little, broken)
    rows = (broken / "trials.csv").read_text("utf-8").splitlines()
    (broken / "trials.csv").write_text("\n".join([*rows, rows[1]]), "utf-8")
    monkeypatch.setattr(
        "sys.argv", ["motorlearn", "report", str(broken), "--out", str(tmp_path / "out")]
    )
    with pytest.raises(SystemExit) as ended:
        main()
    said = capsys.readouterr().err
    assert ended.value.code
    assert said.startswith("motorlearn: the data have") and said.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_a_new_caption_and_a_touched_picture_redraw_that_picture_only(
    little, page, monkeypatch, quick_pictures
):
    touched = page.parent / "figures" / "landing-map.png"
    whole = touched.read_bytes()
    touched.write_bytes(b"scribble")
    words = ml.wording.Words("A new caption of the flow.", "A new text for the ear.")
    monkeypatch.setattr("motorlearn.wording.captions.flow_words", lambda *told: words)
    ml.write_report(ml.read_study(little), page.parent, quiet=True)
    assert {name for name, _ in quick_pictures} == {"landing-map"}
    assert touched.read_bytes() == whole
    assert "A new caption of the flow." in page.read_text("utf-8")
    svg = (page.parent / "figures" / "participant-flow.svg").read_text("utf-8")
    assert svg.count("<desc>") == 1 and "A new text for the ear." in svg


def test_changed_data_are_drawn_again(little, first, page, quick_pictures):
    study = ml.read_study(little)
    study.trials.table.loc[0, ["x", "radial_error"]] = 100.0
    ml.write_report(study, page.parent, quiet=True)
    again = {name for name, _ in quick_pictures}
    assert {"landing-map", "practice-curve-radial-error", "test-scores-radial-error"} <= again
    assert {"participant-flow", "design-timeline", "practice-curve-hit"} <= first[1] - again


def test_a_run_that_takes_over_gives_the_same_report_as_a_cold_one(
    little, first, page, tmp_path, quick_pictures
):
    before = {p.name: p.read_bytes() for p in (page.parent / "figures").iterdir()}
    assert len(first[1]) > 5 and len(before) == 2 * len(first[1])
    plan = (little / "study.toml").read_text("utf-8").replace("A little", "Another little")
    renamed = tmp_path / "renamed"
    shutil.copytree(little, renamed)
    (renamed / "study.toml").write_text(plan, "utf-8")
    warm = ml.write_report(ml.read_study(renamed), page.parent, quiet=True)
    assert quick_pictures == []
    assert {p.name: p.read_bytes() for p in (page.parent / "figures").iterdir()} == before
    cold = ml.write_report(ml.read_study(renamed), tmp_path / "cold", quiet=True)
    assert quick_pictures and "Another little" in cold.read_text("utf-8")
    files = sorted(p.relative_to(cold.parent) for p in cold.parent.rglob("*.*") if p.is_file())
    assert len(files) > 50 and Path("report.docx") in files and Path("tables/tables.xlsx") in files
    for name in files:
        assert (warm.parent / name).read_bytes() == (cold.parent / name).read_bytes(), name


@pytest.mark.parametrize(
    "spoilt",
    [
        "{",
        "[]",
        '{"x": "y"}',
        '{"x": {"name": "a", "words": ["", ""], "files": {"png": ["../a", "b"]}}}',
        '{"x": {"name": "a", "words": [""], "files": {}}}',
        '{"signature": "0", "entries": {}}',
        '{"signature": 1, "entries": []}',
    ],
)
def test_a_spoilt_list_of_kept_files_is_ignored(tmp_path, spoilt):
    (tmp_path / "kept.json").write_text(spoilt, "utf-8")
    assert kept_from(tmp_path).entries == {}


@pytest.mark.parametrize(
    ("entry", "believed"),
    [
        ({"name": "a", "words": ["b", "c"], "files": {"png": ["figures/a.png", "0"]}}, True),
        ({"name": "a", "words": ["b", "c"], "files": {"png": ["figures/a.png", 0]}}, False),
        ({"name": "a", "words": ["b", "c"], "files": {"png": ["../a.png", "0"]}}, False),
        ({"name": "a", "words": ["b", "c"], "files": {"png": ["/a.png", "0"]}}, False),
        ({"name": "a", "words": ["b"], "files": {}}, False),
        (["a"], False),
    ],
)
def test_a_list_that_bears_the_signature_must_have_its_shape_too(tmp_path, entry, believed):
    entries = {"x": entry}
    signed = signature(json.dumps(entries, sort_keys=True).encode("ascii"))
    text = json.dumps({"signature": signed, "entries": entries})
    (tmp_path / "kept.json").write_text(text, "utf-8")
    assert kept_from(tmp_path).entries == (entries if believed else {})


def test_what_somebody_else_kept_is_drawn_again(
    little, page, tmp_path, quick_pictures, monkeypatch
):
    picture = page.parent / "figures" / "landing-map.png"
    whole = page.read_bytes(), picture.read_bytes()
    assert kept_from(page.parent).entries
    picture.write_bytes(b"scribble")
    stored = json.loads((page.parent / "kept.json").read_text("utf-8"))
    for entry in stored["entries"].values():
        entry["words"] = ["Random practice is best.", "Random practice is best."]
        if entry["name"] == "landing-map":
            entry["files"]["png"][1] = hashlib.sha256(b"scribble").hexdigest()
    said = json.dumps(stored["entries"], sort_keys=True).encode("ascii")
    for signed in (stored["signature"], "", hmac.new(b"", said, "sha256").hexdigest()):
        text = json.dumps(stored | {"signature": signed})
        (page.parent / "kept.json").write_text(text)
        assert kept_from(page.parent).entries == {}
    ml.write_report(ml.read_study(little), page.parent, quiet=True)
    assert quick_pictures
    assert (page.read_bytes(), picture.read_bytes()) == whole
    assert kept_from(page.parent).entries
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "of another user"))
    assert kept_from(page.parent).entries == {}
