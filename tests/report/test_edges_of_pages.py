"""Edges of what a printed page shows: pictures, lines of the page to sign, who is named."""

import re
from types import SimpleNamespace

import pandas as pd
import pytest

from motorlearn.design import design_from_mapping
from motorlearn.report.learners.pages import UNSEEN, _changes, _criteria
from motorlearn.report.learners.picture import tests_picture as picture_of
from motorlearn.report.study_page import _plan_facts
from motorlearn.report.writers.sheet import WIDTH, _rows, _sums
from motorlearn.report.writers.sheet_pdf import SIGN, _Sheet

LINE = r'y1="([\d.]+)" y2="[\d.]+" stroke="#cccccc".*?text-anchor="end">([\d.]+)</text>'


def test_a_score_stands_in_the_picture_where_its_axis_says():
    rows = [("pretest", 5.0, 2.0, 9.0, 20), ("week 2", 10.0, 6.0, 14.0, 20)]
    tests = pd.DataFrame(rows, columns=["label", "score", "low", "high", "n"])
    learner = SimpleNamespace(tests=tests)
    svg = picture_of(learner, SimpleNamespace(counts_hits=True, unit=""))
    at = {text: float(y) for y, text in re.findall(LINE, svg)}
    assert list(at) == ["0", "5", "10", "15", "20"]
    assert 0 < at["20"] < at["0"] < 230 - 14  # inside the picture, above the names of the tests
    circles = [float(y) for y in re.findall(r'<circle cx="[\d.]+" cy="([\d.]+)"', svg)]
    assert circles == pytest.approx([at["5"], at["10"]], abs=0.06)
    assert at["10"] == pytest.approx((at["0"] + at["20"]) / 2, abs=0.06)


def changed(*verdicts):
    both = [
        {
            "n_first": 20, "n_second": 20, "first": 0.35, "second": 0.5, "change": 0.15,
            "hits_up": 14, "hits_down": 1, "verdict": verdict,
        }
        for verdict in verdicts
    ]  # fmt: skip
    learner = SimpleNamespace(
        tests=pd.DataFrame({"label": ["Pretest", "Week 2", "Week 4"]}),
        since_first=pd.Series(both[0]),
        since_last=pd.Series(both[1]),
    )
    return _changes(learner, SimpleNamespace(counts_hits=True, unit=""))


@pytest.mark.parametrize(
    ("verdicts", "unseen"),
    [
        (("better", "better"), False),
        (("better", "within noise"), True),
        (("within noise", "better"), True),
        (("within noise", "within noise"), True),
    ],
)
def test_what_a_test_cannot_see_is_told_where_a_change_is_not_clear(verdicts, unseen):
    said = changed(*verdicts)
    assert (said[-1] == UNSEEN) is unseen
    assert said[0].startswith("From pretest to week 4 ") and said[1].startswith("From week 2 to ")


@pytest.mark.parametrize(
    ("met", "says"),
    [((), "0 of 3"), (("a",), "1 of 3; not yet: b, c"), (("a", "b", "c"), "3 of 3")],
)
def test_who_has_not_met_a_criterion_is_named_once_some_have(met, says):
    drill = SimpleNamespace(name="lob", advance_when="7 of 10")
    learners = [
        SimpleNamespace(participant=name, sessions=2, met=("lob",) if name in met else ())
        for name in "abc"
    ]
    progress = SimpleNamespace(design=SimpleNamespace(drills=[drill]), learners=learners)
    assert _criteria(progress) == [f"lob (7 of 10): {says}"]


def test_lines_of_the_console_are_as_wide_as_it_and_say_when_they_are_cut():
    text = "of twenty people in each group eighteen came back a week later " * 9
    whole, cut = _rows("people", [text], 20), _rows("people", [text], 3)
    assert " ".join(line[18:] for line in whole) == text.strip()
    assert whole[0].startswith("people            of twenty") and len(cut) == 3
    assert cut[-1].endswith(" … (more with --long)")
    assert max(map(len, whole + cut)) <= WIDTH and max(map(len, whole)) > WIDTH - 12


def test_what_a_page_was_made_from_has_one_heading():
    made = [("motorlearn", "2.0.0"), *((f"file {i}", f"{i}" * 64) for i in range(5))]
    lines = _sums(made)
    assert len(lines) > 1 and lines[0].startswith("made from         motorlearn 2.0.0; file 0 0000")
    assert all(line.startswith(" " * 18) and line[18] != " " for line in lines[1:])


def test_there_is_a_place_to_sign_for_each_name():
    put, ruled = {}, []
    sheet = SimpleNamespace(
        put=lambda text, left, at, *_: put.update({text: (left, at)}),
        figure=SimpleNamespace(add_artist=ruled.append),
    )
    _Sheet.sign(sheet)
    assert list(put) == [f"{name}:" for name in SIGN] and len(ruled) == 4
    (name, line), (date, same), (signature, too), (conditions, below) = put.values()
    assert name < date < signature and line == same == too
    assert conditions == name and below < line


@pytest.mark.parametrize(
    ("test", "says"), [("week 2", "hits at week 2, "), ("", "hits at progress, ")]
)
def test_the_primary_comparison_is_at_the_test_that_was_named(test, says):
    plan = {
        "study": {"title": "Ring push"},
        "groups": [{"name": "blocked"}, {"name": "random"}],
        "tests": [
            {"phase": "pretest", "trials": 20},
            {"phase": "progress", "name": "week 2", "week": 2, "trials": 20},
        ],
        "outcomes": [{"name": "hits", "better": "higher"}],
        "primary": {"outcome": "hits", "phase": "progress"} | ({"test": test} if test else {}),
    }
    study = SimpleNamespace(design=design_from_mapping(plan), problems=pd.DataFrame(), trials=None)
    facts = _plan_facts(study)
    assert facts["primary comparison"].startswith(says)
