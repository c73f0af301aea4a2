"""Where the texts of a figure stand: which cover one another, which leave the page."""

from itertools import combinations

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.layout_engine import PlaceHolderLayoutEngine
from matplotlib.text import Text


def settle(figure: Figure) -> None:
    """Bring everything to its place, so that texts can be measured; nothing is drawn.

    A figure with a layout of its own is laid out; one without is gone through as for a picture.
    """
    engine = figure.get_layout_engine()
    if engine is None or isinstance(engine, PlaceHolderLayoutEngine):
        figure.draw_without_rendering()
    else:
        engine.execute(figure)


def visible_texts(figure: Figure) -> list[Text]:
    """Every text of a figure that a reader would see, at the place it is drawn at.

    A legend puts its texts in their places while it is drawn, not when the axes are laid out.
    """
    figure.draw_without_rendering()
    undrawn = {id(label) for axes in figure.axes for label in _undrawn_tick_labels(axes)}
    return [
        text
        for text in figure.findobj(Text)
        if text.get_visible() and text.get_text().strip() and id(text) not in undrawn
    ]


def text_overlaps(figure: Figure, *, slack: float = 1.0) -> list[tuple[str, str]]:
    """Name the pairs of texts whose boxes overlap by more than ``slack`` pixels each way."""
    boxes = [(text.get_text(), Text.get_window_extent(text)) for text in visible_texts(figure)]
    return [
        (first, second)
        for (first, a), (second, b) in combinations(boxes, 2)
        if min(a.x1, b.x1) - max(a.x0, b.x0) > slack and min(a.y1, b.y1) - max(a.y0, b.y0) > slack
    ]


def texts_cut(figure: Figure, *, slack: float = 1.0) -> list[str]:
    """Name the texts that leave the page."""
    page = figure.bbox
    return [
        text.get_text()
        for text in visible_texts(figure)
        for box in [Text.get_window_extent(text)]
        if box.x0 < page.x0 - slack
        or box.y0 < page.y0 - slack
        or box.x1 > page.x1 + slack
        or box.y1 > page.y1 + slack
    ]


def _undrawn_tick_labels(axes: Axes) -> list[Text]:
    """Labels of ticks beyond the limits: they exist as texts but are never drawn."""
    found = []
    for axis in (axes.xaxis, axes.yaxis):
        low, high = sorted(axis.get_view_interval())
        slack = 1e-9 * (high - low)
        shown = axes.axison and axis.get_visible()
        for tick in [*axis.get_major_ticks(), *axis.get_minor_ticks()]:
            if not shown or not low - slack <= tick.get_loc() <= high + slack:
                found += [tick.label1, tick.label2]
    return found
