"""The effect forest: estimates with intervals, and the numbers beside them."""

import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from motorlearn import digits
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.frames import ask_columns
from motorlearn.figures.drawing.style import (
    INK,
    SOFT_INK,
    Drawing,
    Size,
    SizeName,
    canvas,
    house,
    name_x,
    thin_ticks,
)

BAND = "#e3e3e3"
_NAME, _NARROW = 42, 26
"""Letters of a name in one line; where the numbers stand beneath it."""


def effect_forest(
    effects: pd.DataFrame,
    *,
    label: str,
    null: float = 0.0,
    bound: tuple[float, float] | None = None,
    decimals: int = 2,
    decimal: str = ".",
    sides: tuple[str, str] | None = None,
    summary: Sequence[int] = (),
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw estimates with their intervals, one row each, the numbers at the right.

    Where that leaves little room for the intervals, as in a column of a journal, the numbers stand
    beneath the names.

    Parameters
    ----------
    effects : DataFrame
        ``name, estimate, conf_low, conf_high`` in the order of drawing; missing ones keep their
        row and say so.
    label : str
        What the x axis shows, with its unit.
    null : float
        Value that means "the same": 0 for differences, 1 for ratios (drawn on a log scale).
    bound : pair of float, optional
        Smallest effect of interest on both sides of the null, drawn as a band.
    decimals : int
        Decimals of the numbers at the right.
    decimal : str
        Decimal sign.
    sides : pair of str, optional
        What a value below and above the null means.
    summary : sequence of int
        Rows that are summaries, drawn as diamonds.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.

    Raises
    ------
    InputError
        If there is no estimate at all, or a ratio is not positive.
    """
    ask_columns(effects, ("name", "estimate", "conf_low", "conf_high"), "an effect forest")
    known = effects[["estimate", "conf_low", "conf_high"]].dropna()
    if known.empty:
        raise InputError("there is no estimate to draw in a forest")
    if null == 1.0 and (known <= 0).to_numpy().any():
        raise InputError("a ratio and its interval must be positive", known.min().tolist())
    with house(size) as chosen:
        told = _told(effects, null, decimals, decimal)
        names = ["\n".join(textwrap.wrap(str(name), _NAME)) for name in effects["name"]]
        narrow = _is_narrow(names, told, chosen, ax)
        if narrow:
            folded = ("\n".join(textwrap.wrap(str(name), _NARROW)) for name in effects["name"])
            names = [f"{name}\n{text}" for name, text in zip(folded, told, strict=True)]
        figure, (axes,) = canvas(size, height=_height(names, narrow, chosen), ax=ax)
        _reference(axes, null, bound)
        for place, row in enumerate(effects.itertuples()):
            _row(axes, place, row, place in set(summary))
        under = f"\n← {sides[0]}   |   {sides[1]} →" if sides else ""
        _dress(axes, names, known, null, label + under)
        if not narrow:
            _numbers(axes, told)
        thin_ticks(axes, first=[null])
    return Drawing("effect-forest", figure, given=ax)


def _reference(axes: Axes, null: float, bound: tuple[float, float] | None) -> None:
    if bound:
        axes.axvspan(*bound, color=BAND, linewidth=0, zorder=0)
    axes.axvline(null, color=SOFT_INK, linewidth=1.0, zorder=1)


def _row(axes: Axes, place: int, row: Any, is_summary: bool) -> None:
    if not np.isfinite(row.estimate):
        return
    axes.hlines(place, row.conf_low, row.conf_high, color=INK, linewidth=1.6, zorder=2)
    marker = "D" if is_summary else "s"
    axes.plot(row.estimate, place, marker=marker, color=INK, zorder=3)


def _dress(axes: Axes, names: list[str], known: pd.DataFrame, null: float, label: str) -> None:
    axes.set_yticks(range(len(names)), names)
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    name_x(axes, label)
    low = min(float(known.to_numpy().min()), null)
    high = max(float(known.to_numpy().max()), null)
    if null == 1.0:
        axes.set_xscale("log")
        ticks = _ratio_ticks(low, high)
        axes.set_xticks(ticks, [f"{digits.plain(tick)}" for tick in ticks])
        axes.set_xticks([], minor=True)
        axes.set_xlim(min(low, ticks[0]) / 1.03, max(high, ticks[-1]) * 1.03)
    else:
        margin = 0.06 * (high - low) or 0.1 * abs(high) or 1.0
        axes.set_xlim(low - margin, high + margin)


def _ratio_ticks(low: float, high: float) -> list[float]:
    """Round ratios that span the interval, about three to seven of them."""
    for ladder in (
        (0.9, 0.95, 1, 1.05, 1.1),
        (0.7, 0.8, 0.9, 1, 1.1, 1.2, 1.4),
        (0.5, 0.7, 1, 1.4, 2),
    ):
        if ladder[0] <= low and high <= ladder[-1]:
            return [
                tick
                for i, tick in enumerate(ladder)
                if ladder[min(i + 1, len(ladder) - 1)] >= low and ladder[max(i - 1, 0)] <= high
            ]
    powers = np.arange(np.floor(np.log2(low)), np.ceil(np.log2(high)) + 1)
    step = max(1, int(np.ceil(len(powers) / 7)))
    return [float(2.0**power) for power in powers[::step]]


def _told(effects: pd.DataFrame, null: float, decimals: int, decimal: str) -> list[str]:
    """Estimate and interval of each row in numbers."""
    texts = []
    for row in effects.itertuples():
        if not np.isfinite(row.estimate):
            texts.append("not estimated")
            continue
        value = digits.number(row.estimate, decimals, decimal=decimal)
        fine = digits.decimals_apart(row.conf_low, row.conf_high, null, decimals)
        span = digits.interval(row.conf_low, row.conf_high, fine, decimal=decimal)
        texts.append(f"{value} [{span}]")
    return texts


def _is_narrow(names: list[str], told: list[str], size: Size, ax: Axes | None) -> bool:
    """Whether names at the left and numbers at the right would leave little room between them."""
    width = size.width
    if ax is not None:
        figure = ax.get_figure(root=True)
        assert figure is not None
        width = float(figure.get_size_inches()[0]) * min(1.0, 1.3 * ax.get_position().width)
    longest = max(len(line) for name in names for line in name.split("\n"))
    letters = longest + max(len(text) for text in told)
    return letters * 0.55 * size.font / 72 > 0.72 * width


def _height(names: list[str], narrow: bool, size: Size) -> float:
    """Height of the figure in units of the usual one."""
    if narrow:
        lines = sum(name.count("\n") + 1 for name in names)
        return (0.75 + (1.25 * lines + 0.9 * len(names)) * size.font / 72) / size.height
    return max(0.42, 0.2 + 0.115 * sum(1 + 0.6 * name.count("\n") for name in names))


def _numbers(axes: Axes, told: list[str]) -> None:
    for place, text in enumerate(told):
        axes.annotate(
            text,
            (1.0, place),
            (8, 0),
            xycoords=axes.get_yaxis_transform(),
            textcoords="offset points",
            va="center",
            annotation_clip=False,
        )
