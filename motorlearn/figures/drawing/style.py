"""The house style: fixed looks per group, four sizes, direct labels, and a drawing with its words.

How a figure is written::

    with house(size):                        # "column", "thesis", "page", "slide"
        figure, axes = canvas(size, columns=2)         # no pyplot, no global state
        for group, look in looks(plan_order).items():  # the same look in every figure
            axes[0].plot(x, y, **look.line_style)      # line with markers
            axes[0].plot(x, y, **look.point_style)     # markers only
        label_ends(axes[0], [EndLabel(x_end, y_end, group, look.text_colour), ...])
    return Drawing("practice-curve", figure, caption=..., alt=...)

``Levels`` takes the groups in the order of the plan, never in the order of the data, and says what
seaborn wants to know. Marker, line style and direct label carry the group as well as colour does,
so that a grey print can be read. A theme that the user has set is left as it is, and every figure
takes ``ax=``. ``contrast_ratio`` is the ratio of WCAG 2.2; ``text_overlaps`` and ``texts_cut`` name
labels that collide or leave the page. ``Drawing`` gives bytes (``png()``, ``svg()``, ``pdf()``) and
shows itself, with its alternative text, in a notebook.
"""

import contextlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.drawn import Drawing as Drawing
from motorlearn.figures.drawing.extents import text_overlaps as text_overlaps
from motorlearn.figures.drawing.extents import texts_cut as texts_cut
from motorlearn.figures.drawing.labels import INK as INK
from motorlearn.figures.drawing.labels import EndLabel as EndLabel
from motorlearn.figures.drawing.labels import folded as folded
from motorlearn.figures.drawing.labels import group_ticks as group_ticks
from motorlearn.figures.drawing.labels import label_ends as label_ends
from motorlearn.figures.drawing.labels import name_x as name_x
from motorlearn.figures.drawing.labels import name_y as name_y
from motorlearn.figures.drawing.labels import thin_runs as thin_runs
from motorlearn.figures.drawing.labels import thin_ticks as thin_ticks
from motorlearn.figures.drawing.labels import turn_ticks as turn_ticks
from motorlearn.figures.drawing.levels import PAPER as PAPER
from motorlearn.figures.drawing.levels import Levels as Levels
from motorlearn.figures.drawing.levels import Look as Look
from motorlearn.figures.drawing.levels import contrast_ratio as contrast_ratio
from motorlearn.figures.drawing.levels import looks as looks
from motorlearn.figures.drawing.printing import lay_out, print_options, printed

SizeName = Literal["column", "thesis", "page", "slide"]

SOFT_INK: Final = "#595959"
FAINT: Final = "#8c8c8c"


@dataclass(frozen=True)
class Size:
    """Width and height in inches, type in points and line widths of one use of a figure."""

    width: float
    height: float
    font: float
    line: float
    marker: float


SIZES: Final = {
    "column": Size(85 / 25.4, 2.5, 7.0, 1.1, 3.5),
    "thesis": Size(6.3, 3.7, 9.0, 1.6, 5.0),
    "page": Size(175 / 25.4, 4.0, 8.0, 1.4, 4.5),
    "slide": Size(13.33, 7.0, 20.0, 3.2, 11.0),
}
"""Sizes by name: one column of a journal (85 mm), the text of an A4 page, the full width of a
journal (175 mm), and a 16:9 slide with type of 20 points."""


@contextlib.contextmanager
def house(size: SizeName = "thesis") -> Iterator[Size]:
    """Apply the house style while a figure is made, and nothing beyond.

    What a theme of the user has changed, for example by ``seaborn.set_theme``, stays as it is.
    """
    if size not in SIZES:
        raise InputError("there is no such figure size", [size], f"use {', '.join(SIZES)}")
    chosen = SIZES[size]
    with mpl.rc_context(_untouched(_settings(chosen))):
        yield chosen


def _untouched(settings: dict[str, Any]) -> Any:
    """Those settings that the user has left at the values matplotlib comes with."""
    now: Any = mpl.rcParams
    shipped: Any = mpl.rcParamsDefault
    return {name: value for name, value in settings.items() if now[name] == shipped[name]}


def _settings(size: Size) -> dict[str, Any]:
    return {
        "font.family": "sans-serif",
        "font.sans-serif": ["DejaVu Sans"],
        "font.size": size.font,
        "axes.labelsize": size.font,
        "axes.titlesize": size.font,
        "axes.titleweight": "bold",
        "axes.titlelocation": "left",
        "xtick.labelsize": size.font * 0.9,
        "ytick.labelsize": size.font * 0.9,
        "text.color": INK,
        "axes.labelcolor": INK,
        "axes.edgecolor": SOFT_INK,
        "xtick.color": SOFT_INK,
        "ytick.color": SOFT_INK,
        "xtick.labelcolor": INK,
        "ytick.labelcolor": INK,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.linewidth": size.line / 2,
        "xtick.major.width": size.line / 2,
        "ytick.major.width": size.line / 2,
        "lines.linewidth": size.line,
        "lines.markersize": size.marker,
        "axes.unicode_minus": True,
        "figure.facecolor": PAPER,
        "axes.facecolor": PAPER,
        "svg.fonttype": "path",
        "svg.hashsalt": "motorlearn",
        "pdf.fonttype": 42,
    }


@contextlib.contextmanager
def printing_style() -> Iterator[None]:
    """Apply what a picture depends on while it is written."""
    with mpl.rc_context(_untouched(_settings(SIZES["thesis"]))):
        yield


def canvas(
    size: SizeName = "thesis",
    *,
    rows: int = 1,
    columns: int = 1,
    height: float = 1.0,
    share_y: bool = False,
    share_x: bool = False,
    width_ratios: Sequence[float] | None = None,
    height_ratios: Sequence[float] | None = None,
    ax: Axes | None = None,
) -> tuple[Figure, list[Axes]]:
    """Make a figure with its axes in reading order; call it inside :func:`house`.

    ``height`` multiplies the usual height of the size. With ``ax`` the figure is the one that these
    axes are in.

    Raises
    ------
    InputError
        If axes are given for a figure that needs several of its own.
    """
    if ax is not None:
        return _given(ax, rows * columns)
    chosen = SIZES[size]
    figure = Figure(figsize=(chosen.width, chosen.height * height), layout="constrained")
    FigureCanvasAgg(figure)
    grid = figure.subplots(
        rows,
        columns,
        sharex=share_x,
        sharey=share_y,
        squeeze=False,
        width_ratios=width_ratios,
        height_ratios=height_ratios,
    )
    return figure, list(grid.ravel())


def _given(ax: Axes, panels: int) -> tuple[Figure, list[Axes]]:
    if panels > 1:
        raise InputError(
            "this figure needs axes of its own, one for each panel",
            [panels],
            "leave out ax, or choose what fits into one panel",
        )
    figure = ax.get_figure(root=True)
    if figure is None:
        raise InputError("these axes are in no figure", None, "make them with plt.subplots()")
    return figure, [ax]


def written(figure: Figure, form: str, *, name: str, dpi: int, own: bool) -> bytes:
    """Write a figure in one format, laid out where it is a figure of its ``own``."""
    with printing_style():
        if own:
            lay_out(figure)
        return printed(figure, form, print_options(name, dpi=dpi)[form])
