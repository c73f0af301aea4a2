"""Panels beside one another, one for each group, and their titles."""

import textwrap

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from motorlearn.figures.drawing.labels import INK, shortened
from motorlearn.figures.drawing.style import Look, SizeName, canvas


def panel_title(axes: Axes, look: Look) -> None:
    """Write a group's name over its panel, folded into the width of the panel."""
    many_lines(axes, shortened(look.group, 60), colour=look.text_colour)


def many_lines(axes: Axes, text: str, *, colour: str = INK) -> None:
    """Write a title over a panel, folded into the width of the panel."""
    axes.set_title("\n".join(textwrap.wrap(text, max(6, int(_letters(axes))))), color=colour)


def _letters(axes: Axes) -> float:
    """Letters of a title that a panel has room for."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    grid = axes.get_gridspec()
    columns = 1 if grid is None else grid.ncols
    return figure.get_figwidth() / columns * 0.8 * 72 / (0.62 * float(mpl.rcParams["font.size"]))


def small_title(axes: Axes, name: str, what: str) -> None:
    """Write a name and what was found over a small panel, on two lines where one is too short."""
    short = shortened(name, 20)
    room = _letters(axes) / 0.65
    between = " " if len(short) <= 8 and len(short) + len(what) + 2 <= room else "\n"
    axes.set_title(f"{short}:{between}{what}", fontsize="x-small", fontweight="normal")


def many_panels(size: SizeName, count: int, ax: Axes | None) -> tuple[Figure, list[Axes]]:
    """Panels on one scale, up to five beside one another."""
    columns = min(count, 5)
    rows = -(-count // columns)
    figure, panels = canvas(
        size, rows=rows, columns=columns, height=max(1.0, 0.55 * rows), share_y=True, ax=ax
    )
    for axes in panels[count:]:
        axes.set_axis_off()
    return figure, panels
