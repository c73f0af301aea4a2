"""A demonstration as one HTML file that needs no installation: vote, answer, controls, picture.

Every combination of the values that a lesson offers on the page is computed beforehand by the same
function as in a notebook, so that the page shows its numbers and no others. ``page.js`` chooses and
draws; it computes nothing.
"""

import html
import math
from collections.abc import Iterator, Mapping
from itertools import product
from pathlib import Path
from typing import Any, Final

from motorlearn import digits, files
from motorlearn.exceptions import InputError
from motorlearn.teaching.demonstrations.lesson import Control, Lesson
from motorlearn.teaching.demonstrations.lessons import LESSONS, find_lesson
from motorlearn.teaching.demonstrations.scene import Mark, Panel, Scene
from motorlearn.teaching.demonstrations.scene_drawing import LOOKS
from motorlearn.teaching.pages import page_of

MADE_HERE: Final = "<!DOCTYPE html>"
"""How a page begins that may be written over."""
FIGURES: Final = 4
"""Significant figures of the numbers in a page."""
_HERE: Final = Path(__file__).parent
_BODY: Final = """<header><h1>{title}</h1><p id="question">{question}</p></header>
<section id="vote" aria-labelledby="vote-title"><h2 id="vote-title">What do you predict?</h2>
<div id="predictions"></div><p class="note">Vote for yourself, or count the hands of a class.</p>
<p><button type="button" class="main" id="reveal" disabled>Show the answer</button></p></section>
<main id="shown" hidden><form id="controls" aria-label="Settings"></form>
<figure><div id="picture"></div><figcaption id="caption" class="note"></figcaption></figure>
<p id="verdict" role="status"></p>
<section id="answer" aria-live="polite"><p id="tally"></p><p id="conclusion"></p></section>
<section id="more"><p id="message"></p><p id="contested"></p>
<details><summary>The picture in words</summary><p id="words"></p></details>
<details><summary>Sources</summary><ul id="sources"></ul>
<p class="note">Everybody here is invented. Made with motorlearn.</p></details></section></main>"""


def write_demonstration(name: str, file: str | Path) -> Path:
    """Write a demonstration as one HTML file with everything inside.

    The page asks for a vote, shows the answer, and has the lesson's controls beside its picture. It
    works offline, on a projector and on a phone; it asks the network for nothing.

    Parameters
    ----------
    name : str
        One of :data:`motorlearn.teaching.LESSONS`; hyphens count as spaces.
    file : str or Path
        File to write, ``.html``.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    InputError
        If there is no such demonstration, or the file is not named ``.html``.

    Examples
    --------
    >>> import tempfile
    >>> page = write_demonstration("ceiling", Path(tempfile.mkdtemp()) / "ceiling.html")
    >>> page.stat().st_size < 300_000
    True
    """
    lesson = find_lesson(name)
    target = Path(file)
    if target.suffix.lower() not in (".html", ".htm"):
        raise InputError("a demonstration is an HTML page", [target.name], "name the file .html")
    return files.write_text(target, demonstration_page(lesson), only_over=MADE_HERE)


def demonstration_list() -> str:
    """Give the demonstrations, one a line: name and title.

    Examples
    --------
    >>> demonstration_list().splitlines()[0]
    'practice-and-tests      Two orders of practice'
    """
    width = max(map(len, LESSONS)) + 2
    return "\n".join(
        f"{name.replace(' ', '-'):{width}}{lesson.title}" for name, lesson in LESSONS.items()
    )


def demonstration_page(lesson: Lesson) -> str:
    """Give the page of a lesson as text."""
    shown = next(_cases(lesson, (_started(lesson),)))
    body = _BODY.format(title=html.escape(lesson.title), question=html.escape(shown["question"]))
    return page_of(
        lesson.title,
        body,
        styles=((_HERE / "page.css").read_text(encoding="utf-8"),),
        scripts=((_HERE / "page.js").read_text(encoding="utf-8"),),
        data=page_data(lesson),
    )


def page_data(lesson: Lesson) -> dict[str, Any]:
    """Give what the page holds: the lesson, and one case for each combination of its settings.

    ``cases`` come in the order of the controls' values, the last control fastest, the draw of
    people fastest of all; each says only in what it differs from ``base``.
    """
    cases = list(_cases(lesson, _combinations(lesson)))
    return {
        "name": lesson.name,
        "predictions": lesson.predictions,
        "message": lesson.message,
        "contested": lesson.contested,
        "sources": [[s.text, s.doi, s.read] for s in lesson.sources],
        "controls": [_control(c, lesson.null) for c in _offered(lesson)],
        "draws": lesson.draws,
        "looks": {str(k): [look.colour, look.marker, look.line] for k, look in LOOKS.items()},
        "base": cases[0],
        "cases": [difference(cases[0], case) for case in cases],
    }


def difference(base: Any, other: Any) -> Any:
    """Give in what a value differs from another: nothing, ``{"=": value}``, or parts of it.

    Examples
    --------
    >>> difference({"a": 1, "b": [1, 2]}, {"a": 1, "b": [1, 3]})
    {'b': {'=': [1, 3]}}
    """
    if base == other:
        return {}
    keys = _keys(base, other)
    if not keys:
        return {"=": other}
    return {str(k): difference(base[k], other[k]) for k in keys if base[k] != other[k]}


def _keys(base: Any, other: Any) -> list[Any]:
    """Keys or places of two values that are told apart part by part."""
    if isinstance(base, dict) and isinstance(other, dict) and base.keys() == other.keys():
        return list(base)
    both = isinstance(base, list) and isinstance(other, list) and len(base) == len(other)
    if both and any(isinstance(part, dict | list) for part in base):
        return list(range(len(base)))
    return []


def _offered(lesson: Lesson) -> list[Control]:
    return [control for control in lesson.controls if len(control.offered) > 1]


def _started(lesson: Lesson) -> dict[str, Any]:
    return {control.name: control.start for control in lesson.controls} | {"seed": lesson.seed}


def _combinations(lesson: Lesson) -> Iterator[dict[str, Any]]:
    """Every combination of settings on the page, the draw of people fastest."""
    controls = _offered(lesson)
    for values in product(*(control.offered for control in controls), range(lesson.draws)):
        chosen = dict(zip([c.name for c in controls], values[:-1], strict=True))
        yield _started(lesson) | chosen | {"seed": lesson.seed + values[-1]}


def _cases(lesson: Lesson, settings: Any) -> Iterator[dict[str, Any]]:
    for chosen in settings:
        shown = lesson.compute(**chosen)
        yield {
            "question": lesson.ask(shown.settings),
            "answer": lesson.predictions.index(lesson.answer(shown)),
            "conclusion": shown.conclusion,
            "words": shown.text,
            "scene": scene_data(lesson.picture(shown)),
        }


def scene_data(scene: Scene) -> dict[str, Any]:
    """Give a scene as plain values, its numbers rounded to four significant figures."""
    return {"caption": scene.caption, "panels": [_panel(panel) for panel in scene.panels]}


def _panel(panel: Panel) -> dict[str, Any]:
    return {
        "xLabel": panel.x_label,
        "yLabel": panel.y_label,
        "x": [_round(v) for v in panel.x],
        "y": [_round(v) for v in panel.y],
        "marks": [_mark(mark) for mark in panel.marks],
        "rows": [[r.label, *map(_round, (r.estimate, r.low, r.high))] for r in panel.rows],
        "rules": [_round(v) for v in panel.rules],
        "ticks": [[_round(place), label] for place, label in panel.ticks.items()],
        "title": panel.title,
        "weight": panel.weight,
    }


def _mark(mark: Mark) -> dict[str, Any]:
    places = {part: [_round(v) for v in getattr(mark, part)] for part in ("x", "y", "low", "high")}
    told = {"kind": mark.kind, "look": mark.look, "name": mark.name, "width": _round(mark.width)}
    return told | places


def _round(value: float) -> float | int | None:
    """Four significant figures; whole numbers without a point; nothing where there is no number."""
    if not math.isfinite(value):
        return None
    short = float(f"{value:.{FIGURES}g}")
    return int(short) if short.is_integer() else short


def _control(control: Control, null: Mapping[str, Any]) -> dict[str, Any]:
    offered = list(control.offered)
    quiet = null.get(control.name)
    return {
        "name": control.name,
        "label": control.label,
        "values": [_value(v) for v in offered],
        "kind": "choice" if isinstance(control.start, str | bool) else "range",
        "start": offered.index(control.start),
        "null": offered.index(quiet) if quiet in offered else None,
    }


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value == "null":
        return "no effect"
    return value if isinstance(value, str) else digits.plain(value)
