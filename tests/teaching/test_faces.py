"""Pictures fit their page and say their message in words; controls change what is shown."""

import html
import re
import statistics
import time

import nbformat
import pytest
from nbconvert import HTMLExporter
from nbconvert.preprocessors import ExecutePreprocessor

import motorlearn as ml
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.extents import text_overlaps, texts_cut
from motorlearn.teaching.demonstrations.faces import show

LESSONS = ml.teaching.LESSONS


@pytest.mark.parametrize("name", LESSONS)
def test_pictures_are_legible_without_cut_or_colliding_text_and_carry_words(name):
    shown = LESSONS[name].compute()
    drawing = LESSONS[name].draw(shown)
    assert texts_cut(drawing.figure) == []
    assert text_overlaps(drawing.figure) == []
    assert drawing.alt == shown.text
    assert shown.conclusion in drawing.caption
    sizes = [t.get_fontsize() for axes in drawing.figure.axes for t in axes.get_xticklabels()]
    assert min(sizes) >= 18 and tuple(drawing.figure.get_size_inches()) == (13.33, 7.0)


def other_value(control):
    if control.choices:
        return control.choices[-1]
    return not control.start if isinstance(control.start, bool) else control.high


@pytest.mark.parametrize("name", LESSONS)
def test_every_control_changes_the_numbers_and_the_words(name):
    lesson = LESSONS[name]
    before = lesson.compute(seed=lesson.seed)
    for control in lesson.controls:
        shown = lesson.compute(seed=lesson.seed, **{control.name: other_value(control)})
        assert shown.to_json() != before.to_json()
        assert (shown.text, shown.conclusion) != (before.text, before.conclusion)


def test_a_face_follows_its_controls():
    face = show("pooled trials", studies=200)
    before = face.question.value, face.page.value
    face.controls["per_group"].value = 40
    assert face.shown.settings["per_group"] == 40
    assert "Two groups of 40 people" in face.question.value != before[0]
    assert face.page.value != before[1]
    assert face.shown.conclusion in face.page.value


def test_a_face_says_whether_the_prediction_holds_with_these_settings():
    face = show("ceiling")
    face.prediction.value = "beginners"
    face.reveal.click()
    assert "That is right." in face.page.value
    face.controls["gain"].value = 0.0
    assert "That is not so." in face.page.value and "leave it open" in face.page.value


@pytest.mark.slow  # a clock depends on what else the machine does
@pytest.mark.parametrize("name", LESSONS)
def test_a_change_shows_within_300_ms(name):
    face = show(name)
    control = next(c for c in LESSONS[name].controls if not c.choices)
    box, took = face.controls[control.name], []
    for share in (0.3, 0.5, 0.6, 0.7, 0.8):
        value = type(control.start)(control.low + share * (control.high - control.low))
        start = time.process_time()
        box.value = value
        took.append(time.process_time() - start)
    assert statistics.median(took) < 0.3


def test_prediction_comes_before_the_reveal():
    face = show("pooled trials", studies=100)
    assert face.stage.layout.display == "none"
    face.prediction.value = "5 %"
    face.reveal.click()
    assert face.stage.layout.display is None
    assert "You predicted: 5 %" in face.page.value


def test_new_people_change_the_numbers():
    face = show("practice and tests")
    before = face.shown.to_json()
    face.new_people.click()
    assert face.shown.settings["seed"] == 2 and face.shown.to_json() != before


def test_an_unknown_demonstration_is_named_with_the_known_ones():
    with pytest.raises(InputError, match="practice-and-tests"):
        show("magic")


def test_exported_page_shows_the_first_picture_and_its_words():
    book = nbformat.v4.new_notebook()
    code = "import motorlearn as ml\nml.teaching.show('twenty attempts')"
    book.cells = [nbformat.v4.new_code_cell(code)]
    ExecutePreprocessor(timeout=120, kernel_name="python3", store_widget_state=False).preprocess(
        book
    )
    page, _ = HTMLExporter().from_notebook_node(book)
    shown = ml.teaching.twenty_attempts()
    assert shown.conclusion in page
    pictures = re.findall(r'<img[^>]*alt="([^"]*)"[^>]*src="data:image/png;base64', page)
    assert any(shown.text.split(".")[0] in alt for alt in pictures)


def test_live_and_exported_faces_say_what_is_contested():
    face = show("ceiling")
    contested = html.escape(face.lesson.contested)
    assert face.lesson.contested and contested in face.page.value
    assert contested in face._repr_mimebundle_()["text/html"]
