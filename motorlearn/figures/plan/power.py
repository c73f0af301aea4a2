"""Power over participants and trials: curves with Monte-Carlo intervals, or a contour."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes

from motorlearn import digits
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.style import (
    SOFT_INK,
    Drawing,
    EndLabel,
    SizeName,
    canvas,
    house,
    label_ends,
    looks,
    thin_ticks,
)
from motorlearn.plan import Power
from motorlearn.vocabulary import capitalised

_FEWEST = 2


def power_curves(
    result: Power,
    *,
    trials: int | None = None,
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw power over participants per group, one line per effect, with Monte-Carlo intervals.

    Parameters
    ----------
    result : Power
        From :func:`motorlearn.power`, with several n.
    trials : int, optional
        Trials in each test; by default the most that were simulated.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.

    Raises
    ------
    InputError
        If fewer than two sizes were simulated.
    """
    chosen = result.table["trials"].max() if trials is None else trials
    table = result.table[result.table["trials"] == chosen]
    if table["n"].nunique() < _FEWEST:
        raise InputError("a power curve needs two or more n", table["n"].unique(), "give more n")
    effects = list(dict.fromkeys(zip(table["effect_name"], table["effect"], strict=True)))
    style = looks([f"{name} {value}" for name, value in effects])
    wanted = result.recipe.options["wanted"]
    with house(size):
        figure, (axes,) = canvas(size, ax=ax)
        labels = []
        for name, value in effects:
            part = table[(table["effect_name"] == name) & (table["effect"] == value)]
            look = style[f"{name} {value}"]
            low, high = part["power"] - part["mc_low"], part["mc_high"] - part["power"]
            axes.errorbar(part["n"], part["power"], yerr=[low, high], capsize=2, **look.line_style)
            last = part.iloc[-1]
            labels.append(EndLabel(last["n"], last["power"], _name(name, last), look.text_colour))
        _reference(axes, wanted)
        axes.set_ylim(0, 1.02)
        axes.set_xticks(sorted(table["n"].unique()))
        thin_ticks(axes)
        axes.set_xlabel("participants per group at enrolment")
        axes.set_ylabel("share of simulated studies with p < α")
        label_ends(axes, labels)
    return Drawing("power-curves", figure, _caption(result, chosen), _alt(table, chosen), given=ax)


def power_contour(
    result: Power, *, effect: str | float, size: SizeName = "thesis", ax: Axes | None = None
) -> Drawing:
    """Draw power over participants and trials for one effect, as labelled cells.

    Parameters
    ----------
    result : Power
        From :func:`motorlearn.power`, with several n and several trials.
    effect : str or float
        Name of the effect in ``result.table``, or its size where several have one name.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.

    Raises
    ------
    InputError
        If the effect is unknown, several have its name, or there is no grid.
    """
    column = "effect_name" if isinstance(effect, str) else "effect"
    part = result.table[result.table[column] == effect]
    if part.empty:
        raise InputError("no such effect was simulated", [effect], f"see table['{column}']")
    if (several := part["effect"].unique()).size > 1:
        raise InputError("several effects have this name", several, "give the size of one")
    grid = part.pivot_table(index="trials", columns="n", values="power", aggfunc="first")
    if min(grid.shape) < _FEWEST:
        raise InputError("a contour needs two or more n and trials", grid.shape)
    values = grid.to_numpy()
    with house(size):
        figure, (axes,) = canvas(size, ax=ax)
        sns.heatmap(
            grid, ax=axes, annot=True, fmt=".2f", cmap="cividis", vmin=0, vmax=1,
            cbar_kws={"label": "power"},
        )  # fmt: skip
        axes.invert_yaxis()
        axes.tick_params(axis="y", labelrotation=0)
        wanted = result.recipe.options["wanted"]
        crossed = bool(values.min() < wanted < values.max())
        if crossed:
            across, up = np.arange(grid.shape[1]) + 0.5, np.arange(grid.shape[0]) + 0.5
            axes.contour(across, up, values, levels=[wanted], colors="#ffffff", linewidths=4)
            axes.contour(across, up, values, levels=[wanted], colors="#000000", linewidths=1.6)
        axes.set_xlabel("participants per group at enrolment")
        axes.set_ylabel("trials in each test")
    words = _grid_caption(result, part, crossed), _grid_alt(grid, str(effect))
    return Drawing("power-contour", figure, *words, given=ax)


def _grid_caption(result: Power, part: pd.DataFrame, crossed: bool) -> str:
    name, size = part["effect_name"].iloc[0], digits.plain(float(part["effect"].iloc[0]))
    wanted = digits.plain(result.recipe.options["wanted"])
    line = (
        f"The line marks a power of {wanted}."
        if crossed
        else f"No line is drawn, since all cells lie on one side of a power of {wanted}."
    )
    return (
        f"Power by simulation for the effect '{name}' ({size}) over participants and trials "
        f"({result.recipe.options['simulations']} studies a cell, Monte-Carlo error at most "
        f"{digits.number(float(part['mc_error'].max()), 3)}). {line}"
    )


def _reference(axes: Axes, wanted: float) -> None:
    axes.axhline(wanted, color=SOFT_INK, linewidth=0.8, linestyle=(0, (2, 2)), zorder=0)
    axes.annotate(
        f"{digits.plain(wanted)} wanted",
        (0, wanted),
        (2, 2),
        xycoords=axes.get_yaxis_transform(),
        textcoords="offset points",
        color=SOFT_INK,
        fontsize="small",
    )


def _name(name: str, row: pd.Series) -> str:
    if row["kind"] == "false positives":
        return "no effect:\nfalse positives"
    return f"{name}\n({digits.significant(row['effect'])})"


def _caption(result: Power, trials: int) -> str:
    options = result.recipe.options
    return (
        f"Power by simulation of the planned study and its planned analysis ({options['model']}), "
        f"{trials} trials in each test, {options['simulations']} studies a point; bars are 95 % "
        f"Monte-Carlo intervals. {capitalised(result.scale)}. The lowest line is "
        "the rate of false positives where there is no effect."
    )


def _alt(table: pd.DataFrame, trials: int) -> str:
    sizes: Sequence[int] = sorted(table["n"].unique())
    ends = table[(table["n"] == sizes[-1]) & (table["kind"] == "power")]
    parts = [f"{row.effect_name} {digits.number(row.power, 2)}" for row in ends.itertuples()]
    return (
        f"Lines of power against participants per group from {sizes[0]} to {sizes[-1]}, {trials} "
        f"trials in each test. At {sizes[-1]} a group: {', '.join(parts)}."
    )


def _grid_alt(grid: pd.DataFrame, effect: str) -> str:
    low, high = grid.to_numpy().min(), grid.to_numpy().max()
    return (
        f"Grid of power for the effect {effect}, participants by trials. It rises from "
        f"{digits.number(low, 2)} at {grid.columns[0]} people a group to {digits.number(high, 2)} "
        f"at {grid.columns[-1]}."
    )
