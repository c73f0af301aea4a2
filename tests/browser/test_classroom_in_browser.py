"""The class experiment without Python: one file, every device, every mishap, a real browser."""

import threading
import time

import pandas as pd
import pytest
from class_hands import click, hands, make_quick, play
from lab_pages import find, look, shown, wait
from looks import contrast, pale_texts
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.actions.pointer_input import PointerInput
from selenium.webdriver.common.keys import Keys

import motorlearn as ml
from motorlearn.teaching import ClassServer, write_classroom
from motorlearn.teaching.aiming import AimingTask, make_programme
from motorlearn.teaching.aiming import face as notebook_face
from motorlearn.teaching.classroom.codes import read_code, write_code

pytestmark = pytest.mark.browser

SEED = 2026
PHONE, PROJECTOR = (390, 844), (1280, 720)
KEPT = "return localStorage.getItem(`class-experiment-2026-${arguments[0]}`)"
BOXES = """
return Object.fromEntries(Object.entries(arguments[0]).map(([name, css]) => {
  const box = document.querySelector(css).getBoundingClientRect();
  return [name, [box.left, box.top, box.right, box.bottom]];
}));
"""
# The notebook's floor alone, loaded as the notebook loads it; its messages wait in `sent`.
NOTEBOOK = """
const [source, screen, done] = arguments;
window.sent = [];
window.hearers = {};
window.screenNow = screen;
const model = {
  get: () => window.screenNow,
  send: (content) => window.sent.push(content),
  on: (name, hearer) => { window.hearers[name] = hearer; },
  off: () => {},
};
import(URL.createObjectURL(new Blob([source], { type: "text/javascript" }))).then((face) => {
  document.body.replaceChildren();
  face.default.render({ model, el: document.body });
  done(true);
}, (problem) => done(String(problem)));
"""
ANSWER = """
const [screen, answer, done] = arguments;
window.screenNow = screen;
window.hearers["change:screen"]();
if (answer) window.hearers["msg:custom"](answer);
if (!answer) done(true); else window.still().then(() => done(true));
"""


@pytest.fixture(scope="module")
def room(tmp_path_factory):
    """A class of 30."""
    folder = tmp_path_factory.mktemp("class") / "monday"
    ml.teaching.write_classroom(folder, seats=30, class_seed=SEED)
    return folder


def address(room, seat=None):
    page = (room / "class-experiment.html").as_uri()
    return page if seat is None else f"{page}#seat={seat}"


def sit(browser, room, seat):
    """Open the page at a seat and say yes."""
    browser.get(address(room, seat))
    wait(browser, lambda d: shown(d, ".ml-aim-agree"))
    click(browser, ".ml-aim-agree")
    wait(browser, lambda d: shown(d, ".ml-aim-floor"))


def made(browser):
    return int(find(browser, ".ml-aim").get_attribute("data-made"))


def complaints(browser):
    return [entry["message"] for entry in browser.get_log("browser")]


def saved(browser, seat):
    """Save the file of the sitting and read what the browser wrote."""
    click(browser, "#save")
    file = browser.downloads / f"class-experiment-S{seat:03d}.csv"
    wait(browser, lambda d: file.is_file(), 20)
    return file


def notebook_plays(browser, seat, folder, pushes):
    """Play the same hands on the notebook's floor, with Python deciding; give the file's bytes."""

    class Clock:
        now = 1_700_000_000.0

        def __call__(self):
            return self.now

    clock, told = Clock(), []
    task = AimingTask(seat, class_seed=SEED, folder=folder, clock=clock)
    task.send = told.append
    task._hear(task, {"event": "agree"}, None)
    browser.get("data:text/html,<title>floor</title>")
    browser.execute_script(f"{notebook_face_style()}")
    browser.set_script_timeout(30)
    source = notebook_face.AimingTask._esm
    source = getattr(source, "_str", None) or str(source)
    assert browser.execute_async_script(NOTEBOOK, source, dict(task.screen)) is True
    words = []
    for push in pushes:
        clock.now += 5
        if task.screen["page"] == "pause":
            clock.now += 300
            task._hear(task, {"event": "look"}, None)
            browser.execute_async_script(ANSWER, dict(task.screen), None)
        browser.execute_script("window.pushAs(arguments[0])", push)
        sent = browser.execute_script("return window.sent.splice(0)")
        assert [content["event"] for content in sent] == ["push"]
        told.clear()
        task._hear(task, sent[0], None)
        words.append(told[0]["words"])
        browser.execute_async_script(ANSWER, dict(task.screen), told[0])
    return (folder / f"class-experiment-S{seat:03d}.csv").read_bytes(), words


def notebook_face_style():
    style = (notebook_face._HERE / "face.css").read_text()
    return (
        "const style = document.createElement('style');"
        f"style.textContent = {style!r}; document.head.append(style);"
    )


@pytest.mark.parametrize("seat", [3, 8])
def test_notebook_and_page_give_the_same_pushes_for_the_same_hands(window, room, tmp_path, seat):
    programme = make_programme(seat, class_seed=SEED)
    pushes = hands(programme, seed=5, spread=1.5)
    browser = window(*PROJECTOR)
    make_quick(browser)
    sit(browser, room, seat)
    assert play(browser, pushes) == ["102", "end"]
    page = saved(browser, seat).read_bytes()
    code = find(browser, "#code").text.split()
    (tmp_path / "notebook").mkdir()
    book, _ = notebook_plays(browser, seat, tmp_path / "notebook", pushes)
    assert page == book
    table = pd.read_csv(tmp_path / "notebook" / f"class-experiment-S{seat:03d}.csv")
    assert "-".join(code) == write_code(table, programme)
    read = read_code(" ".join(code), {seat: programme}, class_seed=SEED)
    assert read.made == 102 and read.device == "touch"
    assert not complaints(browser)


def test_a_full_sitting_of_thirty_is_merged_and_reported(window, room, tmp_path):
    browser = window(*PHONE, touch=True)
    make_quick(browser)
    coded = []
    for seat in range(1, 31):
        sit(browser, room, seat)
        pushes = hands(make_programme(seat, class_seed=SEED), seed=9)
        assert play(browser, pushes) == ["102", "end"], seat
        if seat == 30:
            coded.append(" ".join(find(browser, "#code").text.split()))
        saved(browser, seat)
    last = browser.downloads / "class-experiment-S030.csv"
    last.unlink()
    start = time.process_time()
    merged = ml.teaching.collect_class(room, [browser.downloads], out=tmp_path / "files")
    study = ml.read_study(tmp_path / "files")
    assert len(merged.table) == 29 * 102 and merged.problems.empty
    assert not (study.problems["severity"] == "error").any()
    page = ml.write_report(study, tmp_path / "report", short=True, quiet=True)
    assert time.process_time() - start < 30 and page.is_file()
    both = ml.teaching.collect_class(room, [browser.downloads], codes=coded, out=tmp_path / "codes")
    assert len(both.participants) == 30 and both.participants["complete"].all()
    studies = (ml.read_study(tmp_path / name) for name in ("files", "codes"))
    files, codes = (ml.analyse_study(one).primary["estimate"].iloc[0] for one in studies)
    assert codes == pytest.approx(files, rel=0.1)
    assert not complaints(browser)


@pytest.mark.parametrize("size", [PHONE, PROJECTOR])
def test_words_target_ring_and_buttons_are_on_the_first_screen(window, room, size):
    touch = size == PHONE
    browser = window(*size, touch=touch)
    make_quick(browser)
    browser.get(address(room))
    wait(browser, lambda d: shown(d, "#seat"))
    look(browser, f"class-seat-{size[0]}")
    first = {"words": "#cautions", "seat": "#seat", "go": "#seat-form button"}
    assert_inside(browser, first, size)
    sit(browser, room, 7)
    play(browser, hands(make_programme(7, class_seed=SEED), seed=1)[:13])
    parts = {
        "heading": ".ml-aim-heading", "words": ".ml-aim-words", "floor": ".ml-aim-floor",
        "said": ".ml-aim-said", "withdraw": ".ml-aim-withdraw", "hand in": ".hall-hand-in",
    }  # fmt: skip
    assert_inside(browser, parts, size)
    height = browser.execute_script("return document.documentElement.scrollHeight")
    floor = find(browser, ".ml-aim-floor").rect
    assert height <= size[1] and floor["height"] > 0.55 * size[1]
    assert floor["height"] / floor["width"] == pytest.approx(1.5, abs=0.02)
    assert_large_enough(browser)
    look(browser, f"class-floor-{size[0]}")
    assert pale_texts(browser, find(browser, "#hall")) == []
    click(browser, ".hall-hand-in")
    assert_large_enough(browser)
    assert pale_texts(browser, find(browser, "#hall")) == []
    look(browser, f"class-hand-in-{size[0]}")
    assert_inside(browser, {"save": "#save", "code": "#code", "copy": "#copy"}, size)


def assert_inside(browser, parts, size):
    for name, (left, top, right, bottom) in browser.execute_script(BOXES, parts).items():
        inside = left >= 0 and top >= 0 and right <= size[0] + 0.5 and bottom <= size[1] + 0.5
        assert inside, (name, left, top, right, bottom)


def assert_large_enough(browser):
    small = """
    return [...document.querySelectorAll("button, input:not(.unseen), label.button")]
      .filter((e) => e.offsetParent !== null)
      .map((e) => [e.textContent, e.getBoundingClientRect()])
      .filter(([, box]) => box.width < 44 || box.height < 44).map(([words]) => words);
    """
    assert browser.execute_script(small) == []


def test_the_page_is_small_ready_at_once_and_reaches_nothing(window, room):
    assert (room / "class-experiment.html").stat().st_size <= 300_000
    browser = window(*PHONE, touch=True)
    browser.get(address(room))
    wait(browser, lambda d: d.execute_script("return document.documentElement.dataset.ready"))
    ready = "return performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd"
    assert 0 < browser.execute_script(ready) < 1000
    assert browser.execute_script("return performance.getEntriesByType('resource').length") == 0
    reach = """
    const done = arguments[0];
    fetch("https://example.org/").then(() => done("sent"), (problem) => done(problem.name));
    """
    assert browser.execute_async_script(reach) == "TypeError"
    assert any("Content Security Policy" in line for line in complaints(browser))


def test_the_keyboard_alone_plays_saves_and_withdraws(window, room):
    browser = window(*PROJECTOR)
    browser.get(address(room))
    wait(browser, lambda d: shown(d, "#seat"))
    tab_to(browser, "seat")
    ActionChains(browser).send_keys("99", Keys.ENTER).perform()
    assert "from 1 to 30, not 99" in find(browser, "#seat-said").text
    find(browser, "#seat").clear()
    tab_to(browser, "seat")
    ActionChains(browser).send_keys("5", Keys.ENTER).perform()
    wait(browser, lambda d: shown(d, ".ml-aim-agree"))
    tab_to(browser, "ml-aim-agree")
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    wait(browser, lambda d: named(d) == "ml-aim-floor")
    for number in (1, 2):
        keys = ActionChains(browser).send_keys(Keys.ARROW_RIGHT)
        keys.key_down(Keys.SPACE).pause(0.3).key_up(Keys.SPACE).perform()
        wait(browser, lambda d, n=number: made(d) == n)
    tab_to(browser, "hall-hand-in")
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    wait(browser, lambda d: shown(d, "#save"))
    tab_to(browser, "save")
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    file = browser.downloads / "class-experiment-S005.csv"
    wait(browser, lambda d: file.is_file(), 20)
    assert pd.read_csv(file)["device"].tolist() == ["keyboard"] * 2
    tab_to(browser, "back")
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    wait(browser, lambda d: named(d) == "ml-aim-floor")
    tab_to(browser, "ml-aim-withdraw")
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    wait(browser, lambda d: d.switch_to.alert).accept()
    wait(browser, lambda d: "Nothing is kept" in find(d, ".ml-aim-words").text)
    assert browser.execute_script(KEPT, 5) is None


@pytest.mark.parametrize("device", ["mouse", "touch", "pen"])
def test_real_devices_push_the_ring(window, room, device):
    browser = window(*PHONE, touch=device == "touch")
    sit(browser, room, 9)
    push_really(browser, device)
    wait(browser, lambda d: made(d) == 1)
    assert f'"device":"{device}"' in browser.execute_script(KEPT, 9)


def push_really(browser, device):
    floor = find(browser, ".ml-aim-floor")
    scale = floor.size["height"] / 600
    hand = ActionChains(browser, duration=20, devices=[PointerInput(device, f"the {device}")])
    start = round(floor.size["height"] / 2 - 70 * scale)
    hand.move_to_element_with_offset(floor, 0, start).click_and_hold()
    for _ in range(8):
        hand.move_by_offset(1, -round(15 * scale))
    hand.release().perform()


def test_a_reload_in_mid_trial_loses_nothing_and_the_device_knows_its_seat(window, room):
    browser = window(*PHONE, touch=True)
    make_quick(browser)
    sit(browser, room, 12)
    pushes = hands(make_programme(12, class_seed=SEED), seed=2)
    play(browser, pushes[:20])
    half = """
    const floor = document.querySelector(".ml-aim-floor"), box = floor.getBoundingClientRect();
    floor.setPointerCapture = () => {};
    floor.dispatchEvent(new PointerEvent("pointerdown", { pointerId: 1, button: 0, bubbles: true,
      clientX: box.left + box.width / 2, clientY: box.top + box.height * 530 / 600 }));
    """
    browser.execute_script(half)
    browser.refresh()
    wait(browser, lambda d: shown(d, ".ml-aim-floor"))
    assert made(browser) == 20
    browser.get("about:blank")
    browser.get(address(room))
    button = wait(browser, lambda d: shown(d, "#go-on"))
    assert button.text == "Go on with seat 12 (20 of 102 pushes made)"
    button.click()
    wait(browser, lambda d: shown(d, ".ml-aim-floor"))
    assert play(browser, pushes[20:22])[0] == "22"


def test_a_second_tab_takes_the_seat_and_gives_it_back(window, room):
    browser = window(*PROJECTOR)
    make_quick(browser)
    sit(browser, room, 14)
    pushes = hands(make_programme(14, class_seed=SEED), seed=2)
    play(browser, pushes[:3])
    first = browser.current_window_handle
    browser.switch_to.new_window("tab")
    make_quick(browser)
    browser.get(address(room, 14))
    wait(browser, lambda d: shown(d, ".ml-aim-floor"))
    play(browser, pushes[3:5])
    browser.switch_to.window(first)
    wait(browser, lambda d: "another tab" in find(d, ".ml-aim-words").text)
    assert not shown(browser, ".ml-aim-floor") and not shown(browser, ".ml-aim-withdraw")
    shown(browser, ".hall-take-over").click()
    wait(browser, lambda d: shown(d, ".ml-aim-floor"))
    assert made(browser) == 5


def test_retention_a_week_later_opens_on_the_same_device(window, tmp_path):
    folder = tmp_path / "week"
    ml.teaching.write_classroom(folder, seats=4, class_seed=SEED, retention_days=7)
    browser = window(*PHONE, touch=True)
    make_quick(browser)
    sit(browser, folder, 2)
    plan = ml.read_design(folder)
    pushes = hands(make_programme(2, class_seed=SEED, plan=plan), seed=3)
    assert play(browser, pushes[:78]) == ["78", "pause"]
    assert "7 days after practice" in find(browser, ".ml-aim-words").text
    assert "Still 7 days" in find(browser, ".ml-aim-said").text and shown(browser, "#save")
    look(browser, "class-week")
    browser.get(address(folder))
    browser.execute_script("window.fakeNow += 7 * 86400000")
    wait(browser, lambda d: shown(d, "#go-on")).click()
    wait(browser, lambda d: shown(d, ".ml-aim-floor"))
    assert play(browser, pushes[78:])[1] == "end"
    table = pd.read_csv(saved(browser, 2))
    assert table["session"].unique().tolist() == [1, 2]
    assert table["elapsed"].diff().max() == pytest.approx(7 * 86400, abs=600)
    assert ml.teaching.collect_class(folder, [browser.downloads]).problems.empty


def test_a_file_is_taken_up_on_another_device(window, room, tmp_path):
    pushes = hands(make_programme(21, class_seed=SEED), seed=4)
    one = window(*PROJECTOR)
    make_quick(one)
    sit(one, room, 21)
    play(one, pushes[:30])
    click(one, ".hall-hand-in")
    file = saved(one, 21)
    other = window(*PHONE, touch=True)
    make_quick(other)
    other.get(address(room))
    find(other, "#take-up").send_keys(str(file))
    wait(other, lambda d: shown(d, ".ml-aim-floor"))
    assert play(other, pushes[30:])[0] == "102"
    click(other, "#save")
    whole = other.downloads / file.name
    wait(other, lambda d: len(pd.read_csv(whole)) == 102, 20)
    pd.testing.assert_frame_equal(pd.read_csv(whole).head(30), pd.read_csv(file).head(30))
    wrong = tmp_path / "wrong.csv"
    wrong.write_text(file.read_text().replace(f",{SEED}", ",1"))
    other.get("about:blank")
    other.get(address(room))
    find(other, "#take-up").send_keys(str(wrong))
    wait(other, lambda d: "another class" in find(d, "#seat-said").text)


@pytest.mark.parametrize(("motion", "glides"), [("no-preference", True), ("reduce", False)])
def test_the_ring_glides_unless_less_motion_is_asked_for(window, room, motion, glides):
    browser = window(*PROJECTOR, motion=motion)
    make_quick(browser)
    sit(browser, room, 16)
    pushes = hands(make_programme(16, class_seed=SEED), seed=2)
    play(browser, pushes[:12])
    frames = """
    const [push, done] = arguments;
    let frames = 0;
    const real = window.requestAnimationFrame.bind(window);
    window.requestAnimationFrame = (act) => { frames += 1; return real(act); };
    window.pushAs(push);
    window.still().then(() => done(frames));
    """
    assert (browser.execute_async_script(frames, pushes[12]) > 3) == glides


def test_a_served_page_sends_when_asked_and_only_then(window, tmp_path):
    folder = write_classroom(tmp_path / "served", seats=4, class_seed=SEED).parent
    with ClassServer(folder, address="127.0.0.1", port=0) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        browser = window(*PHONE, touch=True, network=True)
        make_quick(browser)
        browser.get(f"{server.address}#seat=3")
        wait(browser, lambda d: shown(d, ".ml-aim-agree"))
        assert "unless you press Send" in find(browser, ".ml-aim-words").text
        click(browser, ".ml-aim-agree")
        play(browser, hands(make_programme(3, class_seed=SEED), seed=2)[:5])
        click(browser, ".hall-hand-in")
        assert server.received() == 0
        click(browser, "#send")
        wait(browser, lambda d: "Received: seat 3, 5 pushes" in find(d, "#result-said").text)
        assert server.received() == 1 and not complaints(browser)
        server.shutdown()
        thread.join()


def test_a_browser_that_keeps_nothing_says_so(window, room):
    browser = window(*PHONE, touch=True)
    command = "Page.addScriptToEvaluateOnNewDocument"
    closed = "Object.defineProperty(window, 'localStorage', { get() { throw new Error('no'); } });"
    browser.execute_cdp_cmd(command, {"source": closed})
    make_quick(browser)
    sit(browser, room, 17)
    assert "keeps nothing" in find(browser, "#storage-said").text
    assert play(browser, hands(make_programme(17, class_seed=SEED), seed=2)[:3])[0] == "3"


def named(browser):
    return browser.switch_to.active_element.get_attribute("class")


def tab_to(browser, name):
    """Reach a control with the tab key alone."""
    for _ in range(30):
        active = browser.switch_to.active_element
        if name in (active.get_attribute("id"), *(active.get_attribute("class") or "").split()):
            return
        ActionChains(browser).send_keys(Keys.TAB).perform()
    raise AssertionError(f"{name} is not reached with the tab key")


def test_colours_of_the_floor_are_told_apart():
    paper = (0xF6, 0xF3, 0xEC)
    for colour in ((0xB3, 0x47, 0x00), (0x00, 0x72, 0xB2), (0x22, 0x22, 0x22)):
        assert contrast(colour, paper) >= 3
