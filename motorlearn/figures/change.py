"""Change of each participant between two tests, with the smallest detectable change as a band."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from motorlearn.design import Outcome
from motorlearn.exceptions import InputError
from motorlearn.figures.style import (
    FAINT,
    INK,
    SOFT_INK,
    Drawing,
    Look,
    SizeName,
    canvas,
    folded,
    house,
    looks,
)

BAND = "#e3e3e3"


def paired_change(
    changes: pd.DataFrame,
    *,
    outcome: Outcome,
    groups: Sequence[str],
    detectable: float | None = None,
    size: SizeName = "thesis",
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
    size : {"thesis", "slide"}
        Where the figure will be used.

    Raises
    ------
    InputError
        If nobody has both scores.
    """
    changes = changes.dropna(subset=["change"])
    if changes.empty:
        raise InputError("nobody has both scores, so there is no change to draw")
    present = {
        name: look for name, look in looks(groups).items() if (changes["group"] == name).any()
    }
    with house(size) as chosen:
        figure, panels = canvas(size, columns=len(present), share_y=True)
        for axes, (group, look) in zip(panels, present.items(), strict=True):
            rows = changes[changes["group"] == group].sort_values("change")
            _panel(axes, rows, look, detectable, chosen.marker)
            axes.set_title(folded(group, 5.0 / len(present)), color=look.text_colour)
        name = outcome.label or outcome.name.replace("_", " ")
        panels[0].set_ylabel(f"change in {name}" + (f" ({outcome.unit})" if outcome.unit else ""))
        _directions(panels[-1], outcome)
        figure.supxlabel("participants, sorted by change", fontsize=chosen.font)
    return Drawing("paired-change", figure)


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
    axes.plot(place, values, **{**look.point_style, "markersize": marker * 0.8}, zorder=3)
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
