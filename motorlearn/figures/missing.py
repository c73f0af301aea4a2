"""The missing-data map: every participant, every part of the study."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from motorlearn.exceptions import InputError
from motorlearn.figures.style import INK, SOFT_INK, Drawing, SizeName, canvas, folded, house, looks

WHOLE, PART, ABSENT = "#d9d9d9", "#7a7a7a", "#ffffff"


def missing_map(
    presence: pd.DataFrame,
    *,
    stages: Sequence[str],
    groups: Sequence[str],
    size: SizeName = "thesis",
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
    size : {"thesis", "slide"}
        Where the figure will be used.

    Raises
    ------
    InputError
        If there is nobody to draw.
    """
    if presence.empty:
        raise InputError("there is nobody to draw in a missing-data map")
    kept = [name for name in groups if (presence["group"] == name).any()]
    counts = [presence.loc[presence["group"] == name, "participant"].nunique() for name in kept]
    with house(size):
        figure, panels = canvas(
            size, columns=len(kept), height=0.3 + 0.085 * len(stages), width_ratios=counts
        )
        for axes, name in zip(panels, kept, strict=True):
            _panel(axes, presence[presence["group"] == name], stages)
            axes.set_title(folded(name, 5.0 / len(kept)), color=looks(groups)[name].text_colour)
            axes.set_xlabel(f"n = {len(axes.get_xticks())}")
            axes.set_xticks([])
        panels[0].set_yticks(range(len(stages)), list(stages))
        for axes in panels[1:]:
            axes.set_yticks([])
    return Drawing("missing-data-map", figure)


def _panel(axes: Axes, mine: pd.DataFrame, stages: Sequence[str]) -> None:
    wide = mine.pivot_table(index="stage", columns="participant", values="share", sort=False)
    wide = wide.reindex(index=list(stages)).fillna(0.0)
    order = np.lexsort(wide.to_numpy()[::-1])
    shares = wide.to_numpy()[:, order]
    for row in range(shares.shape[0]):
        for column in range(shares.shape[1]):
            _cell(axes, column, row, float(shares[row, column]))
    axes.set_xlim(-0.6, shares.shape[1] - 0.4)
    axes.set_ylim(len(stages) - 0.4, -0.6)
    axes.set_xticks(range(shares.shape[1]))
    axes.tick_params(length=0)
    for spine in axes.spines.values():
        spine.set_visible(False)


def _cell(axes: Axes, column: int, row: int, share: float) -> None:
    colour = ABSENT if share == 0 else PART if share < 1 else WHOLE
    axes.add_patch(
        Rectangle(
            (column - 0.42, row - 0.36), 0.84, 0.72, facecolor=colour, edgecolor=SOFT_INK, lw=0.3
        )
    )
    if share == 0:
        axes.plot([column - 0.4, column + 0.4], [row - 0.34, row + 0.34], color=INK, linewidth=0.8)
        axes.plot([column - 0.4, column + 0.4], [row + 0.34, row - 0.34], color=INK, linewidth=0.8)
