"""A line for each participant from one test to another, by group."""

from collections.abc import Sequence

import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes

from motorlearn.design import Outcome
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.frames import ask_columns, drawn_levels
from motorlearn.figures.drawing.naming import outcome_label
from motorlearn.figures.drawing.panels import many_panels, panel_title
from motorlearn.figures.drawing.style import (
    Drawing,
    EndLabel,
    Levels,
    Look,
    SizeName,
    folded,
    house,
    label_ends,
    turn_ticks,
)
from motorlearn.vocabulary import PHASE_LABELS


def paired_lines(
    scores: pd.DataFrame,
    *,
    phases: tuple[str, str] = ("pretest", "retention"),
    outcome: Outcome,
    groups: Sequence[str],
    identifiers: bool = False,
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw a line from the first test to the second for each participant, by group.

    The mean of those who have both tests is drawn over the lines; those who lack one are counted
    in the title of their group and drawn as a point.

    Parameters
    ----------
    scores : DataFrame
        ``participant, group, phase, score``; one row per participant and test.
    phases : pair of str
        The two tests, in order.
    outcome : Outcome
        Name, unit and better direction of the score.
    groups : sequence of str
        Groups in the order of the plan.
    identifiers : bool
        Write the identifier of each participant at the end of the line.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into, where there is one group.

    Raises
    ------
    InputError
        If nobody has both scores, or a group is not in the plan.
    """
    ask_columns(scores, ("participant", "group", "phase", "score"), "a figure of paired scores")
    rows = scores[scores["phase"].isin(phases)].dropna(subset=["score"])
    rows = rows.assign(at=rows["phase"].map({phases[0]: 0.0, phases[1]: 1.0}))
    both = rows.groupby("participant", observed=True)["at"].transform("nunique") == 2
    if not both.any():
        raise InputError("nobody has a score in both tests, so no line can be drawn", phases)
    levels = Levels(groups)
    with house(size) as chosen:
        present = drawn_levels(rows, levels)
        figure, panels = many_panels(size, len(present), ax)
        for axes, look in zip(panels, present):
            mine = (rows["group"].astype(str) == look.group).to_numpy()
            _pairs(axes, rows[mine & both], rows[mine & ~both], look, chosen.marker)
            _pair_axis(axes, phases, look, int((mine & ~both).sum()))
            turn_ticks(axes, [0.0, 1.0])
            if identifiers:
                ends = rows[mine & both & (rows["at"] == 1.0)]
                label_ends(axes, [
                    EndLabel(1.0, row.score, str(row.participant), look.text_colour)
                    for row in ends.itertuples()
                ], offset=4)  # fmt: skip
        if ax is None:
            figure.supylabel(outcome_label(outcome), fontsize=chosen.font)
        else:
            ax.set_ylabel(outcome_label(outcome))
    caption = (
        f"{outcome_label(outcome)}: each thin line is one participant with both tests, the thick "
        "line their mean; single points have one of the tests only."
    )
    numbers = rows[both].groupby(rows["group"].astype(str))["participant"].nunique()
    counted = [f"{look.group} {numbers.get(look.group, 0)}" for look in present]
    alt = (
        f"Lines from {phases[0]} to {phases[1]}, one for each participant with both tests: "
        f"{', '.join(counted)}."
    )
    return Drawing("paired-lines", figure, caption, alt, given=ax)


def _pairs(
    axes: Axes, pairs: pd.DataFrame, single: pd.DataFrame, look: Look, marker: float
) -> None:
    if len(pairs):
        sns.lineplot(
            pairs, x="at", y="score", units="participant", estimator=None, ax=axes,
            color=look.colour, linewidth=0.7, alpha=0.45, marker=look.marker, markeredgewidth=0,
            markersize=marker * 0.5, legend=False,
        )  # fmt: skip
        means = pairs.groupby("at")["score"].mean()
        axes.plot(means.index, means, **{**look.line_style, "linewidth": 2.4}, zorder=5)
    sns.scatterplot(
        single, x="at", y="score", ax=axes, color=look.colour, marker=look.marker,
        s=(marker * 0.5) ** 2, alpha=0.45, linewidth=0, legend=False,
    )  # fmt: skip


def _pair_axis(axes: Axes, phases: tuple[str, str], look: Look, lacking: int) -> None:
    axes.set_xticks([0, 1], [folded(PHASE_LABELS.get(name, name), 0.8) for name in phases])
    axes.set_xlim(-0.25, 1.3)
    axes.set(xlabel=f"{lacking} without a pair" if lacking else "", ylabel="")
    panel_title(axes, look)
