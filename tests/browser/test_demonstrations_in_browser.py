"""The demonstrations in JupyterLab: predicted, revealed, moved; picture and words follow."""

import json
import re

import pytest
from lab_pages import find, look, run_all, run_to_the_end, shown, to_centre, wait, wait_for_the_end
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from motorlearn.teaching import LESSONS

NOTEBOOKS = {
    "teaching_learning_and_performance.ipynb": [
        "practice and tests", "feedback dependence", "regression to the mean",
    ],
    "teaching_numbers_that_mislead.ipynb": [
        "twenty attempts", "pooled trials", "averaged curves",
    ],
    "teaching_classics.ipynb": [
        "after a gap", "pauses", "specificity", "variability", "feedback schedules",
        "part and whole", "speed and accuracy", "adaptation", "power or exponential",
        "baseline adjustment", "ceiling", "optional stopping", "many outcomes",
        "individual differences",
    ],
}  # fmt: skip
SLACK = 3
"""The bound is 300 ms on a machine at rest; a busy one gets this many times more."""

# Milliseconds from each key press on the slider until another picture is in the page.
STOPWATCH = """
const [handle, picture] = arguments;
let start = 0, last = picture.src;
window.took = [];
handle.addEventListener("keydown", () => { start = performance.now(); }, true);
const page = picture.closest(".widget-html");
new MutationObserver(() => {
  const now = page.querySelector("img").src;
  if (now !== last) { last = now; window.took.push(performance.now() - start); }
}).observe(page, { childList: true, subtree: true, attributes: true });
"""

pytestmark = pytest.mark.browser


def test_every_demonstration_is_in_a_notebook_that_is_tried(server):
    cells = {}
    for file in sorted((server.folder / "notebooks").glob("teaching_*.ipynb")):
        source = "".join(
            "".join(cell["source"])
            for cell in json.loads(file.read_text(encoding="utf-8"))["cells"]
        )
        cells[file.name] = re.findall(r'teaching\.show\("([^"]+)"\)', source)
    assert cells == NOTEBOOKS
    assert sorted(name for names in NOTEBOOKS.values() for name in names) == sorted(LESSONS)


@pytest.mark.parametrize("notebook", NOTEBOOKS)
def test_a_notebook_runs_to_its_end_and_every_demonstration_moves(browser, lab, notebook):
    run_to_the_end(browser, lab, notebook)
    faces = browser.find_elements(By.CSS_SELECTOR, ".ml-face")
    names = NOTEBOOKS[notebook]
    assert [face.find_element(By.TAG_NAME, "h3").text for face in faces] == [
        LESSONS[name].title for name in names
    ]
    for name, face in zip(names, faces, strict=True):
        predict_and_reveal(browser, face, LESSONS[name].predictions[0])
        move_the_first_slider(browser, face, name)
        look(browser, name.replace(" ", "-"))


def predict_and_reveal(browser, face, prediction):
    assert not in_face(face, ".ml-conclusion").is_displayed()
    buttons = face.find_elements(By.TAG_NAME, "button")
    to_centre(browser, buttons[0])
    next(button for button in buttons if button.text == prediction).click()
    next(button for button in buttons if button.text == "Reveal").click()
    wait(browser, lambda d: in_face(face, ".ml-conclusion").is_displayed(), 30)
    wait(browser, lambda d: f"You predicted: {prediction}." in in_face(face, ".ml-stage").text, 30)


def move_the_first_slider(browser, face, name):
    """Five steps; each must show another picture, the middle one within the bound."""
    handle, picture = in_face(face, ".noUi-handle"), in_face(face, "img")
    to_centre(browser, picture)
    words, seen = picture.get_attribute("alt"), picture.screenshot_as_png
    browser.execute_script("arguments[0].focus()", handle)
    value = float(handle.get_attribute("aria-valuenow"))
    took = press(browser, handle, picture)
    print(f"{name}: a step of the slider showed after {', '.join(f'{ms:.0f}' for ms in took)} ms")
    assert sorted(took)[2] < 300 * SLACK
    assert float(handle.get_attribute("aria-valuenow")) > value
    picture = in_face(face, "img")
    to_centre(browser, picture)
    assert picture.screenshot_as_png != seen
    assert in_face(face, "details p").text == picture.get_attribute("alt") != words


def press(browser, handle, picture, steps=5):
    """Press an arrow key so many times, each after the picture of the one before."""
    browser.execute_script(STOPWATCH, handle, picture)
    for step in range(1, steps + 1):
        handle.send_keys(Keys.ARROW_RIGHT)
        wait(browser, lambda d, step=step: len(times(d)) == step, 20)
    return times(browser)


def times(browser):
    return browser.execute_script("return window.took")


def in_face(face, css):
    return face.find_element(By.CSS_SELECTOR, css)


def test_a_lecture_moves_with_its_controls(browser, lab):
    run_all(browser, lab, "teaching_learning_and_performance.ipynb")
    wait(browser, lambda d: shown(d, ".ml-face"))
    wait_for_the_end(browser)
    face = find(browser, ".ml-face")
    predict_and_reveal(browser, face, "cannot be said from practice")
    before = in_face(face, ".ml-conclusion").text
    assert "interaction" not in before and "cm" in before
    assert float(find(browser, ".ml-conclusion").value_of_css_property("font-size")[:-2]) >= 24
    look(browser, "lecture")

    handle = in_face(face, ".noUi-handle")
    to_centre(browser, handle)
    browser.execute_script("arguments[0].focus()", handle)
    press(browser, handle, in_face(face, "img"))
    assert "12 days" in in_face(face, "details p").text

    before = in_face(face, ".ml-conclusion").text
    choose(browser, face, "null")
    wait(browser, lambda d: in_face(face, ".ml-conclusion").text != before, 30)
    assert "leave open" in in_face(face, ".ml-conclusion").text
    look(browser, "lecture-null")

    before = in_face(face, "img").get_attribute("src")
    choose(browser, face, "New people")
    wait(browser, lambda d: in_face(face, "img").get_attribute("src") != before, 30)


def choose(browser, face, name):
    buttons = face.find_elements(By.TAG_NAME, "button")
    button = next(button for button in buttons if button.text == name)
    to_centre(browser, button)
    button.click()
