"""Change of each participant between two tests, with the smallest detectable change as a band."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from motorlearn.design import Outcome
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.frames import ask_columns, drawn_levels
from motorlearn.figures.drawing.panels import many_panels, panel_title
from motorlearn.figures.drawing.style import (
    FAINT,
    INK,
    SOFT_INK,
    Drawing,
    Levels,
    Look,
    SizeName,
    house,
)

BAND = "#e3e3e3"


def paired_change(
    changes: pd.DataFrame,
    *,
    outcome: Outcome,
    groups: Sequence[str],
    detectable: float | None = None,
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw each participant's change, sorted within the group, with its own interval where given.

    Parameters
    ----------
    changes : DataFrame
        ``participant, group, change``: later score minus earlier score; with ``conf_low`` and
        ``conf_high``, each person's own interval is drawn, else a line from no change.
    outcome : Outcome
        Name, unit and better direction of the score.
    groups : sequence of str
        Groups in the order of the plan.
    detectable : float, optional
        Smallest detectable change of one participant (95 %), drawn as a band about no change.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into, where there is one group.

    Raises
    ------
    InputError
        If nobody has both scores, or a group is not in the plan.
    """
    ask_columns(changes, ("group", "change"), "a figure of changes")
    changes = changes.dropna(subset=["change"])
    if changes.empty:
        raise InputError("nobody has both scores, so there is no change to draw")
    levels = Levels(groups)
    with house(size) as chosen:
        present = drawn_levels(changes, levels)
        figure, panels = many_panels(size, len(present), ax)
        for axes, look in zip(panels, present):
            rows = changes[changes["group"] == look.group].sort_values("change")
            _panel(axes, rows, look, detectable, chosen.marker)
            panel_title(axes, look)
        name = outcome.words
        change = f"change in {name}" + (f" ({outcome.unit})" if outcome.unit else "")
        if ax is None:
            figure.supylabel(change, fontsize=chosen.font)
            figure.supxlabel("participants, sorted by change", fontsize=chosen.font)
        else:
            ax.set(xlabel="participants, sorted by change", ylabel=change)
        _directions(panels[min(len(present), 5) - 1], outcome)
    return Drawing("paired-change", figure, given=ax)


def _panel(
    axes: Axes, rows: pd.DataFrame, look: Look, detectable: float | None, marker: float
) -> None:
    values = rows["change"].to_numpy(float)
    if detectable is not None:
        axes.axhspan(-detectable, detectable, color=BAND, zorder=0, linewidth=0)
    axes.axhline(0, color=SOFT_INK, linewidth=0.9, zorder=1)
    place = np.arange(len(values)) + 1
    own = "conf_low" in rows and rows["conf_low"].notna().any()
    low, high = (rows["conf_low"], rows["conf_high"]) if own else (0, values)
    axes.vlines(place, low, high, color=look.colour, linewidth=0.8, zorder=2)
    shown = marker * 0.8 * min(1.0, 30 / len(values)) + 0.6
    axes.plot(place, values, **{**look.point_style, "markersize": shown}, zorder=3)
    axes.axhline(values.mean(), color=look.colour, linewidth=1.2, linestyle=(0, (4, 2)), zorder=1)
    axes.set_xticks([])
    axes.set_xlim(0, len(values) + 1)


def _directions(axes: Axes, outcome: Outcome) -> None:
    """Say at the right edge which way is better."""
    up, down = ("worse", "better") if outcome.better == "lower" else ("better", "worse")
    for text, height, side in ((f"{up} ↑", 0.99, "top"), (f"{down} ↓", 0.01, "bottom")):
        axes.text(
            1.03, height, text, transform=axes.transAxes, va=side, ha="left", color=INK, alpha=1
        )
    axes.spines["right"].set_visible(False)
    axes.tick_params(colors=FAINT)
