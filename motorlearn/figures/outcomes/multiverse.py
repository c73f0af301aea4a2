"""The multiverse of declared choices: sorted estimates, and below them the choices of each."""

import textwrap

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from motorlearn import digits
from motorlearn.analysis import Multiverse
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.style import (
    FAINT,
    INK,
    PAPER,
    SOFT_INK,
    Drawing,
    Size,
    SizeName,
    canvas,
    house,
    name_y,
)

CROWD = 120
"""Combinations from which intervals are drawn as one band."""
RESPECTS = ("exclusion", "outcome", "effect", "covariates", "model")
_WORDS = {"exclusion": "leave out", "effect": "scale", "covariates": "adjust for"}
_SCALES = {"difference": "raw scores", "ratio": "logarithms"}
_NAME = 30


def multiverse_plot(result: Multiverse, *, label: str = "", size: SizeName = "thesis") -> Drawing:
    """Draw the estimate of every combination in order of size, and its choices below.

    Parameters
    ----------
    result : Multiverse
        What :func:`motorlearn.multiverse` gave.
    label : str
        What the estimates are, with their unit, where all share one scale; else they are set beside
        one another as Hedges g.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.

    Raises
    ------
    InputError
        If no combination could be computed.
    """
    done = result.computed
    if done.empty:
        raise InputError("no combination could be computed, so there is nothing to draw")
    names = ("estimate", "conf_low", "conf_high") if result.one_scale else ("g", "g_low", "g_high")
    rows = done.assign(**dict(zip(("value", "low", "high"), (done[n] for n in names))))
    rows = rows[rows["value"].notna()].sort_values("value", kind="stable").reset_index(drop=True)
    shown = [(r, c) for r in RESPECTS for c in _choices(result.table, r)]
    with house(size) as used:
        lines = max(len(shown), 2)
        figure, (upper, lower) = canvas(
            size,
            rows=2,
            height=0.72 + 0.062 * lines,
            share_x=True,
            height_ratios=(1.0, 0.075 * lines + 0.1),
        )
        _estimates(upper, rows, result, used)
        name_y(upper, _label(result, label))
        _marks(lower, rows, shown, used)
    return Drawing("multiverse", figure, _caption(result, len(rows)), _alt(result, rows))


def _label(result: Multiverse, label: str) -> str:
    pair = f"{result.group} {'/' if result.null == 1 else '−'} {result.reference}"
    return f"{label or 'estimate'}, {pair}" if result.one_scale else f"Hedges g, {pair}"


def _choices(table: pd.DataFrame, respect: str) -> list[str]:
    """Choices of a respect in their order; none where there is nothing to choose."""
    found = [str(one) for one in table[respect].drop_duplicates()]
    return found if len(found) > 1 else []


def _estimates(axes: Axes, rows: pd.DataFrame, result: Multiverse, size: Size) -> None:
    place = np.arange(len(rows)) + 1
    value, low, high = (rows[name].to_numpy(float) for name in ("value", "low", "high"))
    if len(rows) > CROWD:
        axes.fill_between(place, low, high, color="#d9d9d9", linewidth=0, zorder=1)
    else:
        axes.vlines(place, low, high, color=FAINT, linewidth=size.line * 0.6, zorder=1)
    clear = (rows["verdict"] != 0).to_numpy()
    marker = size.marker * (0.75 if len(rows) <= CROWD else 0.4)
    for which, fill in ((clear, INK), (~clear, PAPER)):
        axes.plot(
            place[which], value[which], "o", color=INK, markerfacecolor=fill, markersize=marker,
            markeredgewidth=size.line * 0.4, linestyle="none", zorder=3,
        )  # fmt: skip
    axes.axhline(result.null if result.one_scale else 0.0, color=SOFT_INK, linewidth=0.8, zorder=0)
    own = np.flatnonzero(rows["primary"].to_numpy(bool))
    if own.size:
        at = place[own]
        axes.plot(
            at, value[own], "D", color=INK, markersize=size.marker * 1.5,
            markerfacecolor=INK if clear[own[0]] else PAPER, zorder=4,
        )  # fmt: skip
        axes.annotate(
            "as planned", (at[0], value[own[0]]), (0, 9), textcoords="offset points",
            ha="left" if own[0] < len(rows) / 2 else "right", zorder=5,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.6, "alpha": 0.85},
        )  # fmt: skip
    axes.tick_params(axis="x", length=0, labelbottom=False)


def _marks(axes: Axes, rows: pd.DataFrame, shown: list[tuple[str, str]], size: Size) -> None:
    for line, (respect, choice) in enumerate(shown):
        has = np.flatnonzero((rows[respect].astype("str") == choice).to_numpy()) + 1
        axes.plot(
            has, np.full(len(has), line), "|", color=INK, linestyle="none",
            markersize=size.marker * 1.3,
            markeredgewidth=size.line * (0.8 if len(rows) < 60 else 0.4),
        )  # fmt: skip
        if line and shown[line - 1][0] != respect:
            axes.axhline(line - 0.5, color="#cccccc", linewidth=0.6, zorder=0)
    axes.set_yticks(range(len(shown)), [_named(*one) for one in shown])
    axes.set_ylim(len(shown) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel("combination, in order of its estimate")
    axes.set_xlim(0.2, len(rows) + 0.8)
    axes.spines["left"].set_visible(False)


def _named(respect: str, choice: str) -> str:
    told = _SCALES.get(choice, choice.replace("_", " "))
    if respect == "exclusion" and choice == "as planned":
        told = "as planned"
    return textwrap.shorten(f"{_WORDS.get(respect, respect)}: {told}", _NAME, placeholder=" …")


def _caption(result: Multiverse, shown: int) -> str:
    lost = len(result.table) - shown
    scale = "" if result.one_scale else " as Hedges g, since scales differ"
    return (
        f"Every combination of declared choices ({shown}): difference of {result.group} and "
        f"{result.reference}{scale}, in order of size, with its {digits.plain(100 * result.level)} "
        "% interval; below, the choices that each is made of. Filled symbols: p below "
        f"{digits.plain(round(1 - result.level, 6))}; diamond: as planned. It describes; it is no "
        "test." + (f" {lost} could not be computed." if lost else "")
    )


def _alt(result: Multiverse, rows: pd.DataFrame) -> str:
    low, high = (digits.significant(float(v)) for v in (rows["value"].min(), rows["value"].max()))
    return (
        f"{len(rows)} estimates in order of size, from {low} to {high}; {result.same_sign} have "
        f"the sign of the planned analysis and {result.same_verdict} its verdict. Rows of marks "
        "below show which choices each is made of."
    )
