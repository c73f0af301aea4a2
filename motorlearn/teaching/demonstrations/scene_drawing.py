"""A scene drawn with matplotlib, large enough for a projector."""

from collections.abc import Iterable
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from motorlearn import digits
from motorlearn.figures.drawing.style import (
    FAINT,
    INK,
    PAPER,
    SOFT_INK,
    Look,
    Size,
    SizeName,
    canvas,
    house,
    looks,
)
from motorlearn.teaching.demonstrations.scene import FAINT_LOOK, INK_LOOK, Mark, Panel, Row, Scene

LOOKS: Final = {
    **dict(enumerate(looks([str(place) for place in range(4)]).values())),
    FAINT_LOOK: Look("", FAINT, "o", "-"),
    INK_LOOK: Look("", INK, "D", "-"),
}
"""Looks by the number that a mark gives."""


def draw_scene(scene: Scene, *, size: SizeName = "slide") -> Figure:
    """Draw every panel with its own fixed axes, and one key above them."""
    with house(size) as chosen:
        weights = [panel.weight for panel in scene.panels]
        figure, axes = canvas(size, columns=len(weights), width_ratios=weights)
        for panel, place in zip(scene.panels, axes, strict=True):
            _draw_panel(place, panel, chosen)
        _key(figure, (mark for panel in scene.panels for mark in panel.marks))
    return figure


def _draw_panel(axes: Axes, panel: Panel, size: Size) -> None:
    axes.set_xlim(*panel.x)
    axes.set_xlabel(panel.x_label)
    if panel.title:
        axes.set_title(panel.title)
    if panel.rows:
        _rows(axes, panel, size)
        return
    axes.set_ylim(*panel.y)
    axes.set_ylabel(panel.y_label)
    if panel.ticks:
        axes.set_xticks(list(panel.ticks), list(panel.ticks.values()))
    else:
        axes.locator_params(axis="x", nbins=6)
    for rule in panel.rules:
        axes.axhline(rule, color=SOFT_INK, linewidth=1.5, linestyle=(0, (4, 2)))
    for mark in panel.marks:
        _DRAW[mark.kind](axes, mark, LOOKS[mark.look], size)


def _line(axes: Axes, mark: Mark, look: Look, size: Size) -> None:
    if mark.low:
        band: dict[str, Any] = {"color": look.colour, "alpha": 0.15, "linewidth": 0}
        axes.fill_between(mark.x, mark.low, mark.high, **band)
    style = look.line_style | ({} if len(mark.x) < 30 else {"marker": ""})
    if mark.look == FAINT_LOOK:
        style |= {"marker": "", "linewidth": size.line / 3, "alpha": 0.6}
    axes.plot(mark.x, mark.y, **style)


def _points(axes: Axes, mark: Mark, look: Look, size: Size) -> None:
    y = np.asarray(mark.y)
    reach = [y - np.asarray(mark.low), np.asarray(mark.high) - y] if mark.low else None
    axes.errorbar(mark.x, y, yerr=reach, capsize=6, **look.point_style)


def _dots(axes: Axes, mark: Mark, look: Look, size: Size) -> None:
    axes.plot(mark.x, mark.y, ".", color=look.colour, alpha=0.5, markersize=size.marker * 0.8)


def _bars(axes: Axes, mark: Mark, look: Look, size: Size) -> None:
    axes.bar(mark.x, mark.y, mark.width, color=look.colour, edgecolor=PAPER)
    if mark.low:
        y = np.asarray(mark.y)
        reach = [y - np.asarray(mark.low), np.asarray(mark.high) - y]
        axes.errorbar(mark.x, y, yerr=reach, fmt="none", ecolor=INK, capsize=6)


def _pairs(axes: Axes, mark: Mark, look: Look, size: Size) -> None:
    faint: dict[str, Any] = {"color": look.colour, "alpha": 0.3, "linewidth": size.line / 2}
    axes.plot([0, 1], [mark.x, mark.y], **faint)


_DRAW: Final = {"line": _line, "points": _points, "dots": _dots, "bars": _bars, "pairs": _pairs}


def _rows(axes: Axes, panel: Panel, size: Size) -> None:
    places = np.arange(len(panel.rows))[::-1]
    for rule in panel.rules:
        axes.axvline(rule, color=SOFT_INK, linewidth=1.5)
    for place, row in zip(places, panel.rows, strict=True):
        _interval(axes, row, float(place), size)
        axes.text(
            0.0,
            place + 0.17,
            f"{row.label}: {digits.significant(row.estimate, 2)}",
            transform=axes.get_yaxis_transform(),
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1},
        )
    axes.set_ylim(-0.5, len(panel.rows) - 0.3)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.locator_params(axis="x", nbins=4)


def _interval(axes: Axes, row: Row, place: float, size: Size) -> None:
    reach = [[row.estimate - row.low], [row.high - row.estimate]]
    style: dict[str, Any] = {"fmt": "D", "color": INK, "capsize": 6, "markersize": size.marker}
    axes.errorbar([row.estimate], [place], xerr=reach, **style)


def _key(figure: Figure, marks: Iterable[Mark]) -> None:
    named = {mark.name: mark for mark in reversed(list(marks)) if mark.name}
    if not named:
        return
    handles = []
    for name, mark in reversed(named.items()):
        style = LOOKS[mark.look].line_style
        style |= {} if mark.kind in ("line", "pairs") else {"linestyle": "none"}
        handles.append(Line2D([], [], label=name, **style))
    figure.legend(handles=handles, loc="outside upper left", ncols=4, frameon=False)
