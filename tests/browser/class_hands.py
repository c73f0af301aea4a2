"""Hands that play the class experiment by script: always the same movement, the same times."""

import math

import numpy as np

from motorlearn.teaching.aiming.rehearsal import perfect_push

# Time as the script wants it: waiting costs nothing, the clock stands until it is moved.
QUICK = """
window.fakeNow = 1700000000000;
Date.now = () => window.fakeNow;
const later = window.setTimeout.bind(window);
window.setTimeout = (act) => later(act, 0);
window.confirm = () => true;
"""
# One push of a finger, pen or mouse over the floor: in `steps` of 10 ms along a straight line.
HANDS = """
window.handTime = 1000;
window.pushAs = ({ direction, speed, device }) => {
  const floor = document.querySelector(".ml-aim-floor");
  floor.setPointerCapture = () => {};
  const box = floor.getBoundingClientRect();
  const wide = box.width / 400, high = box.height / 600;
  const angle = direction * Math.PI / 180, step = speed * 0.01;
  const tell = (type, x, y) => {
    const event = new PointerEvent(type, {
      pointerId: 1, pointerType: device, button: 0, bubbles: true, cancelable: true,
      clientX: box.left + (200 + x) * wide, clientY: box.top + (530 - y) * high,
    });
    Object.defineProperty(event, "timeStamp", { value: window.handTime });
    floor.dispatchEvent(event);
  };
  tell("pointerdown", 0, 0);
  for (let made = step; ; made += step) {
    window.handTime += 10;
    tell("pointermove", made * Math.sin(angle), made * Math.cos(angle));
    if (made * Math.cos(angle) > 91) break;
  }
};
window.still = () => new Promise((done) => {
  const root = document.querySelector(".ml-aim");
  const look = () => root.dataset.busy === "true" ? later0(look) : done();
  const later0 = (act) => window.setTimeout(act, 0);
  look();
});
"""
# A whole sitting: each push comes five seconds after the last; a pause is waited out.
PLAY = """
const [pushes, gap, done] = arguments;
(async () => {
  for (const push of pushes) {
    window.fakeNow += 5000;
    if (document.querySelector(".ml-aim").dataset.page === "pause") {
      window.fakeNow += gap;
      document.dispatchEvent(new Event("visibilitychange"));
      await new Promise((act) => window.setTimeout(act, 0));
    }
    window.pushAs(push);
    await window.still();
  }
  const { made, page } = document.querySelector(".ml-aim").dataset;
  return [made, page];
})().then(done, (problem) => done(String(problem)));
"""


def hands(programme, seed, *, device="touch", spread=1.0):
    """Pushes of an invented person for every push of a programme."""
    rng = np.random.default_rng([seed, programme.seat])
    pushes = []
    for number, planned in enumerate(programme.pushes):
        skill = spread * (0.4 + math.exp(-number / 40))
        direction, speed = perfect_push(planned.task, planned.farther)
        pushes.append(
            {
                "direction": float(direction + 4 * skill * rng.standard_normal()),
                "speed": float(
                    np.clip(speed * math.exp(0.1 * skill * rng.standard_normal()), 60, 2300)
                ),
                "device": device,
            }
        )
    return pushes


def make_quick(browser):
    """Let every page that is opened from now on run on the script's clock."""
    command = "Page.addScriptToEvaluateOnNewDocument"
    browser.execute_cdp_cmd(command, {"source": QUICK + HANDS})


def play(browser, pushes, gap_ms=300_000):
    """Play pushes on the floor that is shown; give how many are made, and the page after."""
    browser.set_script_timeout(120)
    return browser.execute_async_script(PLAY, pushes, gap_ms)


def click(browser, css):
    browser.execute_script("document.querySelector(arguments[0]).click()", css)
