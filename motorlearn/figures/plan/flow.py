"""Participant flow: how many of each group reached each part of the study, and who did not."""

import textwrap
from collections.abc import Sequence

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import FancyBboxPatch
from matplotlib.text import Text

from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.frames import ask_columns, drawn_levels
from motorlearn.figures.drawing.labels import fit_texts
from motorlearn.figures.drawing.style import INK, SOFT_INK, Drawing, Levels, SizeName, canvas, house


def participant_flow(
    flow: pd.DataFrame,
    *,
    groups: Sequence[str],
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw the flow of participants, one column per group, one row of boxes per stage.

    Parameters
    ----------
    flow : DataFrame
        ``group, stage, n, note`` in the order of the stages; the note says who was lost.
    groups : sequence of str
        Groups in the order of the plan.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.

    Raises
    ------
    InputError
        If there is no stage to draw.
    """
    ask_columns(flow, ("group", "stage", "n", "note"), "a participant flow")
    if flow.empty:
        raise InputError("there is no stage to draw in a participant flow")
    stages = list(dict.fromkeys(flow["stage"]))
    levels = Levels(groups)
    flow = flow.assign(note=[_wrapped(str(note), len(levels)) for note in flow["note"]])
    notes = int(flow["note"].str.count("\n").max()) + 1
    with house(size) as chosen:
        drawn_levels(flow, levels)
        figure, (axes,) = canvas(size, height=0.25 + (0.12 + 0.045 * notes) * len(stages), ax=ax)
        axes.set_axis_off()
        names = ["\n".join(textwrap.wrap(str(stage), 20)) for stage in stages]
        letters = max(len(part) for name in names for part in name.split("\n"))
        width = axes.get_window_extent().width / figure.dpi * 72
        aside = min(0.5, (letters * 0.68 * chosen.font + 6) / width)
        axes.set_xlim(-0.5 - len(levels) * aside / (1 - aside), len(levels) - 0.5)
        axes.set_ylim(len(stages) - 0.45, -1.05)
        fitted = []
        for row, name in enumerate(names):
            axes.text(-0.52, row, name, ha="right", va="center", weight="bold")
        for column, look in enumerate(levels.looks.values()):
            title = "\n".join(textwrap.wrap(look.group, 20))
            text = axes.text(
                column, -0.5, title, ha="center", va="bottom", color=look.text_colour, weight="bold"
            )
            fitted.append((text, 0.94))
            for row, stage in enumerate(stages):
                cell = flow[(flow["group"].astype(str) == look.group) & (flow["stage"] == stage)]
                fitted.append((_box(axes, column, row, cell, look.colour), 0.78))
                if row + 1 < len(stages):
                    _arrow(axes, column, row)
        fit_texts(axes, fitted)
    return Drawing("participant-flow", figure, given=ax)


def _wrapped(note: str, groups: int) -> str:
    """Break the lines of a note where its box ends; boxes are narrower where groups are many."""
    width = max(10, 54 // max(1, groups))
    return "\n".join(part for line in note.split("\n") for part in textwrap.wrap(line, width))


def _box(axes: Axes, column: int, row: int, cell: pd.DataFrame, colour: str) -> Text:
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
    return axes.text(
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
