"""What an eye and a finger need of a page, measured: size, room, contrast, focus."""

from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

# Each control in sight: what it says, whether it is a button, its width and height in css pixels.
_CONTROLS = """
const all = "button, input, summary, canvas, .noUi-handle, .widget-readout";
return [...arguments[0].querySelectorAll(all)].filter((item) => item.offsetParent).map((item) => {
  const label = item.type === "checkbox" ? item.closest("label") : item;
  const box = label.getBoundingClientRect();
  const name = item.getAttribute("aria-label") || label.textContent;
  return [name, item.tagName === "BUTTON", box.width, box.height];
});
"""
# Every line of text in sight: its words and its box; then the box of the page that holds it.
_TEXTS = """
const walker = document.createTreeWalker(arguments[0], NodeFilter.SHOW_TEXT), found = [];
while (walker.nextNode()) {
  const node = walker.currentNode, holder = node.parentElement;
  if (!node.data.trim() || !holder.offsetParent || holder.closest("style")) continue;
  const range = document.createRange();
  range.selectNodeContents(node);
  for (const box of range.getClientRects()) {
    found.push([node.data.trim(), box.left, box.top, box.right, box.bottom, holder]);
  }
}
"""
_BOXES = (
    _TEXTS
    + """
const page = arguments[0].closest(".jp-OutputArea-output").getBoundingClientRect();
return [found.map((text) => text.slice(0, 5)), page.left, page.right];
"""
)
_COLOURS = (
    _TEXTS
    + """
const parts = (colour) => colour.match(/[\\d.]+/g).map(Number);
const behind = (element) => {
  for (let at = element; at; at = at.parentElement) {
    const colour = parts(getComputedStyle(at).backgroundColor);
    if (colour.length === 3 || colour[3] === 1) return colour;
  }
  return [255, 255, 255];
};
return found.map(([words, , , , , holder]) => {
  const style = getComputedStyle(holder), size = parseFloat(style.fontSize);
  const large = size >= 24 || (size >= 18.66 && style.fontWeight >= 700);
  return [words, parts(style.color), behind(holder), large];
});
"""
)
_FOCUSED = """
const at = document.activeElement, style = getComputedStyle(at);
const colour = style.outlineColor.match(/[\\d.]+/g).map(Number);
return [arguments[0].contains(at), at, style.outlineStyle, parseFloat(style.outlineWidth), colour];
"""


def controls(browser, root):
    """Name, whether it is a button, width and height of every control in sight."""
    return browser.execute_script(_CONTROLS, root)


def texts_outside(browser, root):
    """Texts that reach beyond the sides of the page."""
    boxes, left, right = browser.execute_script(_BOXES, root)
    return [box[0] for box in boxes if box[1] < left - 1 or box[3] > right + 1]


def texts_that_collide(browser, root):
    """Pairs of texts of which one lies on the other."""
    boxes, _, _ = browser.execute_script(_BOXES, root)
    return [
        (one[0], other[0])
        for i, one in enumerate(boxes)
        for other in boxes[i + 1 :]
        if min(one[3], other[3]) - max(one[1], other[1]) > 2
        and min(one[4], other[4]) - max(one[2], other[2]) > 4
    ]


def pale_texts(browser, root):
    """Texts whose contrast with what is behind them is below 4.5, or 3 where they are large."""
    found = []
    for words, colour, behind, large in browser.execute_script(_COLOURS, root):
        ratio = contrast(colour, behind)
        if ratio < (3 if large else 4.5):
            found.append((words, round(ratio, 2)))
    return found


def contrast(one, other):
    """Give the contrast ratio of two colours as WCAG defines it."""
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _luminance(colour):
    shares = [part / 255 for part in colour[:3]]
    linear = [s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def tab_through(browser, root, start):
    """Tab from ``start`` to the end of ``root``: name and outline of everything that is reached."""
    browser.execute_script("arguments[0].focus()", start)
    reached = []
    for _ in range(40):
        ActionChains(browser).send_keys(Keys.TAB).perform()
        inside, element, *outline = browser.execute_script(_FOCUSED, root)
        if not inside:
            return reached
        reached.append((element.accessible_name, *outline))
    raise AssertionError("the tab key does not leave the page")
