"""The trial-order raster: what each participant practised on each trial."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import ListedColormap
from matplotlib.patches import Patch

from motorlearn import digits
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.figures.drawing.style import (
    INK,
    SOFT_INK,
    Drawing,
    SizeName,
    canvas,
    folded,
    house,
    looks,
)
from motorlearn.measures import mean_lag, switch_rate

# From dark to light, so that a grey print keeps them apart: relative luminances step by about .2.
TASK_COLOURS: Final = ("#0b2545", "#a23b00", "#3f8fbf", "#e0a526", "#b8d8b0", "#f3efe6")


def trial_order_raster(
    trials: pd.DataFrame,
    *,
    groups: Sequence[str],
    tasks: Sequence[str],
    per_group: int = 6,
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw the order of tasks, one line per participant, one panel per group.

    Parameters
    ----------
    trials : DataFrame
        ``participant, group, task`` in the order of practice; ``session`` adds lines between
        sessions.
    groups, tasks : sequence of str
        In the order of the plan.
    per_group : int
        Participants shown of each group.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into, where there is one group.

    Raises
    ------
    ColumnError
        If a column is absent.
    InputError
        If no group of the plan has trials, or there are more tasks than colours.
    """
    absent = [name for name in ("participant", "group", "task") if name not in trials.columns]
    if absent:
        raise ColumnError("a raster of trial orders lacks a column", absent)
    kept = [name for name in groups if (trials["group"] == name).any()]
    if not kept:
        raise InputError("no group of the plan has trials to draw", list(groups))
    if len(tasks) > len(TASK_COLOURS):
        raise InputError("there are more tasks than a raster can tell apart", [len(tasks)])
    rates = {name: _rates(trials[trials["group"] == name]) for name in kept}
    with house(size):
        figure, panels = canvas(size, rows=len(kept), height=0.28 + 0.3 * len(kept), ax=ax)
        for axes, name in zip(panels, kept, strict=True):
            _panel(axes, trials[trials["group"] == name], list(tasks), per_group)
            colour = looks(groups)[name].text_colour
            rate, lag = (
                digits.number(value, decimals) for value, decimals in zip(rates[name], (2, 1))
            )
            axes.set_title(f"{folded(name, 3)}   switch rate {rate}, mean lag {lag}", color=colour)
        for axes in panels[:-1]:
            axes.set_xticklabels([])
        panels[-1].set_xlabel("practice trial")
        keys = [
            Patch(facecolor=colour, edgecolor=SOFT_INK, label=task)
            for task, colour in zip(tasks, TASK_COLOURS, strict=False)
        ]
        columns = min(len(keys), 3 if size == "column" else 6)
        if ax is None:
            figure.legend(handles=keys, loc="outside upper left", ncols=columns, frameon=False)
        else:
            ax.legend(handles=keys, loc="upper right", ncols=columns)
    return Drawing("trial-orders", figure, _caption(per_group), _alt(kept, rates), given=ax)


def _panel(axes: Axes, rows: pd.DataFrame, tasks: list[str], per_group: int) -> None:
    people = list(dict.fromkeys(rows["participant"]))[:per_group]
    orders = [rows.loc[rows["participant"] == person, "task"].map(tasks.index) for person in people]
    grid = np.full((len(people), max(map(len, orders))), np.nan)
    for line, order in enumerate(orders):
        grid[line, : len(order)] = order
    axes.imshow(
        grid,
        aspect="auto",
        interpolation="nearest",
        cmap=ListedColormap(list(TASK_COLOURS[: len(tasks)])),
        vmin=-0.5,
        vmax=len(tasks) - 0.5,
        extent=(0.5, grid.shape[1] + 0.5, len(people) - 0.5, -0.5),
    )
    axes.set_yticks([])
    axes.set_ylabel(f"{len(people)} people" if len(people) > 1 else "1 person")
    if "session" in rows:
        first = rows[rows["participant"] == people[0]]["session"].to_numpy()
        for edge in np.flatnonzero(first[1:] != first[:-1]):
            axes.axvline(edge + 1.5, color=INK, linewidth=2.5)
            axes.axvline(edge + 1.5, color="#ffffff", linewidth=1.0)


def _rates(rows: pd.DataFrame) -> tuple[float, float]:
    """Mean switch rate and mean lag over people and sessions."""
    keys = ["participant", *(["session"] if "session" in rows else [])]
    orders = [part.tolist() for _, part in rows.groupby(keys)["task"] if len(part) > 1]
    rate = np.mean([switch_rate(order) for order in orders])
    return float(rate), float(np.nanmean([mean_lag(order) for order in orders]))


def _caption(per_group: int) -> str:
    return (
        f"Order of tasks in practice, up to {per_group} participants of each group, one line per "
        "person. Switch rate: share of trials whose task differs from the one before; mean lag: "
        "trials from one trial of a task to its next. White lines with black edges divide sessions."
    )


def _alt(groups: Sequence[str], rates: dict[str, tuple[float, float]]) -> str:
    parts = [f"{name} {digits.number(rates[name][0], 2)}" for name in groups]
    return (
        "Raster of practice trials, one line per participant, coloured by task, one panel per "
        f"group. Switch rates: {', '.join(parts)}."
    )
