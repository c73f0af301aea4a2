"""A demonstration as a lecturer uses it: question, prediction, reveal, controls, conclusion.

Everything that is shown is text and one picture with alternative text; in an exported page, where
no kernel answers, the first picture and its words stand instead of the controls.
"""

import base64
import html
from pathlib import Path
from typing import Any

import anywidget
import ipywidgets as widgets

from motorlearn.teaching.demonstrations.demonstration import Demonstration
from motorlearn.teaching.demonstrations.lesson import Control, Lesson
from motorlearn.teaching.demonstrations.lessons import find_lesson

DPI = 72
_HERE = Path(__file__).parent
_STYLE = f"<style>{(_HERE / 'faces.css').read_text(encoding='utf-8')}</style>"
_WIDE = widgets.Layout(width="auto", height="auto")


class _Manners(anywidget.AnyWidget):
    """Nothing to see: names the controls of the face around it and keeps the focus in it."""

    _esm = _HERE / "faces.js"


class LessonFace(widgets.VBox):  # type: ignore[misc]  # ipywidgets has no types
    """Controls around one demonstration; the picture and its words follow every change.

    Parameters
    ----------
    lesson : Lesson
        What is asked, what can be set, how it is computed and drawn.
    **settings
        Settings that differ from the lesson's own.

    Attributes
    ----------
    shown : Demonstration
        The numbers behind what is on the screen.
    """

    def __init__(self, lesson: Lesson, **settings: Any) -> None:
        self.lesson = lesson
        self.seed = settings.pop("seed", lesson.seed)
        self.controls = {control.name: _widget(control) for control in lesson.controls}
        for name, value in settings.items():
            self.controls[name].value = value
        self.prediction = widgets.ToggleButtons(
            options=lesson.predictions, value=None, description="Your prediction:"
        )
        self.reveal = widgets.Button(description="Reveal", button_style="primary")
        self.new_people = widgets.Button(description="New people")
        self.page = widgets.HTML()
        side = widgets.VBox([*self.controls.values(), self.new_people]).add_class("ml-controls")
        self.stage = widgets.HBox([side, self.page.add_class("ml-picture")])
        self.stage.add_class("ml-stage").layout.display = "none"
        self.shown = self._compute()
        self._first = (self.shown, self._picture())
        self._paint()
        for box in (self.prediction, self.reveal, self.new_people, *self.controls.values()):
            box.add_class("ml-lesson")
        self.question = widgets.HTML()
        self._ask()
        super().__init__([self.question, self.prediction, self.reveal, self.stage, _Manners()])
        self.add_class("ml-face")
        self.reveal.on_click(lambda _: self.uncover())
        self.new_people.on_click(lambda _: self._take(self.seed + 1))
        for control in self.controls.values():
            control.observe(lambda _: self._take(self.seed), names="value")

    def uncover(self) -> None:
        """Show the picture, the controls and the conclusion."""
        self._paint()
        self.stage.layout.display = None
        self.reveal.layout.display = "none"

    def _take(self, seed: int) -> None:
        self.seed = seed
        self.shown = self._compute()
        self._ask()
        self._paint()

    def _ask(self) -> None:
        self.question.value = (
            f"{_STYLE}<div class='ml-lesson'>{_heading(self.lesson, self.shown)}</div>"
        )

    def _compute(self) -> Demonstration:
        settings = {name: box.value for name, box in self.controls.items()}
        return self.lesson.compute(**settings, seed=self.seed)

    def _picture(self) -> bytes:
        return self.lesson.draw(self.shown).png(dpi=DPI)

    def _paint(self) -> None:
        answer = self.lesson.answer(self.shown)
        before = _verdict(self.prediction.value, answer)
        self.page.value = _page(self.lesson, self.shown, self._picture(), before)

    def _repr_mimebundle_(self, **options: Any) -> dict[str, Any]:
        bundle: dict[str, Any] = super()._repr_mimebundle_(**options)
        shown, picture = self._first
        bundle["text/html"] = (
            f"{_STYLE}<div class='ml-lesson'>{_heading(self.lesson, shown)}</div>"
            + _page(self.lesson, shown, picture, "")
            + "<p>The controls work in a live notebook; this page shows the first picture.</p>"
        )
        bundle["text/plain"] = (
            f"{self.lesson.title}. {self.lesson.ask(shown.settings)} {shown.text}"
        )
        return bundle


def show(name: str, **settings: Any) -> LessonFace:
    """Give a demonstration with its controls, ready to be the last line of a notebook cell.

    Parameters
    ----------
    name : str
        One of :data:`motorlearn.teaching.LESSONS`, by its name.
    **settings
        First values of its controls, and ``seed``.

    Raises
    ------
    InputError
        If there is no such demonstration.

    Examples
    --------
    >>> face = show("pooled trials", studies=200)
    >>> round(face.shown.design_effect, 1)
    2.9
    """
    return LessonFace(find_lesson(name), **settings)


def _widget(control: Control) -> widgets.ValueWidget:
    common = {"description": control.label, "style": {"description_width": "auto"}}
    if control.choices:
        return widgets.ToggleButtons(options=control.choices, value=control.start, **common)
    if isinstance(control.start, bool):
        return widgets.Checkbox(value=control.start, indent=False, **common)
    kind = widgets.IntSlider if isinstance(control.start, int) else widgets.FloatSlider
    return kind(
        value=control.start,
        min=control.low,
        max=control.high,
        step=control.step,
        layout=_WIDE,
        **common,
    )


def _heading(lesson: Lesson, shown: Demonstration) -> str:
    title, question = html.escape(lesson.title), html.escape(lesson.ask(shown.settings))
    return f"<h3>{title}</h3><p>{question}</p>"


def _verdict(prediction: str | None, answer: str) -> str:
    """Whether the prediction holds with these settings; the answer alone without one."""
    holds = f"With these settings: {html.escape(answer)}."
    if not prediction:
        return f"<p>{holds}</p>"
    said = "right" if prediction == answer else "not so"
    return f"<p>You predicted: {html.escape(prediction)}. That is {said}. {holds}</p>"


def _page(lesson: Lesson, shown: Demonstration, picture: bytes, before: str) -> str:
    source = base64.b64encode(picture).decode("ascii")
    alt = html.escape(shown.text, quote=True)
    return (
        f"<div class='ml-lesson'>{before}"
        f'<img alt="{alt}" src="data:image/png;base64,{source}"/>'
        f"<p class='ml-conclusion' role='status'>{html.escape(shown.conclusion)}</p>"
        f"<p>{html.escape(lesson.message)}</p>"
        f"<details open><summary>In words</summary><p>{html.escape(shown.text)}</p></details>"
        "<details><summary>What is contested</summary>"
        f"<p>{html.escape(lesson.contested)}</p></details></div>"
    )
