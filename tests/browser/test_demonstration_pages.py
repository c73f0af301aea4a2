"""Demonstrations as pages, in a browser that reaches no network: projector, phone, keyboard."""

import re
from contextlib import contextmanager

import pytest
from lab_pages import look
from looks import contrast, pale_texts
from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

import motorlearn as ml

pytestmark = pytest.mark.browser

LESSONS = ml.teaching.LESSONS
SIZES = {"projector": (1280, 720, False), "phone": (390, 844, True)}
FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
    "--disable-background-networking", "--host-resolver-rules=MAP * ~NOTFOUND",
)  # fmt: skip
BOTTOM = """
return Math.max(...[...document.querySelectorAll(arguments[0])].map(
  (part) => part.getBoundingClientRect().bottom));
"""
# Width of the page beyond the window; then every text and control that leaves its sides.
BEYOND = """
const found = [...document.querySelectorAll("svg text, button, input, p, legend, .label")]
  .filter((part) => part.getClientRects().length)
  .filter((part) => !part.closest("details:not([open]) > :not(summary)"))
  .filter((part) => { const b = part.getBoundingClientRect();
    return b.left < -1 || b.right > window.innerWidth + 1; })
  .map((part) => part.textContent);
return [document.documentElement.scrollWidth - window.innerWidth, found];
"""
SMALL = """
return [...document.querySelectorAll("button, input, summary")]
  .filter((part) => part.getClientRects().length)
  .map((part) => [part.textContent || part.ariaLabel, part.getBoundingClientRect()])
  .filter(([, box]) => box.height < 44 || box.width < 44).map(([name]) => name);
"""
ROWS = """
return [...document.querySelectorAll("#picture [data-row]")].map((row) => [row.dataset.row,
  ...["estimate", "low", "high"].map((part) => Number(row.dataset[part]))]);
"""
READY = "return performance.timing.loadEventEnd - performance.timing.navigationStart"


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """Every demonstration, written once."""
    folder = tmp_path_factory.mktemp("pages")
    return {
        name: ml.write_demonstration(name, folder / f"{name.replace(' ', '-')}.html")
        for name in LESSONS
    }


@pytest.fixture(params=SIZES)
def size(request):
    return request.param


@contextmanager
def shown(programs, size, folder):
    """A window of that size with no network and reduced motion."""
    chromium, driver = programs
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for flag in (*FLAGS, f"--user-data-dir={folder / 'profile'}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    window = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    width, height, touch = SIZES[size]
    metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": touch}
    window.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    yield window
    window.quit()


@pytest.fixture
def opened(programs, size, tmp_path):
    with shown(programs, size, tmp_path) as window:
        yield window


def find(window, css):
    return window.find_element(By.CSS_SELECTOR, css)


def vote(window, place=0):
    window.find_elements(By.CSS_SELECTOR, ".prediction > button")[place].click()
    find(window, "#reveal").click()


def test_every_page_shows_control_and_picture_together_and_says_nothing_wrong(opened, pages, size):
    height = SIZES[size][1]
    for name, page in pages.items():
        opened.get(page.as_uri())
        assert opened.execute_script(READY) < 1000
        assert not find(opened, "#shown").is_displayed()
        assert find(opened, "#reveal").get_attribute("disabled")
        assert opened.execute_script(SMALL) == [], name
        assert pale_texts(opened, find(opened, "body")) == [], name
        vote(opened)
        look(opened, f"page-{size}-{name.replace(' ', '-')}")
        assert opened.execute_script(BOTTOM, "#picture svg, #controls, #verdict") <= height, name
        over, outside = opened.execute_script(BEYOND)
        assert over <= 0 and outside == [], name
        assert opened.execute_script(SMALL) == [], name
        assert pale_texts(opened, find(opened, "body")) == [], name
        assert find(opened, "#picture svg").get_attribute("aria-label") == words(opened)
        assert opened.get_log("browser") == [], name


def words(window):
    return find(window, "#words").get_attribute("textContent")


@pytest.mark.parametrize("name", ["ceiling", "practice and tests", "part and whole"])
def test_a_page_moved_by_the_keyboard_alone_shows_the_numbers_of_python(opened, pages, name, size):
    lesson = LESSONS[name]
    opened.get(pages[name].as_uri())
    press(opened, Keys.TAB, Keys.ENTER)
    while opened.switch_to.active_element.get_attribute("id") != "reveal":
        press(opened, Keys.TAB)
    press(opened, Keys.ENTER)
    assert_shows(opened, lesson, {c.name: c.start for c in lesson.controls})
    settings = {control.name: control.start for control in lesson.controls}
    moved = [c for c in lesson.controls if len(c.offered) > 1 and not c.choices]
    for control in moved:
        while opened.switch_to.active_element.get_attribute("aria-label") != control.label:
            press(opened, Keys.TAB)
        seen(opened)
        press(opened, Keys.ARROW_RIGHT)
        place = control.offered.index(control.start)
        settings[control.name] = control.offered[min(place + 1, len(control.offered) - 1)]
        assert_shows(opened, lesson, settings)


def press(window, *keys):
    ActionChains(window).send_keys(*keys).perform()


def seen(window):
    """The element that holds the focus has an outline that is seen."""
    element = window.switch_to.active_element
    assert float(element.value_of_css_property("outline-width")[:-2]) >= 2
    colour = re.findall(r"[\d.]+", element.value_of_css_property("outline-color"))[:3]
    assert contrast([float(part) for part in colour], (255, 255, 255)) >= 3


def assert_shows(window, lesson, settings):
    shown = lesson.compute(seed=lesson.seed, **settings)
    assert find(window, "#conclusion").text == shown.conclusion
    assert words(window) == shown.text
    expected = [
        (row.label, row.estimate, row.low, row.high)
        for panel in lesson.picture(shown).panels
        for row in panel.rows
    ]
    drawn = window.execute_script(ROWS)
    assert [row[0] for row in drawn] == [row[0] for row in expected]
    for one, other in zip(drawn, expected, strict=True):
        assert one[1:] == pytest.approx(other[1:], rel=5e-4)
    assert lesson.answer(shown) in find(window, "#verdict").text


def test_a_class_is_counted_told_and_asked_again(opened, pages):
    lesson = LESSONS["ceiling"]
    opened.get(pages["ceiling"].as_uri())
    for field, count in zip(opened.find_elements(By.CSS_SELECTOR, ".hands input"), (5, 7, 0)):
        field.send_keys(Keys.BACKSPACE, str(count))
    find(opened, ".hands button[aria-label^='one hand more']").click()
    vote(opened, 1)
    tally, verdict = find(opened, "#tally").text, find(opened, "#verdict").text
    assert tally.startswith("6 of 14 were right: beginners 6 ✓ · advanced 8")
    assert "You said: advanced. Not so. With these settings: beginners." in verdict
    button(opened, "Nothing going on").click()
    assert lesson.predictions[2] in find(opened, "#verdict").text
    before = find(opened, "#conclusion").text
    button(opened, "New people").click()
    assert find(opened, "#conclusion").text != before
    button(opened, "Ask again").click()
    assert not find(opened, "#shown").is_displayed()
    counts = [
        f.get_attribute("value") for f in opened.find_elements(By.CSS_SELECTOR, ".hands input")
    ]
    assert counts == ["0", "0", "0"] and find(opened, "#reveal").get_attribute("disabled")


def button(window, text):
    buttons = window.find_elements(By.CSS_SELECTOR, "#controls button")
    return next(one for one in buttons if one.text == text)
