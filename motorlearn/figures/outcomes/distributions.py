"""Distributions of raw scores: clouds with their points, differences on an axis of their own."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from motorlearn import digits
from motorlearn.design import Outcome
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.frames import ask_columns, drawn_levels
from motorlearn.figures.drawing.labels import log_ticks, shortened
from motorlearn.figures.drawing.naming import outcome_label
from motorlearn.figures.drawing.style import (
    INK,
    SOFT_INK,
    Drawing,
    Levels,
    SizeName,
    canvas,
    group_ticks,
    house,
    name_y,
)
from motorlearn.figures.outcomes.scores import swarm

_FEWEST_FOR_A_CLOUD = 5


def raincloud(
    scores: pd.DataFrame,
    *,
    outcome: Outcome,
    groups: Sequence[str],
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw the distribution of a score by group: half a violin, a box, and every participant.

    A group of fewer than five people, or of equal scores, has its points and no cloud.

    Parameters
    ----------
    scores : DataFrame
        ``group, score``; one row per participant.
    outcome : Outcome
        Name, unit and better direction of the score.
    groups : sequence of str
        Groups in the order of the plan.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.

    Raises
    ------
    InputError
        If there is no score, or a group is not in the plan.

    References
    ----------
    Allen, M., Poggiali, D., Whitaker, K., Marshall, T. R., & Kievit, R. A. (2019). Wellcome Open
    Research, 4, 63. https://doi.org/10.12688/wellcomeopenres.15191.1
    """
    ask_columns(scores, ("group", "score"), "a raincloud")
    rows = scores.dropna(subset=["score"])
    if rows.empty:
        raise InputError("there is no score to draw in a raincloud", None, "check the table")
    levels = Levels(groups)
    with house(size) as chosen:
        drawn_levels(rows, levels)
        figure, (axes,) = canvas(size, ax=ax)
        for place, look in enumerate(levels.looks.values()):
            mine = rows.loc[rows["group"].astype(str) == look.group, "score"].to_numpy(float)
            _cloud(axes, place, mine, look.colour, chosen.line)
        swarm(axes, rows, levels, chosen.marker * 0.62, aside=-0.28)
        axes.set(xlabel="", ylabel="")
        axes.set_xlim(-0.6, len(levels) - 0.4)
        group_ticks(axes, levels)
        name_y(axes, outcome_label(outcome))
    medians = rows.groupby(rows["group"].astype(str))["score"].median()
    said = ", ".join(
        f"{name} {digits.significant(float(medians[name]))}" for name in levels if name in medians
    )
    apart = " by group" if len(levels) > 1 else ""
    caption = (
        f"{outcome_label(outcome)}{apart}: points are participants; the box holds the middle "
        "half with the median, whiskers reach the last point within 1.5 box lengths; the half "
        "violin is a kernel density, cut at the extremes."
    )
    return Drawing(
        "raincloud", figure, caption, f"Distributions{apart}. Medians: {said}.", given=ax
    )


def _cloud(axes: Axes, place: float, values: np.ndarray, colour: str, line_width: float) -> None:
    if len(values) < _FEWEST_FOR_A_CLOUD or np.ptp(values) <= 1e-9 * np.abs(values).max():
        return
    sns.violinplot(
        x=np.full(len(values), place + 0.12), y=values, inner=None, cut=0, width=0.76,
        color=colour, linewidth=0, alpha=0.45, native_scale=True, legend=False, ax=axes,
    )  # fmt: skip
    right = Rectangle((place + 0.12, 0), 1.0, 1.0, transform=axes.get_xaxis_transform())
    axes.collections[-1].set_clip_path(right)
    line = {"color": colour, "linewidth": 0.7 * line_width}
    axes.boxplot(
        values, positions=[place + 0.04], widths=0.09, showfliers=False, manage_ticks=False,
        boxprops=line, whiskerprops=line, capprops=line,
        medianprops={"color": INK, "linewidth": line_width},
    )  # fmt: skip


def estimation_plot(
    scores: pd.DataFrame,
    differences: pd.DataFrame,
    *,
    reference: str,
    outcome: Outcome,
    groups: Sequence[str],
    label: str = "",
    null: float = 0.0,
    size: SizeName = "thesis",
) -> Drawing:
    """Draw raw scores above, and below each group its difference from the reference.

    The difference stands on an axis of its own with its interval, so that the size of an effect is
    read from the figure and not from a p value.

    Parameters
    ----------
    scores : DataFrame
        ``group, score``; one row per participant.
    differences : DataFrame
        ``group, reference, estimate, conf_low, conf_high``: rows of a comparison of one test.
    reference : str
        Group that the others are compared with.
    outcome : Outcome
        Name, unit and better direction of the score.
    groups : sequence of str
        Groups in the order of the plan.
    label : str
        What the lower axis shows; by default the difference from the reference with its unit.
    null : float
        0 for differences, 1 for ratios, which are drawn on a log scale.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.

    Raises
    ------
    InputError
        If there is no score, no difference from the reference, or two for one group.

    References
    ----------
    Ho, J., Tumkaya, T., Aryal, S., Choi, H., & Claridge-Chang, A. (2019). Nature Methods, 16,
    565-566. https://doi.org/10.1038/s41592-019-0470-3
    """
    ask_columns(scores, ("group", "score"), "an estimation plot")
    needed = ("group", "reference", "estimate", "conf_low", "conf_high")
    ask_columns(differences, needed, "an estimation plot")
    rows = scores.dropna(subset=["score"])
    known = differences[differences["reference"] == reference].dropna(subset=["estimate"])
    _refuse_estimates(rows, known, reference)
    levels = Levels(groups)
    unit = f" ({outcome.unit})" if outcome.unit and null == 0.0 else ""
    with house(size) as chosen:
        drawn_levels(rows, levels)
        figure, (raw, below) = canvas(size, rows=2, height=1.35, share_x=True, height_ratios=(3, 2))
        swarm(raw, rows, levels, chosen.marker * 0.7)
        _means(raw, rows, levels)
        raw.set(xlabel="", ylabel="")
        _effects(below, known, levels, null)
        what = "ratio to" if null == 1.0 else "difference from"
        below.set_xlim(-0.6, len(levels) - 0.4)
        group_ticks(below, levels)
        raw.tick_params(axis="x", length=0)
        name_y(below, label or f"{what} {shortened(reference, 40)}{unit}")
        name_y(raw, outcome_label(outcome))
    caption = (
        f"Above, {outcome_label(outcome)} of every participant, with the mean of each group "
        f"(bar). Below, on an axis of its own, {label or what + ' ' + reference} with its "
        "confidence interval; the line is no difference."
    )
    said = "; ".join(
        f"{row.group} {digits.significant(row.estimate)} "
        f"({digits.interval(row.conf_low, row.conf_high)})"
        for row in known.itertuples()
    )
    return Drawing(
        "estimation-plot", figure, caption, f"Scores by group and {what} {reference}: {said}."
    )


def _refuse_estimates(rows: pd.DataFrame, known: pd.DataFrame, reference: str) -> None:
    if rows.empty:
        raise InputError("there is no score to draw in an estimation plot", None, "check the table")
    if known.empty:
        raise InputError(
            "no difference from the reference is known", [reference], "name another reference"
        )
    if known["group"].duplicated().any():
        raise InputError(
            "a group has two differences from the reference",
            known.loc[known["group"].duplicated(), "group"],
            "choose the rows of one test",
        )


def _means(axes: Axes, rows: pd.DataFrame, levels: Levels) -> None:
    means = rows.groupby(rows["group"].astype(str))["score"].mean()
    for place, name in enumerate(levels):
        if name in means:
            axes.hlines(means[name], place - 0.28, place + 0.28, color=INK, zorder=4)


def _effects(axes: Axes, known: pd.DataFrame, levels: Levels, null: float) -> None:
    axes.axhline(null, color=SOFT_INK, linewidth=1.0)
    if null == 1.0:
        axes.set_yscale("log")
    for place, look in enumerate(levels.looks.values()):
        row = known[known["group"].astype(str) == look.group]
        if len(row):
            value = row.iloc[0]
            axes.vlines(place, value["conf_low"], value["conf_high"], color=look.colour)
            axes.plot(place, value["estimate"], **look.point_style)
    if null == 1.0:
        # Said rather than found: on a log axis older releases of matplotlib count the place 0 too.
        limits = known[["conf_low", "conf_high"]].to_numpy(float)
        limits = np.append(limits[np.isfinite(limits)], null)
        room = (limits.max() / limits.min()) ** 0.1
        axes.set_ylim(limits.min() / room, limits.max() * room)
        ratio_ticks(axes)


def ratio_ticks(axes: Axes) -> None:
    """Plain numbers on a log axis of ratios."""
    low, high = axes.get_ylim()
    ticks = log_ticks(low, high)
    axes.set_yticks(ticks, [f"{digits.plain(tick)}" for tick in ticks])
    axes.set_yticks([], minor=True)
