"""The class experiment is played in JupyterLab by every device, and its file is read."""

import math
import re
import time

import pandas as pd
import pytest
from aiming_hands import (
    FLOOR,
    WATCH,
    agree,
    busy,
    made,
    make,
    phase,
    push_with,
    push_with_keys,
    said,
    touch,
)
from lab_pages import find, look, run_all, shown, to_centre, wait, wait_for_the_end
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from motorlearn.teaching.aiming import make_programme, save_sitting
from motorlearn.teaching.aiming.rehearsal import rehearse_sitting

pytestmark = pytest.mark.browser

COLUMNS = [
    "participant", "group", "phase", "session", "block", "trial", "task", "hit", "x", "y",
    "radial_error", "time", "speed", "feedback", "device", "elapsed", "class_seed",
]  # fmt: skip
PRETEST = 12
TABLET = {"width": 820, "height": 1180, "deviceScaleFactor": 2, "mobile": False}


def seat_notebook(lab, seat):
    seats = "seat, class_seed = {}, 2026"
    return lab.notebook(
        "class_experiment.ipynb", f"seat_{seat}.ipynb", seats.format(1), seats.format(seat)
    )


def saved(lab, seat):
    return lab.folder / "notebooks" / f"class-experiment-S{seat:03d}.csv"


def read_pushes(lab, seat, device):
    """Read the file of a seat that did the pretest and then practised."""
    pushes = pd.read_csv(saved(lab, seat))
    assert list(pushes.columns) == COLUMNS
    assert set(pushes["participant"]) == {f"S{seat:03d}"} and set(pushes["device"]) == {device}
    practised = len(pushes) - PRETEST
    assert pushes["phase"].tolist() == ["pretest"] * PRETEST + ["acquisition"] * practised
    assert pushes["feedback"].tolist() == [0] * PRETEST + [1] * practised
    assert pushes["trial"].tolist() == [*range(1, PRETEST + 1), *range(1, practised + 1)]
    assert pushes["time"].gt(0).all() and pushes["elapsed"].is_monotonic_increasing
    return pushes


def play_pretest(browser, push):
    """Make every push of the pretest; nothing of where the ring stops may be told."""
    assert find(browser, ".ml-aim-heading").text == "Pretest: push 1 of 12"
    for number in range(1, PRETEST + 1):
        assert phase(browser) == "pretest"
        assert "You will not see where it stops" in find(browser, ".ml-aim-words").text
        make(browser, number, push)
        assert said(browser) == "Pushed. The result is not shown in a test."
    assert find(browser, ".ml-aim-heading").text == "Acquisition (practice): push 1 of 54"


def practise(browser, push, pushes=2):
    """Push in practice; give what was said after each push."""
    told = []
    for number in range(PRETEST + 1, PRETEST + pushes + 1):
        assert "You will see where it stops" in find(browser, ".ml-aim-words").text
        make(browser, number, push)
        told.append(said(browser))
    return told


def assert_told_as_saved(told, pushes):
    """What was said after a push is what its row says; both are rounded from the same number."""
    for words, row in zip(told, pushes.iloc[PRETEST:].itertuples(), strict=True):
        number = float(re.search(r"(\d+) cm", words)[1])
        assert words.startswith("Hit" if row.hit else "Missed by")
        assert abs(number - row.radial_error) <= 0.55


def test_the_class_experiment_is_played_with_a_mouse(browser, lab):
    run_all(browser, lab, "class_experiment.ipynb")
    wait(browser, lambda d: shown(d, ".ml-aim-agree"))
    look(browser, "consent")
    assert not saved(lab, 1).exists()
    agree(browser)
    play_pretest(browser, lambda: push_with(browser, "mouse"))
    look(browser, "pretest")
    told = practise(browser, lambda: push_with(browser, "mouse"))
    look(browser, "practice")
    assert_told_as_saved(told, read_pushes(lab, 1, "mouse"))
    wait_for_the_end(browser)
    assert "2448 pushes, 0 errors in the data" in find(browser, ".jp-Notebook").text


def test_the_class_experiment_is_played_with_a_finger_on_a_tablet(browser, lab):
    be_a_tablet(browser)
    run_all(browser, lab, seat_notebook(lab, 2))
    agree(browser)
    wait_for_the_end(browser)
    to_centre(browser, find(browser, FLOOR))
    place = find(browser, FLOOR).rect["y"]
    play_pretest(browser, lambda: push_with(browser, "touch"))
    told = practise(browser, lambda: push_with(browser, "touch"))
    look(browser, "tablet")
    assert_told_as_saved(told, read_pushes(lab, 2, "touch"))
    assert find(browser, FLOOR).rect["y"] == pytest.approx(place, abs=40)


def test_the_class_experiment_is_played_with_the_keyboard_alone(browser, lab):
    run_all(browser, lab, seat_notebook(lab, 3))
    button = wait(browser, lambda d: shown(d, ".ml-aim-agree"))
    wait_for_the_end(browser)
    to_centre(browser, button)
    tab_to(browser, "ml-aim-agree")
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    wait(browser, lambda d: focused(d) == "ml-aim-floor", 30)
    browser.execute_script(WATCH)
    play_pretest(browser, lambda: push_with_keys(browser, 0.25))
    assert browser.execute_script("return window.ringBeyond") == 0
    told = practise(browser, lambda: push_with_keys(browser, 0.5, turns=3))
    assert browser.execute_script("return window.ringBeyond") > 100
    pushes = read_pushes(lab, 3, "keyboard")
    assert_told_as_saved(told, pushes)
    for turned in pushes.iloc[PRETEST:].query("task != 'bank'").itertuples():
        assert (turned.x > 0) == (turned.task == "straight")
    assert pushes["time"].iloc[:PRETEST].min() >= 0.25
    assert pushes["time"].iloc[PRETEST:].min() >= 0.5


def test_a_stray_letter_on_the_floor_does_not_reach_the_notebook(browser, lab):
    run_all(browser, lab, seat_notebook(lab, 6))
    agree(browser)
    wait_for_the_end(browser)
    cells = "return window.jupyterapp.shell.currentWidget.content.widgets.length"
    before = browser.execute_script(cells)
    browser.execute_script("arguments[0].focus()", find(browser, FLOOR))
    ActionChains(browser).send_keys("b", "d", "d", Keys.ARROW_UP, "d", "d").perform()
    push_with_keys(browser, 0.25)
    wait(browser, lambda d: made(d) == 1, 30)
    assert browser.execute_script(cells) == before


def test_the_class_experiment_is_played_with_a_pen_and_withdrawn(browser, lab):
    run_all(browser, lab, seat_notebook(lab, 4))
    agree(browser)
    play_pretest(browser, lambda: push_with(browser, "pen"))
    told = practise(browser, lambda: push_with(browser, "pen"), 1)
    assert_told_as_saved(told, read_pushes(lab, 4, "pen"))
    withdraw = find(browser, ".ml-aim-withdraw")
    to_centre(browser, withdraw)
    withdraw.click()
    browser.switch_to.alert.accept()
    wait(browser, lambda d: "Nothing is kept" in find(d, ".ml-aim-words").text, 30)
    assert not saved(lab, 4).exists() and not shown(browser, FLOOR)


def test_the_pause_ends_by_itself_and_the_retention_test_opens(browser, lab):
    open_at(browser, lab, 5, 77, ", gap_minutes=0.05")
    assert "push 12 of 12" in find(browser, ".ml-aim-heading").text
    push_with_keys(browser, 0.25)
    wait(browser, lambda d: find(d, ".ml-aim").get_attribute("data-page") == "pause", 30)
    assert "Pause" in find(browser, ".ml-aim-words").text and not shown(browser, FLOOR)
    assert "Still 10 seconds" in said(browser)
    wait(browser, lambda d: phase(d) == "retention", 30)
    assert find(browser, ".ml-aim-heading").text == "Delayed retention: push 1 of 12"
    assert focused(browser) == "ml-aim-floor" and not busy(browser)
    make(browser, 79, lambda: push_with_keys(browser, 0.25))
    pushes = pd.read_csv(saved(lab, 5))
    assert pushes["phase"].tolist()[-2:] == ["posttest", "retention"]
    assert pushes["elapsed"].diff().iloc[-1] >= 3


def test_neither_a_menu_nor_a_second_finger_disturbs_a_push(browser, lab):
    seat = first_seat("straight")
    be_a_tablet(browser)
    run_all(browser, lab, seat_notebook(lab, seat))
    agree(browser)
    wait_for_the_end(browser)
    to_centre(browser, find(browser, FLOOR))
    ActionChains(browser).context_click(find(browser, FLOOR)).perform()
    assert not shown(browser, ".lm-Menu")
    touch(browser, "touchStart", (0, 0))
    for step in range(1, 6):
        touch(browser, "touchMove", (step, 15 * step))
    touch(browser, "touchStart", (5, 75), (-35, 0))
    for step in range(6, 9):
        touch(browser, "touchMove", (step, 15 * step), (-35, 0))
    touch(browser, "touchEnd")
    wait(browser, lambda d: made(d) == 1, 30)
    row = pd.read_csv(saved(lab, seat)).iloc[0]
    direction = math.degrees(math.atan2(row["x"], row["y"] + 400))
    assert row["device"] == "touch" and direction == pytest.approx(3.8, abs=1)


def test_a_screen_that_reports_a_finger_late_still_makes_a_push(browser, lab):
    be_a_tablet(browser)
    run_all(browser, lab, seat_notebook(lab, 11))
    agree(browser)
    wait_for_the_end(browser)
    to_centre(browser, find(browser, FLOOR))
    touch(browser, "touchStart", (0, 0))
    time.sleep(0.2)
    touch(browser, "touchMove", (0, 95))
    touch(browser, "touchEnd")
    wait(browser, lambda d: made(d) == 1, 30)
    assert 40 <= pd.read_csv(saved(lab, 11))["speed"].iloc[0] <= 95 / 0.2


@pytest.mark.parametrize(("motion", "glides"), [("no-preference", True), ("reduce", False)])
def test_the_ring_glides_unless_less_motion_is_asked_for(browser, lab, motion, glides):
    asked = {"features": [{"name": "prefers-reduced-motion", "value": motion}]}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", asked)
    open_at(browser, lab, 9 if glides else 10, PRETEST)
    browser.execute_script(WATCH)
    make(browser, PRETEST + 1, lambda: push_with_keys(browser, 0.5))
    places = browser.execute_script("return window.ringPlaces.size")
    assert places >= 1 and (places > 1) == glides


def open_at(browser, lab, seat, pushes, more=""):
    """Open the class experiment where a rehearsed seat has made so many pushes."""
    save_sitting(
        rehearse_sitting(seat, class_seed=2026, seed=1, pushes=pushes), lab.folder / "notebooks"
    )
    old = "AimingTask(seat, class_seed=class_seed)"
    new = f"AimingTask({seat}, class_seed=class_seed, resume=True{more})"
    run_all(browser, lab, lab.notebook("class_experiment.ipynb", f"seat_{seat}.ipynb", old, new))
    wait(browser, lambda d: shown(d, FLOOR))
    wait_for_the_end(browser)
    browser.execute_script("arguments[0].focus()", find(browser, FLOOR))


def first_seat(task):
    """The first of the seats kept for this whose first push is of the task."""
    seats = ((seat, make_programme(seat, class_seed=2026)) for seat in range(20, 60))
    return next(seat for seat, programme in seats if programme.pushes[0].task == task)


def be_a_tablet(browser):
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", TABLET)
    fingers = {"enabled": True, "maxTouchPoints": 5}
    browser.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", fingers)


def focused(browser):
    return browser.switch_to.active_element.get_attribute("class")


def tab_to(browser, name):
    """Reach a control with the tab key alone, from the cell that is active."""
    for _ in range(60):
        if name in focused(browser).split():
            return
        ActionChains(browser).send_keys(Keys.TAB).perform()
    raise AssertionError(f"{name} is not reached with the tab key")
