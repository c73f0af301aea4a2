"""What a lesson declares: question, predictions, controls, simulation, picture, answer, sources."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Literal

import pandas as pd

from motorlearn import digits
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.style import Drawing, SizeName
from motorlearn.teaching.demonstrations.demonstration import Demonstration
from motorlearn.teaching.demonstrations.scene import Scene
from motorlearn.teaching.demonstrations.scene_drawing import draw_scene

Read = Literal["abstract", "page", "from memory"]
OPEN: Final = "these data leave it open"
"""A prediction that every comparison of two groups offers."""


@dataclass(frozen=True)
class Control:
    """One setting that a lecturer may change: a number in a range, a choice, or yes and no.

    ``page`` holds the values that the page without Python offers; where it is empty, a choice or
    yes and no are offered whole, and a number stays at ``start``.
    """

    name: str
    label: str
    start: Any
    low: float = 0
    high: float = 1
    step: float = 1
    choices: tuple[str, ...] = ()
    page: tuple[Any, ...] = ()

    @property
    def offered(self) -> tuple[Any, ...]:
        """Values that the page offers."""
        if self.page or self.choices:
            return self.page or self.choices
        return (False, True) if isinstance(self.start, bool) else (self.start,)


@dataclass(frozen=True)
class Source:
    """A paper behind a lesson, and how much of it was read for this lesson."""

    text: str
    doi: str = ""
    read: Read = "from memory"


@dataclass(frozen=True)
class Lesson:
    """A demonstration with its question, its predictions and its controls.

    Parameters
    ----------
    name, title : str
        What it is called, and a heading that does not give the answer away.
    question : str
        Asked before anything is shown; ``{days}`` stands for the value of the setting ``days``.
    predictions : tuple of str
        What may be voted for.
    controls : tuple of Control
        What can be set.
    compute : callable
        Settings and ``seed`` in, a :class:`Demonstration` out.
    picture : callable
        That result in, a scene with fixed axes out.
    answer : callable
        That result in, the prediction that holds for it out.
    message : str
        What the lesson is about, said after the answer.
    contested : str
        What is not settled, or is assumed here.
    null : mapping
        Settings in which nothing is going on.
    sources : tuple of Source
        Papers behind it.
    seed : int
        Seed of the first people; the page offers ``draws`` draws of people from it on.
    """

    name: str
    title: str
    question: str
    predictions: tuple[str, ...]
    controls: tuple[Control, ...]
    compute: Callable[..., Demonstration]
    picture: Callable[..., Scene]
    answer: Callable[..., str]
    message: str = field(kw_only=True)
    contested: str = field(kw_only=True)
    null: Mapping[str, Any] = field(kw_only=True)
    sources: tuple[Source, ...] = field(kw_only=True)
    seed: int = field(default=1, kw_only=True)
    draws: int = field(default=3, kw_only=True)

    def ask(self, settings: Mapping[str, Any]) -> str:
        """Give the question as it reads with these settings."""
        return self.question.format_map({name: _written(v) for name, v in settings.items()})

    def draw(self, shown: Demonstration, *, size: SizeName = "slide") -> Drawing:
        """Draw a result, with its conclusion as caption and its words as alternative text."""
        scene = self.picture(shown)
        caption = f"{scene.caption}. {shown.conclusion}" if scene.caption else shown.conclusion
        name = self.name.replace(" ", "-")
        return Drawing(name, draw_scene(scene, size=size), caption=caption, alt=shown.text)


def _written(value: Any) -> str:
    return digits.plain(value) if isinstance(value, int | float) else str(value)


def choose(preset: str, presets: Mapping[str, Any]) -> Any:
    """Give what a preset stands for.

    Raises
    ------
    InputError
        If there is no such preset.
    """
    if preset not in presets:
        raise InputError("there is no such preset", [preset], f"choose one of {', '.join(presets)}")
    return presets[preset]


def erred_less(row: pd.Series, groups: tuple[str, ...]) -> str:
    """Give the group with the smaller error where the interval of second minus first says so."""
    if row["conf_low"] > 0:
        return groups[0]
    return groups[1] if row["conf_high"] < 0 else OPEN


def nearest(value: float, predictions: Mapping[float, str]) -> str:
    """Give the prediction whose number is nearest on the scale of ratios.

    Examples
    --------
    >>> nearest(0.23, {0.05: "5 %", 0.25: "25 %"})
    '25 %'
    """
    return predictions[min(predictions, key=lambda p: max(p, value) / max(min(p, value), 1e-9))]
