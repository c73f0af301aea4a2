"""Participant flow: how many of each group reached each part of the study, and who did not."""

from collections.abc import Sequence

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import FancyBboxPatch

from motorlearn.exceptions import InputError
from motorlearn.figures.style import INK, SOFT_INK, Drawing, SizeName, canvas, folded, house, looks


def participant_flow(
    flow: pd.DataFrame, *, groups: Sequence[str], size: SizeName = "thesis"
) -> Drawing:
    """Draw the flow of participants, one column per group, one row of boxes per stage.

    Parameters
    ----------
    flow : DataFrame
        ``group, stage, n, note`` in the order of the stages; the note says who was lost.
    groups : sequence of str
        Groups in the order of the plan.
    size : {"thesis", "slide"}
        Where the figure will be used.

    Raises
    ------
    InputError
        If there is no stage to draw.
    """
    if flow.empty:
        raise InputError("there is no stage to draw in a participant flow")
    stages = list(dict.fromkeys(flow["stage"]))
    with house(size):
        figure, (axes,) = canvas(size, height=0.25 + 0.155 * len(stages))
        axes.set_axis_off()
        axes.set_xlim(-0.55 - 0.32 * len(groups), len(groups) - 0.45)
        axes.set_ylim(len(stages) - 0.45, -0.9)
        for row, stage in enumerate(stages):
            axes.text(-0.55, row, stage, ha="right", va="center", weight="bold")
        for column, look in enumerate(looks(groups).values()):
            axes.text(
                column,
                -0.62,
                folded(look.group, 4.0 / len(groups)),
                ha="center",
                color=look.text_colour,
                weight="bold",
            )
            for row, stage in enumerate(stages):
                cell = flow[(flow["group"] == look.group) & (flow["stage"] == stage)]
                _box(axes, column, row, cell, look.colour)
                if row + 1 < len(stages):
                    _arrow(axes, column, row)
    return Drawing("participant-flow", figure)


def _box(axes: Axes, column: int, row: int, cell: pd.DataFrame, colour: str) -> None:
    axes.add_patch(
        FancyBboxPatch(
            (column - 0.4, row - 0.28),
            0.8,
            0.56,
            boxstyle="round,pad=0.02,rounding_size=0.05",
            facecolor="#ffffff",
            edgecolor=colour,
            linewidth=1.2,
        )
    )
    text = "–" if cell.empty else f"n = {int(cell['n'].iloc[0])}"
    note = "" if cell.empty else str(cell["note"].iloc[0])
    axes.text(
        column,
        row,
        f"{text}\n{note}" if note else text,
        ha="center",
        va="center",
        color=INK,
        fontsize="small",
        linespacing=1.25,
    )


def _arrow(axes: Axes, column: int, row: int) -> None:
    axes.annotate(
        "",
        (column, row + 0.7),
        (column, row + 0.31),
        arrowprops={"arrowstyle": "->", "color": SOFT_INK, "linewidth": 1},
    )
