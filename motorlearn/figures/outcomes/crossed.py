"""Means of tests by two factors: a line for each level of one along the levels of the other."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from motorlearn import digits
from motorlearn.design import Outcome
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.frames import ask_columns, drawn_levels
from motorlearn.figures.drawing.labels import EndLabel, folded, label_ends, shortened
from motorlearn.figures.drawing.naming import outcome_label
from motorlearn.figures.drawing.panels import many_lines, many_panels
from motorlearn.figures.drawing.style import Drawing, Levels, Look, SizeName, house
from motorlearn.vocabulary import PHASE_LABELS

_APART = 0.12


def interaction_plot(
    means: pd.DataFrame,
    *,
    lines: Sequence[str],
    along: Sequence[str],
    outcome: Outcome,
    names: tuple[str, str] = ("", ""),
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw the mean of every cell of two factors with its interval, one panel for each test.

    Lines that run side by side say that one factor does the same at every level of the other;
    whether they do is a matter of the interval of the interaction, not of the picture.

    Parameters
    ----------
    means : DataFrame
        ``phase, line, along, mean, conf_low, conf_high``; one row per test and cell, in the order
        in which the tests are drawn.
    lines, along : sequence of str
        Levels of the factor that is told by lines, and of the one along the axis, in order.
    outcome : Outcome
        Name, unit and better direction of the score.
    names : pair of str
        What a reader calls the factor of the lines and the one along the axis.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into, where there is one test.

    Raises
    ------
    InputError
        If there is no mean, or a level is not among those named.

    Examples
    --------
    >>> means = pd.DataFrame({
    ...     "phase": "retention", "line": ["blocked", "blocked", "random", "random"],
    ...     "along": ["always", "faded"] * 2, "mean": [24.0, 22, 21, 15],
    ...     "conf_low": [21.0, 19, 18, 12], "conf_high": [27.0, 25, 24, 18],
    ... })
    >>> drawing = interaction_plot(
    ...     means, lines=["blocked", "random"], along=["always", "faded"],
    ...     outcome=Outcome(name="radial_error", unit="cm", better="lower"),
    ...     names=("order", "feedback"),
    ... )
    >>> drawing.name
    'interaction'
    """
    ask_columns(means, ("phase", "line", "along", "mean"), "a figure of two factors")
    rows = means.dropna(subset=["mean"])
    if rows.empty:
        raise InputError("there is no mean to draw by two factors", None, "check the table")
    strange = sorted(set(rows["along"].astype(str)) - {str(level) for level in along})
    if strange:
        raise InputError("a level is not among those of its factor", strange, f"use {list(along)}")
    levels, tests = Levels(lines), list(dict.fromkeys(rows["phase"]))
    with house(size) as chosen:
        present = drawn_levels(rows, levels, column="line")
        figure, panels = many_panels(size, len(tests), ax)
        for axes, test in zip(panels, tests):
            _panel(axes, rows[rows["phase"] == test], present, [str(level) for level in along])
            axes.set_xlabel(names[1])
            if ax is None and len(tests) > 1:
                many_lines(axes, PHASE_LABELS.get(test, str(test)))
        last = rows[rows["phase"] == tests[-1]]
        _name_lines(panels[len(tests) - 1], last, present, [str(level) for level in along])
        if ax is None:
            figure.supylabel(outcome_label(outcome), fontsize=chosen.font)
        else:
            ax.set_ylabel(outcome_label(outcome))
    caption = (
        f"{outcome_label(outcome)}: mean of each cell with its 95 % confidence interval; lines: "
        f"{names[0] or 'one factor'}, along the axis: {names[1] or 'the other factor'}."
    )
    said = "; ".join(
        f"{row.phase}, {row.line}, {row.along}: {digits.significant(float(row.mean))}"
        for row in rows[["phase", "line", "along", "mean"]].itertuples(index=False)
    )
    return Drawing("interaction", figure, caption, f"Means of cells. {said}.", given=ax)


def _panel(axes: Axes, rows: pd.DataFrame, looks: list[Look], along: list[str]) -> None:
    middle = (len(looks) - 1) / 2
    for place, look in enumerate(looks):
        mine = rows[rows["line"].astype(str) == look.group]
        mine = mine.set_index(mine["along"].astype(str)).reindex(along)
        x = np.arange(len(along)) + (place - middle) * _APART
        held = mine["mean"].notna().to_numpy()
        mean = mine["mean"].to_numpy(float)
        axes.plot(x[held], mean[held], **look.line_style)
        ends = np.abs(mine[["conf_low", "conf_high"]].to_numpy(float) - mean[:, None])[held]
        axes.errorbar(
            x[held], mean[held], yerr=np.nan_to_num(ends).T, fmt="none", ecolor=look.colour,
            elinewidth=1.2, capsize=2,
        )  # fmt: skip
    axes.set_xticks(range(len(along)), [folded(name, 0.9) for name in along])
    axes.set_xlim(-0.4, len(along) - 0.4)
    axes.set(ylabel="")


def _name_lines(axes: Axes, rows: pd.DataFrame, looks: list[Look], along: list[str]) -> None:
    """Write the level of each line behind its last mean."""
    ends = []
    for place, look in enumerate(looks):
        mine = rows[rows["line"].astype(str) == look.group]
        means = mine.set_index(mine["along"].astype(str))["mean"].reindex(along).dropna()
        if len(means):
            x = along.index(means.index[-1]) + (place - (len(looks) - 1) / 2) * _APART
            text = folded(shortened(look.group, 24), 0.8)
            ends.append(EndLabel(x, float(means.iloc[-1]), text, look.text_colour))
    label_ends(axes, ends)
