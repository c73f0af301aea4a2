"""The screens of the teaching part can be read, reached and touched, at a desk and on a tablet."""

import pytest
from aiming_hands import FLOOR, agree, pointer
from lab_pages import find, look, run_all, shown, to_centre, wait, wait_for_the_end
from looks import contrast, controls, pale_texts, tab_through, texts_outside, texts_that_collide
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

pytestmark = pytest.mark.browser

WHITE = (255, 255, 255)
WIDTHS = {"desk": 1400, "tablet": 820}
SMALLEST = 24
"""Smallest side of anything that is touched, in css pixels (WCAG 2.2, 2.5.8)."""
BUTTON = 44
"""Smallest height of a button."""


def set_width(browser, width):
    size = {"width": width, "height": 1600, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)


def assert_fit_to_read_and_touch(browser, root):
    assert texts_outside(browser, root) == []
    assert texts_that_collide(browser, root) == []
    assert pale_texts(browser, root) == []
    found = controls(browser, root)
    assert found and [item for item in found if min(item[2:]) < SMALLEST] == []
    assert [item for item in found if item[1] and item[3] < BUTTON] == []


def assert_focus_is_seen(reached):
    assert reached and all(name for name, *_ in reached)
    for name, style, width, colour in reached:
        assert style != "none" and width >= 2, name
        assert contrast(colour, WHITE) >= 3, name


@pytest.mark.parametrize("where", WIDTHS)
def test_demonstrations_can_be_read_reached_and_touched(browser, lab, where):
    set_width(browser, WIDTHS[where])
    run_all(browser, lab, "teaching_learning_and_performance.ipynb")
    wait(browser, lambda d: shown(d, ".ml-face"))
    wait_for_the_end(browser)
    for number, face in enumerate(browser.find_elements(By.CSS_SELECTOR, ".ml-face")):
        first = face.find_element(By.TAG_NAME, "button")
        to_centre(browser, first)
        first.click()
        reveal = face.find_element(By.CSS_SELECTOR, "button.mod-primary")
        assert_fit_to_read_and_touch(browser, face)
        reveal.click()
        wait(browser, lambda d, face=face: shown_in(face, ".ml-conclusion"), 30)
        look(browser, f"{where}-face-{number}")
        assert_fit_to_read_and_touch(browser, face)
        assert_focus_is_seen(tab_through(browser, face, first))
        names_and_states(face)


def names_and_states(face):
    """Every slider says what it sets; of every choice, the chosen one is told from the others."""
    for slider in face.find_elements(By.CSS_SELECTOR, ".widget-slider"):
        label = slider.find_element(By.CSS_SELECTOR, ".widget-label").text
        handle = slider.find_element(By.CSS_SELECTOR, ".noUi-handle")
        assert label and handle.accessible_name == label
    for choice in face.find_elements(By.CSS_SELECTOR, ".widget-toggle-buttons"):
        buttons = choice.find_elements(By.TAG_NAME, "button")
        states = [button.get_attribute("aria-pressed") for button in buttons]
        assert sorted(states) == ["false"] * (len(states) - 1) + ["true"]


def shown_in(face, css):
    return face.find_element(By.CSS_SELECTOR, css).is_displayed()


def test_a_finger_drags_a_slider_and_the_picture_follows(browser, lab):
    touch = {"enabled": True, "maxTouchPoints": 5}
    browser.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", touch)
    set_width(browser, WIDTHS["tablet"])
    run_all(browser, lab, "teaching_numbers_that_mislead.ipynb")
    reveal = wait(browser, lambda d: shown(d, ".ml-face button.mod-primary"))
    wait_for_the_end(browser)
    to_centre(browser, reveal)
    pointer(browser, "touch").move_to_element(reveal).click().perform()
    handle = wait(browser, lambda d: shown(d, ".noUi-handle"), 30)
    to_centre(browser, handle)
    value, before = handle.get_attribute("aria-valuenow"), picture(browser)
    hand = pointer(browser, "touch").move_to_element(handle).click_and_hold()
    hand.move_by_offset(30, 0).move_by_offset(30, 0).release().perform()
    wait(browser, lambda d: picture(d) not in (None, before), 30)
    assert float(handle.get_attribute("aria-valuenow")) > float(value)


def picture(browser):
    return find(browser, ".ml-face img").get_attribute("src")


def test_the_keyboard_keeps_its_place_when_a_demonstration_is_revealed(browser, lab):
    run_all(browser, lab, "teaching_learning_and_performance.ipynb")
    reveal = wait(browser, lambda d: shown(d, ".ml-face button.mod-primary"))
    wait_for_the_end(browser)
    cells = "return window.jupyterapp.shell.currentWidget.content.widgets.length"
    before = browser.execute_script(cells)
    browser.execute_script("arguments[0].focus()", reveal)
    ActionChains(browser).send_keys("d", "d", Keys.ENTER).perform()
    wait(browser, lambda d: shown(d, ".ml-conclusion"), 30)
    wait(browser, lambda d: d.switch_to.active_element.text == "laboratory", 30)
    assert browser.execute_script(cells) == before


@pytest.mark.parametrize("where", WIDTHS)
def test_the_class_experiment_can_be_read_reached_and_touched(browser, lab, where):
    set_width(browser, WIDTHS[where])
    seat = {"desk": 7, "tablet": 8}[where]
    seats = "seat, class_seed = {}, 2026"
    notebook = lab.notebook(
        "class_experiment.ipynb", f"seat_{seat}.ipynb", seats.format(1), seats.format(seat)
    )
    run_all(browser, lab, notebook)
    wait(browser, lambda d: shown(d, ".ml-aim"))
    wait_for_the_end(browser)
    root = find(browser, ".ml-aim")
    to_centre(browser, root)
    look(browser, f"{where}-consent")
    assert_fit_to_read_and_touch(browser, root)
    agree(browser)
    to_centre(browser, find(browser, FLOOR))
    assert_fit_to_read_and_touch(browser, root)
    box = find(browser, FLOOR).rect
    assert box["height"] == pytest.approx(1.5 * box["width"], rel=0.02)
    look(browser, f"{where}-floor")
    reached = tab_through(browser, root, find(browser, ".ml-aim-heading"))
    assert len(reached) == 2
    assert_focus_is_seen(reached)
