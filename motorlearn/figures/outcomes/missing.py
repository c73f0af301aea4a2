"""The missing-data map: every participant, every part of the study."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colors import ListedColormap

from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.frames import ask_columns, drawn_levels
from motorlearn.figures.drawing.panels import panel_title
from motorlearn.figures.drawing.style import INK, SOFT_INK, Drawing, Levels, SizeName, canvas, house

_MOST_COLUMNS = 6
WHOLE, PART, ABSENT = "#d9d9d9", "#7a7a7a", "#ffffff"


def missing_map(
    presence: pd.DataFrame,
    *,
    stages: Sequence[str],
    groups: Sequence[str],
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw which trials are there: light if complete, dark if some lack, crossed if all do.

    Parameters
    ----------
    presence : DataFrame
        ``participant, group, stage, share``: share of the expected trials that can be used, 0 to 1.
    stages : sequence of str
        Parts of the study in order, from top to bottom.
    groups : sequence of str
        Groups in the order of the plan, one panel each.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into, where there is one group.

    Raises
    ------
    InputError
        If there is nobody to draw.
    """
    if presence.empty:
        raise InputError("there is nobody to draw in a missing-data map")
    ask_columns(presence, ("participant", "group", "stage", "share"), "a missing-data map")
    levels = Levels(groups)
    drawn = drawn_levels(presence, levels)
    kept = [look.group for look in drawn]
    counts = [presence.loc[presence["group"] == name, "participant"].nunique() for name in kept]
    with house(size):
        crowded = len(kept) > _MOST_COLUMNS
        columns = _MOST_COLUMNS - 1 if crowded else len(kept)
        rows = -(-len(kept) // columns)
        figure, panels = canvas(
            size,
            rows=rows,
            columns=columns,
            height=rows * (0.3 + 0.085 * len(stages)),
            width_ratios=None if crowded else counts,
            ax=ax,
        )
        for axes in panels[len(kept) :]:
            axes.set_axis_off()
        for axes, name in zip(panels, kept):
            _panel(axes, presence[presence["group"] == name], stages)
            panel_title(axes, levels[name])
        for place, axes in enumerate(panels[: len(kept)]):
            axes.set_yticks([])
            if place % columns == 0:
                axes.set_yticks(np.arange(len(stages)) + 0.5, list(stages), rotation=0)
    return Drawing("missing-data-map", figure, given=ax)


def _panel(axes: Axes, mine: pd.DataFrame, stages: Sequence[str]) -> None:
    wide = mine.astype({"participant": str, "stage": str}).pivot_table(
        index="stage", columns="participant", values="share", sort=False
    )
    wide = wide.reindex(index=list(stages)).fillna(0.0)
    order = np.lexsort(wide.to_numpy()[::-1])
    shares = wide.to_numpy()[:, order]
    grades = np.select([shares == 0, shares < 1], [0.0, 1.0], 2.0)
    sns.heatmap(
        grades, ax=axes, cmap=ListedColormap([ABSENT, PART, WHOLE]), vmin=0, vmax=2, cbar=False,
        linewidths=0.3 if shares.shape[1] <= 60 else 0.0, linecolor=SOFT_INK, xticklabels=False,
        yticklabels=False,
    )  # fmt: skip
    rows, columns = np.nonzero(shares == 0)
    crosses = [
        [(column + a, row + 0.06), (column + b, row + 0.94)]
        for row, column in zip(rows, columns)
        for a, b in ((0.08, 0.92), (0.92, 0.08))
    ]
    axes.add_collection(LineCollection(crosses, colors=INK, linewidths=0.8))
    axes.set(xlabel=f"n = {shares.shape[1]}", ylabel="")
    axes.tick_params(length=0)
    for spine in axes.spines.values():
        spine.set_visible(False)
