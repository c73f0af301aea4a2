"""Hands that play the class experiment in the browser: mouse, pen, finger and keyboard."""

from lab_pages import find, shown, to_centre, wait
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.actions.pointer_input import PointerInput
from selenium.webdriver.common.keys import Keys

FLOOR = ".ml-aim-floor"

# While a push is being shown: the most pixels in the colour of the ring beyond the dashed line, and
# the number of places where it was seen there.
WATCH = """
const canvas = document.querySelector(".ml-aim-floor"), root = canvas.closest(".ml-aim");
const scale = canvas.width / 400, pen = canvas.getContext("2d");
window.ringBeyond = 0;
window.ringPlaces = new Set();
const watch = () => {
  if (root.dataset.busy === "true") {
    const dots = pen.getImageData(30 * scale, 0, 370 * scale, 390 * scale).data;
    let count = 0, rows = 0;
    for (let i = 0; i < dots.length; i += 4) {
      if (dots[i] !== 0x8a || dots[i + 1] !== 0x3b || dots[i + 2] !== 0x12) continue;
      count += 1;
      rows += Math.floor(i / 4 / (370 * scale));
    }
    window.ringBeyond = Math.max(window.ringBeyond, count);
    if (count > 0) window.ringPlaces.add(Math.round(rows / count));
  }
  requestAnimationFrame(watch);
};
watch();
"""


def pointer(browser, kind):
    """A mouse, a pen or a finger; every step of its way takes 25 ms."""
    return ActionChains(browser, duration=25, devices=[PointerInput(kind, f"the {kind}")])


def push_with(browser, kind):
    """Take the ring and push it a little to the right, as a hand would."""
    floor = find(browser, FLOOR)
    to_centre(browser, floor)
    scale = floor.size["height"] / 600
    hand = pointer(browser, kind)
    start = floor.size["height"] / 2 - 70 * scale
    hand.move_to_element_with_offset(floor, 0, int(start)).click_and_hold()
    for _ in range(8):
        hand.move_by_offset(1, -round(15 * scale))
    hand.release().perform()


def push_with_keys(browser, seconds, turns=0):
    """Turn to the right, hold the space bar and let go; the floor must have the focus already."""
    hand = ActionChains(browser)
    for _ in range(turns):
        hand.send_keys(Keys.ARROW_RIGHT)
    hand.key_down(Keys.SPACE).pause(seconds).key_up(Keys.SPACE).perform()


def touch(browser, kind, *points):
    """Put fingers down, move them or lift them; each point is (x, y) in cm on the floor."""
    box = browser.execute_script(
        "return arguments[0].getBoundingClientRect()", find(browser, FLOOR)
    )
    scale = box["width"] / 400
    fingers = [
        {"x": box["x"] + (200 + x) * scale, "y": box["y"] + (530 - y) * scale, "id": number}
        for number, (x, y) in enumerate(points)
    ]
    event = {"type": kind, "touchPoints": fingers}
    browser.execute_cdp_cmd("Input.dispatchTouchEvent", event)


def make(browser, number, push):
    """Push once and wait until that push is counted and its outcome was shown."""
    push()
    wait(browser, lambda d: made(d) == number, 30)
    assert not busy(browser)


def made(browser):
    return int(find(browser, ".ml-aim").get_attribute("data-made"))


def busy(browser):
    return find(browser, ".ml-aim").get_attribute("data-busy") == "true"


def said(browser):
    return find(browser, ".ml-aim-said").text


def phase(browser):
    return find(browser, ".ml-aim").get_attribute("data-phase")


def agree(browser):
    """Wait for the question of consent, read it and say yes with the mouse."""
    button = wait(browser, lambda d: shown(d, ".ml-aim-agree"))
    assert "no name" in find(browser, ".ml-aim-words").text and not shown(browser, FLOOR)
    to_centre(browser, button)
    button.click()
    wait(browser, lambda d: shown(d, FLOOR))
