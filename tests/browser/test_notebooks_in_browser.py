"""JupyterLab in headless Chromium: controls move, the aiming task is played, the screen is read."""

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pandas as pd
import pytest
from selenium import webdriver
from selenium.common.exceptions import (
    NoSuchElementException,
    StaleElementReferenceException,
    TimeoutException,
)
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"
DRIVER = shutil.which("chromedriver")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--window-size=1400,1600",
    "--force-prefers-reduced-motion",
)
SCREENSHOTS = os.environ.get("MOTORLEARN_SCREENSHOTS")
TRIES = (NoSuchElementException, StaleElementReferenceException)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        not (DRIVER and CHROMIUM),
        reason="no browser: neither Chromium nor chromedriver is installed",
    ),
]


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """Address of a JupyterLab on copies of the notebooks, and the folder it works in."""
    folder = tmp_path_factory.mktemp("lab")
    shutil.copytree(NOTEBOOKS, folder / "notebooks")
    shutil.copytree(NOTEBOOKS.parent / "data", folder / "data")
    log = (folder / "lab.log").open("w")
    home = {"HOME": str(folder), "JUPYTER_CONFIG_DIR": str(folder / "config")}
    options = ["--no-browser", "--ip=127.0.0.1", "--port=0", "--IdentityProvider.token=",
               "--LabApp.expose_app_in_browser=True", "--ServerApp.allow_root=True",
               "--ServerApp.disable_check_xsrf=True", "--LabApp.extension_manager=readonly",
               f"--ServerApp.root_dir={folder}"]  # fmt: skip
    server = subprocess.Popen(
        [sys.executable, "-m", "jupyterlab", *options],
        stdout=log,
        stderr=subprocess.STDOUT,
        env=os.environ | home | {"JUPYTER_RUNTIME_DIR": str(folder / "runtime")},
        start_new_session=True,
    )
    try:
        yield _address(folder / "runtime", server), folder
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(server.pid, signal.SIGTERM)
        server.wait(30)
        log.close()


def _address(runtime, server):
    for _ in range(120):
        assert server.poll() is None, "JupyterLab stopped"
        for file in runtime.glob("jpserver-*.json"):
            port = pd.read_json(file, typ="series")["port"]
            with contextlib.suppress(OSError):
                address = f"http://127.0.0.1:{port}"
                urllib.request.urlopen(f"{address}/api/status", timeout=2).close()
                return address
        time.sleep(0.5)
    raise AssertionError("JupyterLab did not answer")


@pytest.fixture
def browser(tmp_path):
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in (*FLAGS, f"--user-data-dir={tmp_path / 'profile'}"):
        options.add_argument(flag)
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    yield driver
    driver.quit()


KERNEL_RESTS = """
const panel = window.jupyterapp && window.jupyterapp.shell.currentWidget;
const session = panel && panel.sessionContext && panel.sessionContext.session;
return !!(session && session.kernel && session.kernel.status === "idle");
"""


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
SLACK = 3
"""The bound is 300 ms on a machine at rest; a busy one gets this many times more."""


def run_all(browser, address, notebook):
    """Open a notebook, clear what was stored and run every cell."""
    browser.get(f"{address}/lab/tree/notebooks/{notebook}")
    wait(browser, lambda d: d.execute_script(KERNEL_RESTS))
    for command in ("notebook:clear-all-cell-outputs", "notebook:run-all-cells"):
        browser.execute_script("window.jupyterapp.commands.execute(arguments[0])", command)


def wait(browser, condition, seconds=90):
    return WebDriverWait(browser, seconds, ignored_exceptions=TRIES).until(condition)


def find(browser, css):
    return browser.find_element(By.CSS_SELECTOR, css)


def look(browser, name):
    if SCREENSHOTS:
        browser.save_screenshot(str(Path(SCREENSHOTS) / f"{name}.png"))


def test_a_lecture_moves_with_its_controls(browser, lab):
    address, _ = lab
    run_all(browser, address, "teaching_learning_and_performance.ipynb")
    reveal = wait(browser, lambda d: d.find_element(By.XPATH, "//button[contains(., 'Reveal')]"))
    assert not any(
        e.is_displayed() for e in browser.find_elements(By.CSS_SELECTOR, ".ml-conclusion")
    )
    browser.find_element(By.XPATH, "//button[contains(., 'cannot be said from practice')]").click()
    reveal.click()
    conclusion = wait(browser, lambda d: shown(d, ".ml-conclusion"))
    assert wait(browser, lambda d: "You predicted: cannot be said from practice" in d.page_source)
    before, picture = conclusion.text, find(browser, ".ml-lesson img").get_attribute("src")
    assert "interaction" not in before and "cm" in before
    look(browser, "lecture")

    handle = wait(browser, lambda d: shown(d, ".widget-slider .noUi-handle"))
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", handle)
    handle.click()
    browser.execute_script(STOPWATCH, handle, find(browser, ".ml-lesson img"))
    for _ in range(5):
        handle.send_keys(Keys.ARROW_RIGHT)
        time.sleep(0.6)
    took = sorted(browser.execute_script("return window.took"))
    print(f"steps of a slider showed after {', '.join(f'{ms:.0f}' for ms in took)} ms")
    assert len(took) == 5
    assert took[2] < 300 * SLACK
    assert find(browser, ".ml-lesson img").get_attribute("src") != picture
    words = find(browser, ".ml-lesson details p").text
    assert "12 days" in words and words == find(browser, ".ml-lesson img").get_attribute("alt")
    assert float(find(browser, ".ml-conclusion").value_of_css_property("font-size")[:-2]) >= 24

    before = find(browser, ".ml-conclusion").text
    browser.find_element(By.XPATH, "//button[normalize-space()='null']").click()
    wait(browser, lambda d: find(d, ".ml-conclusion").text != before, 10)
    assert "cannot say" in find(browser, ".ml-conclusion").text
    look(browser, "lecture-null")


def shown(browser, css):
    return next((e for e in browser.find_elements(By.CSS_SELECTOR, css) if e.is_displayed()), False)


def test_the_class_experiment_is_played_with_pointer_and_keyboard(browser, lab):
    address, folder = lab
    file = folder / "notebooks" / "class-experiment-S001.csv"
    run_all(browser, address, "class_experiment.ipynb")
    agree = wait(browser, lambda d: shown(d, ".ml-aim-agree"))
    assert "no name" in find(browser, ".ml-aim-words").text
    assert not shown(browser, ".ml-aim-floor") and not file.exists()
    look(browser, "consent")
    agree.click()

    floor = wait(browser, lambda d: shown(d, ".ml-aim-floor"))
    assert find(browser, ".ml-aim-heading").text == "Pretest: push 1 of 12"
    push_until_made(browser, 1, lambda: push_with_pointer(browser, floor))
    assert "not shown" in find(browser, ".ml-aim-said").text
    for number in range(2, 13):
        push_until_made(browser, number, lambda: push_with_keys(browser, floor, 0.25))
    look(browser, "pretest")

    assert find(browser, ".ml-aim").get_attribute("data-phase") == "acquisition"
    push_until_made(browser, 13, lambda: push_with_pointer(browser, floor))
    said = find(browser, ".ml-aim-said").text
    look(browser, "practice")
    push_until_made(browser, 14, lambda: push_with_keys(browser, floor, 0.5, turns=3))

    pushes = pd.read_csv(file)
    assert len(pushes) == 14 and set(pushes["device"]) == {"mouse", "keyboard"}
    assert pushes["feedback"].tolist() == [0] * 12 + [1, 1]
    told = pushes.iloc[12]
    assert said.startswith("Hit" if told["hit"] else f"Missed by {told['radial_error']:.0f} cm")
    turned = pushes.iloc[13]
    if turned["task"] != "bank":
        assert (turned["x"] > 0) == (turned["task"] == "straight")


def push_until_made(browser, number, push):
    """Push again where a slow machine turned a push into none; a refused push is not counted."""
    for _ in range(5):
        wait(browser, lambda d: find(d, ".ml-aim").get_attribute("data-busy") == "false")
        push()
        with contextlib.suppress(TimeoutException):
            wait(browser, lambda d: made(d) == number, 15)
            return
        assert "no push" in find(browser, ".ml-aim-said").text
    raise AssertionError(f"push {number} was not made")


def made(browser):
    return int(find(browser, ".ml-aim").get_attribute("data-made"))


def push_with_pointer(browser, floor):
    """Take the ring and push it a little to the right, as a hand would."""
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", floor)
    start = floor.size["height"] / 2 - 70
    hand = ActionChains(browser, duration=25)
    hand.move_to_element_with_offset(floor, 0, int(start)).click_and_hold()
    for _ in range(8):
        hand.move_by_offset(1, -15)
    hand.release().perform()


def push_with_keys(browser, floor, seconds, turns=0):
    browser.execute_script("arguments[0].focus()", floor)
    hand = ActionChains(browser)
    for _ in range(turns):
        hand.send_keys(Keys.ARROW_RIGHT)
    hand.key_down(Keys.SPACE).pause(seconds).key_up(Keys.SPACE).perform()
