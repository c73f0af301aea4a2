"""A demonstration as one page: the numbers of the function, fixed axes, and no network."""

import json
import random
import re

import numpy as np
import pytest
from typer.testing import CliRunner

import motorlearn as ml
from motorlearn.commands import app
from motorlearn.exceptions import InputError
from motorlearn.teaching.demonstrations.page import difference, page_data, scene_data

LESSONS = ml.teaching.LESSONS
QUICK = ("ceiling", "baseline adjustment", "pauses")
"""Lessons whose whole page is made in every run; the slow tests make all."""
LABORIOUS = ("averaged curves", "power or exponential", "optional stopping", "many outcomes")
"""Lessons that simulate much for one picture; the slow tests look at their axes."""


def patched(base, change):
    """Put the parts of a case back, as page.js does."""
    if "=" in change:
        return change["="]
    if isinstance(base, list):
        return [patched(part, change[str(k)]) if str(k) in change else part
                for k, part in enumerate(base)]  # fmt: skip
    if not change:
        return base
    return base | {k: patched(base[k], part) for k, part in change.items()}


def settings_of(lesson, number):
    """Which settings a case of the page stands for, counted from its number."""
    number, draw = divmod(number, lesson.draws)
    chosen = {c.name: c.start for c in lesson.controls} | {"seed": lesson.seed + draw}
    for control in reversed([c for c in lesson.controls if len(c.offered) > 1]):
        number, k = divmod(number, len(control.offered))
        chosen[control.name] = control.offered[k]
    assert number == 0
    return chosen


def assert_page_holds_the_numbers(lesson, data, numbers):
    for number in numbers:
        case = patched(data["base"], data["cases"][number])
        shown = lesson.compute(**settings_of(lesson, number))
        assert case["conclusion"] == shown.conclusion
        assert case["words"] == shown.text
        assert case["question"] == lesson.ask(shown.settings)
        assert lesson.predictions[case["answer"]] == lesson.answer(shown)
        assert case["scene"] == scene_data(lesson.picture(shown))


@pytest.mark.parametrize("name", QUICK)
def test_a_page_holds_the_numbers_of_the_function(name):
    lesson = LESSONS[name]
    data = json.loads(json.dumps(page_data(lesson)))
    last = len(data["cases"]) - 1
    numbers = {0, last, *random.Random(4).sample(range(last), 4)}
    assert_page_holds_the_numbers(lesson, data, numbers)


def test_numbers_in_a_scene_are_the_results_to_four_figures():
    shown = ml.teaching.ceiling()
    rows = scene_data(LESSONS["ceiling"].picture(shown))["panels"][1]["rows"]
    expected = shown.estimates[["estimate", "conf_low", "conf_high"]].to_numpy()
    np.testing.assert_allclose([row[1:] for row in rows], expected, rtol=5e-4)


@pytest.mark.slow
@pytest.mark.parametrize("name", LESSONS)
def test_every_page_is_small_holds_its_numbers_and_stays_within_its_axes(name, tmp_path):
    lesson = LESSONS[name]
    page = ml.write_demonstration(name, tmp_path / "page.html")
    assert page.stat().st_size <= 300_000
    data = read_data(page)
    numbers = random.Random(1).sample(range(len(data["cases"])), 5)
    assert_page_holds_the_numbers(lesson, data, numbers)
    outside = [miss for change in data["cases"] for miss in misses(patched(data["base"], change))]
    assert outside == []


def read_data(page):
    text = page.read_text(encoding="utf-8")
    return json.loads(re.search(r'id="data">(.*?)</script>', text, re.DOTALL)[1])


def misses(case):
    """Estimates and means that lie outside the axes of their panel."""
    found = []
    for panel in case["scene"]["panels"]:
        (left, right), (low, high) = panel["x"], panel["y"]
        found += [row for row in panel["rows"] if not left <= row[1] <= right]
        for mark in panel["marks"]:
            if mark["kind"] != "dots" and mark["look"] != -1 and mark["kind"] != "pairs":
                found += [(mark["name"], y) for y in mark["y"] if not low <= y <= high]
    return found


@pytest.mark.parametrize("name", [name for name in LESSONS if name not in LABORIOUS])
def test_axes_stay_where_settings_move_and_estimates_stay_within_them(name):
    lesson = LESSONS[name]
    ends = set()
    for control in lesson.controls:
        for value in {control.offered[0], control.offered[-1]}:
            shown = lesson.compute(seed=lesson.seed, **{control.name: value})
            scene = scene_data(lesson.picture(shown))
            assert misses({"scene": scene}) == []
            if control.name != "practice":
                ends.add(json.dumps([[p["x"], p["y"]] for p in scene["panels"]]))
    assert len(ends) == 1


@pytest.mark.parametrize("name", LESSONS)
def test_a_lesson_declares_what_a_page_needs(name):
    lesson = LESSONS[name]
    known = {control.name: control.offered for control in lesson.controls}
    for control in lesson.controls:
        assert control.start in control.offered
    assert lesson.null and all(value in known[part] for part, value in lesson.null.items())
    assert lesson.contested and lesson.message and lesson.sources
    assert lesson.message.rstrip(".") not in lesson.title
    shown = lesson.compute(seed=lesson.seed)
    assert lesson.answer(shown) in lesson.predictions
    assert "{" not in lesson.ask(shown.settings)


NULL = {
    "after a gap": "leave it open", "pauses": "leave it open", "specificity": "leave it open",
    "variability": "leave it open", "feedback schedules": "leave it open",
    "part and whole": "leave it open", "speed and accuracy": "leave it open",
    "adaptation": "at the target", "ceiling": "leave it open",
    "individual differences": "no more than chance",
}  # fmt: skip


@pytest.mark.parametrize("name", NULL)
def test_where_nothing_is_going_on_the_answer_says_so(name):
    # 95 % intervals of one row: at most 5 of 40 draws may miss (chance of more: 1.4 %); of two rows
    # or one whose sides both count, as many.
    lesson = LESSONS[name]
    answers = [lesson.answer(lesson.compute(seed=seed, **lesson.null)) for seed in range(40)]
    assert sum(NULL[name] in answer for answer in answers) >= 34


def test_a_page_can_ask_the_network_for_nothing(tmp_path):
    text = ml.write_demonstration("baseline-adjustment", tmp_path / "p.html").read_text("utf-8")
    assert "default-src 'none'" in text and "connect-src 'none'" in text
    assert not re.search(r"(src|href)=\"(?!data:)", text)
    assert "@import" not in text and "fetch(" not in text and "XMLHttpRequest" not in text


def test_differences_are_put_back():
    one = {"a": 1, "b": [1, 2], "c": [{"d": 1}, {"d": 2}], "e": [[1], [2]]}
    for other in (one, one | {"a": 2}, one | {"b": [1]}, one | {"c": [{"d": 1}, {"d": 5}]},
                  one | {"e": [[1], [2, 3]]}, {"a": 1}):  # fmt: skip
        assert patched(one, json.loads(json.dumps(difference(one, other)))) == other


def test_the_command_writes_a_page_and_lists_the_names(tmp_path):
    run = CliRunner()
    listed = run.invoke(app, ["demonstrate", "--list"]).output
    assert [line.split()[0].replace("-", " ") for line in listed.splitlines()] == list(LESSONS)
    page = tmp_path / "c.html"
    made = run.invoke(app, ["demonstrate", "Ceiling", "--out", str(page)])
    assert made.exit_code == 0 and str(page) in made.output
    assert read_data(page)["name"] == "ceiling"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["magic", "--out", "m.html"], "individual-differences"),
        (["magic"], "there is no such demonstration"),
        (["ceiling"], "--out FILE.html"),
        (["ceiling", "--out", "c.pdf"], "name the file .html"),
        ([], "see --list"),
    ],
)
def test_what_cannot_be_written_is_said_in_a_sentence(words, said, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    refused = CliRunner().invoke(app, ["demonstrate", *words])
    assert isinstance(refused.exception, InputError) and said in str(refused.exception)
    assert list(tmp_path.iterdir()) == []


def test_all_names_are_listed_where_one_is_unknown():
    with pytest.raises(InputError) as caught:
        ml.teaching.find_lesson("magic")
    assert all(name.replace(" ", "-") in str(caught.value) for name in LESSONS)


def test_a_file_of_somebody_else_is_not_written_over(tmp_path):
    page = tmp_path / "mine.html"
    page.write_text("my notes")
    with pytest.raises(InputError):
        ml.write_demonstration("ceiling", page)
    assert page.read_text() == "my notes"
