"""Labels that keep apart: at the ends of lines, along an axis, folded into the room there is."""

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Text
from matplotlib.ticker import MaxNLocator

from motorlearn.figures.drawing.extents import settle

INK = "#222222"
_SMALLEST = 3.0
_GAP = 2.0
"""Pixels between two labels that do not touch."""
_UPRIGHT_FROM = 7


@dataclass(frozen=True)
class EndLabel:
    """A label that belongs to the end of a line or to a point, in data coordinates."""

    x: float
    y: float
    text: str
    colour: str = INK


def label_ends(axes: Axes, labels: Sequence[EndLabel], *, offset: float = 8.0) -> list[Text]:
    """Write labels to the right of their points, spread so that none covers another.

    Call it after the limits are set. A label that had to move is tied to its point by a thin line;
    where there is no room for all of them they are written smaller.
    """
    present = sorted((label for label in labels if np.isfinite(label.y)), key=lambda label: label.y)
    if not present:
        return []
    figure = axes.get_figure(root=True)
    assert figure is not None
    settle(figure)
    wanted = np.array([axes.transData.transform((label.x, label.y))[1] for label in present])
    box = axes.get_window_extent()
    lines = max(label.text.count("\n") + 1 for label in present)
    tall = 1.35 + 1.42 * (lines - 1)
    room = box.height / (len(present) * tall) * 72 / axes.figure.dpi
    size = max(3.0, min(float(mpl.rcParams["font.size"]), room))
    spacing = size * tall * axes.figure.dpi / 72
    placed = spread(wanted, spacing, box.y0 + spacing / 2, box.y1 - spacing / 2)
    points = (placed - wanted) * 72 / axes.figure.dpi
    return [
        axes.annotate(
            label.text,
            (label.x, label.y),
            (offset, float(shift)),
            textcoords="offset points",
            va="center",
            ha="left",
            color=label.colour,
            fontsize=size,
            annotation_clip=False,
            arrowprops=_tie(label.colour) if abs(shift) > size / 2 else None,
        )
        for label, shift in zip(present, points, strict=True)
    ]


def _tie(colour: str) -> dict[str, Any]:
    return {"arrowstyle": "-", "color": colour, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 2}


def spread(wanted: np.ndarray, spacing: float, low: float, high: float) -> np.ndarray:
    """Move sorted positions as little as possible so that neighbours are ``spacing`` apart.

    The least-squares solution by pooling neighbours, then a shift into ``low`` to ``high``.

    Examples
    --------
    >>> spread(np.array([1.0, 1.0, 9.0]), 2.0, 0.0, 10.0)
    array([0., 2., 9.])
    """
    steps = np.arange(len(wanted)) * spacing
    pools: list[list[float]] = []
    for value in wanted - steps:
        pools.append([float(value), 1.0])
        while len(pools) > 1 and pools[-2][0] >= pools[-1][0]:
            later, earlier = pools.pop(), pools.pop()
            weight = later[1] + earlier[1]
            pools.append([(later[0] * later[1] + earlier[0] * earlier[1]) / weight, weight])
    level = np.repeat([pool[0] for pool in pools], [int(pool[1]) for pool in pools])
    room = max(low, high - steps[-1])
    moved: np.ndarray = np.clip(level, low, room) + steps
    return moved


def log_ticks(low: float, high: float) -> list[float]:
    """Round numbers between two values of a log axis; these where there are fewer than two.

    Examples
    --------
    >>> log_ticks(0.94, 1.07), log_ticks(0.3, 40)
    ([0.95, 1.0, 1.05], [0.5, 1.0, 2.0, 5.0, 10.0, 20.0])
    """
    if high < 4 * low:
        found = [
            float(f"{tick:.6g}")
            for tick in MaxNLocator(5, steps=[1, 2, 5, 10]).tick_values(low, high)
        ]
    else:
        decades = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
        steps = (1, 2, 5) if high < 200 * low else (1,)
        found = [float(f"{step}e{power}") for power in decades for step in steps]
    inside = [tick for tick in found if low <= tick <= high]
    return inside if len(inside) > 1 else [low, high]


def thin_ticks(axes: Axes, *, first: Sequence[float] = ()) -> None:
    """Leave out labels of the x axis until none touches another; call it when the limits are set.

    Labels at the places ``first`` are kept before all others. The ticks themselves stay.
    """
    figure = axes.get_figure(root=True)
    assert figure is not None
    settle(figure)
    places, texts = list(axes.get_xticks()), axes.get_xticklabels()
    boxes = [text.get_window_extent() for text in texts]
    asked = set(first)
    order = sorted(range(len(texts)), key=lambda i: (places[i] not in asked, i))
    kept: list[int] = []
    for i in order:
        free = all(
            boxes[i].x0 > boxes[j].x1 + _GAP or boxes[i].x1 < boxes[j].x0 - _GAP for j in kept
        )
        if free:
            kept.append(i)
    _label_ticks(
        axes, places, [text.get_text() if i in kept else "" for i, text in enumerate(texts)]
    )


def _label_ticks(axes: Axes, places: Sequence[float], labels: Sequence[str]) -> None:
    """Label the places of the x axis, whose limits stay: ticks beyond them would widen it."""
    limits = axes.get_xlim()
    axes.set_xticks(places, labels)
    axes.set_xlim(limits)


def thin_runs(axes: Axes, runs: Sequence[Sequence[float]]) -> None:
    """Keep every second, third, … label of each run of places, so that none of a run touch."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    settle(figure)
    texts = dict(zip(axes.get_xticks(), axes.get_xticklabels(), strict=True))
    boxes = {place: text.get_window_extent() for place, text in texts.items()}
    longest = max((len(run) for run in runs), default=1)
    for every in range(1, longest + 1):
        kept = [list(run[::every]) for run in runs]
        pairs = [pair for run in kept for pair in pairwise(run)]
        if all(boxes[after].x0 > boxes[before].x1 + _GAP for before, after in pairs):
            break
    left_out = {place for run in runs for place in run} - {place for run in kept for place in run}
    _label_ticks(
        axes, list(texts), ["" if at in left_out else text.get_text() for at, text in texts.items()]
    )


def turn_ticks(axes: Axes, places: Sequence[float]) -> None:
    """Set the labels at these places upright where two of them would touch."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    settle(figure)
    asked = set(places)
    labels = [tick.label1 for tick in axes.xaxis.get_major_ticks() if tick.get_loc() in asked]
    boxes = sorted((label.get_window_extent() for label in labels), key=lambda box: box.x0)
    if not any(after.x0 < before.x1 + _GAP for before, after in pairwise(boxes)):
        return
    texts = [text.get_text() for text in axes.get_xticklabels()]
    where = [place in asked for place in axes.get_xticks()]
    axes.set_xticks(
        axes.get_xticks(),
        [t.replace("-\n", "").replace("\n", " ") if w else t for t, w in zip(texts, where)],
    )
    for label in labels:
        label.set_rotation(90)


def name_y(axes: Axes, text: str) -> None:
    """Name the y axis, in two or three lines where the axis is too short for one."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    axes.set_ylabel(text)
    settle(figure)
    share = axes.yaxis.label.get_window_extent().height / max(axes.get_window_extent().height, 1)
    if share > 1:
        axes.set_ylabel("\n".join(textwrap.wrap(text, max(10, int(0.9 * len(text) / share)))))


def name_x(axes: Axes, text: str) -> None:
    """Name the x axis, in two or three lines where the axis is too short for one."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    axes.set_xlabel(text)
    settle(figure)
    share = axes.xaxis.label.get_window_extent().width / max(axes.get_window_extent().width, 1)
    if share > 1:
        longest = max(len(line) for line in text.split("\n"))
        room = max(10, int(longest / share))
        lines = (part for line in text.split("\n") for part in textwrap.wrap(line, room))
        axes.set_xlabel("\n".join(lines))


def group_ticks(axes: Axes, names: Iterable[str]) -> None:
    """Write the names of groups under their places, folded into the room that each has.

    Many groups, or names that no fold brings into their room, stand upright.
    """
    names = [str(name) for name in names]
    figure = axes.get_figure(root=True)
    assert figure is not None
    settle(figure)
    room = axes.get_window_extent().width / figure.dpi / max(len(names), 1)
    letters = int(room * 72 / (0.62 * float(mpl.rcParams["font.size"]) * 0.9))
    longest = max(len(word) for name in names for word in name.replace("-", "- ").split())
    if len(names) >= _UPRIGHT_FROM or letters < min(longest, 14):
        axes.set_xticks(range(len(names)), [shortened(name) for name in names], rotation=90)
        return
    texts = ["\n".join(textwrap.wrap(name, max(6, letters - 1)) or [name]) for name in names]
    axes.set_xticks(range(len(names)), texts)


def fit_texts(axes: Axes, texts: Sequence[tuple[Text, float]]) -> None:
    """Write texts smaller until each is no wider than its room, given in units of the x axis."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    settle(figure)
    scale = axes.get_window_extent().width / float(np.ptp(axes.get_xlim()))
    for text, room in texts:
        share = room * scale / max(text.get_window_extent().width, 1e-9)
        if share < 1:
            text.set_fontsize(max(_SMALLEST, float(text.get_fontsize()) * share))


def folded(text: str, width: float) -> str:
    """Fold a label into lines that fit into so many inches of a thesis figure.

    Examples
    --------
    >>> folded("self-controlled feedback", 1.0)
    'self-\\ncontrolled\\nfeedback'
    """
    return "\n".join(textwrap.wrap(text, max(6, int(width * 13))) or [text])


def shortened(text: str, most: int = 28) -> str:
    """Cut a long name in its middle: names that differ at either end stay apart.

    Examples
    --------
    >>> shortened("self-controlled feedback after every third trial", 24)
    'self-controlle…ird trial'
    """
    end = (most - 1) * 2 // 5
    return text if len(text) <= most else f"{text[: most - 1 - end]}…{text[-end:]}"
