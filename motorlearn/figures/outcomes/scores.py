"""Test scores by group: every participant, the mean with its interval, and the adjusted mean."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes

from motorlearn.design import Outcome
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.frames import ask_columns, drawn_levels
from motorlearn.figures.drawing.naming import outcome_label
from motorlearn.figures.drawing.style import (
    INK,
    PAPER,
    Drawing,
    Levels,
    Look,
    SizeName,
    canvas,
    group_ticks,
    house,
    name_y,
)
from motorlearn.vocabulary import PHASE_LABELS


def delayed_scores(
    scores: pd.DataFrame,
    means: pd.DataFrame,
    adjusted: pd.DataFrame | None = None,
    *,
    phases: Sequence[str],
    outcome: Outcome,
    groups: Sequence[str],
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw the scores of tests by group, one panel per test on the same scale.

    Parameters
    ----------
    scores : DataFrame
        ``participant, group, phase, score``.
    means : DataFrame
        ``group, phase, mean, conf_low, conf_high``.
    adjusted : DataFrame or None
        Baseline-adjusted means: ``group, phase, estimate, conf_low, conf_high``.
    phases : sequence of str
        Tests to show.
    outcome : Outcome
        Name, unit and better direction of the score.
    groups : sequence of str
        Groups in the order of the plan.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into, where one test is shown.

    Raises
    ------
    InputError
        If none of the tests has a score, or a group is not in the plan.
    """
    ask_columns(scores, ("group", "phase", "score"), "a figure of test scores")
    scores = scores.dropna(subset=["score"])
    shown = [phase for phase in phases if (scores["phase"] == phase).any()]
    if not shown:
        raise InputError("no test has a score to draw", phases, "check the phases of the trials")
    levels = Levels(groups)
    with house(size) as chosen:
        drawn_levels(scores, levels)
        figure, panels = canvas(size, columns=len(shown), share_y=True, ax=ax)
        for axes, phase in zip(panels, shown, strict=True):
            swarm(axes, scores[scores["phase"] == phase], levels, chosen.marker * 0.62, aside=-0.2)
            for place, look in enumerate(levels.looks.values()):
                _bar(axes, place + 0.12, _pick(means, phase, look.group), "mean", look, True)
                if adjusted is not None:
                    row = _pick(adjusted, phase, look.group)
                    _bar(axes, place + 0.36, row, "estimate", look, False)
            axes.set_xlim(-0.55, len(levels) - 0.4)
            axes.set(xlabel="", ylabel="", title=PHASE_LABELS.get(phase, phase))
        for axes in panels:
            group_ticks(axes, levels)
        name_y(panels[0], outcome_label(outcome))
    return Drawing("test-scores", figure, given=ax)


def _pick(frame: pd.DataFrame, phase: str, group: str) -> pd.DataFrame:
    return frame[(frame["phase"] == phase) & (frame["group"] == group)]


def swarm(
    axes: Axes,
    scores: pd.DataFrame,
    levels: Levels,
    marker: float,
    *,
    value: str = "score",
    aside: float = 0.0,
    alpha: float = 0.5,
) -> None:
    """Draw every participant beside the place of the group, points of like value kept apart."""
    rows = scores.assign(group=scores["group"].astype(str)).dropna(subset=[value])
    for place, look in enumerate(levels.looks.values()):
        mine = rows.loc[rows["group"] == look.group, value].to_numpy(float)
        if len(mine):
            sns.scatterplot(
                x=place + aside + beeswarm(mine, 0.17), y=mine, ax=axes, color=look.colour,
                marker=look.marker, s=marker**2, alpha=alpha, linewidth=0, legend=False,
            )  # fmt: skip


def _bar(
    axes: Axes, place: float, row: pd.DataFrame, column: str, look: Look, filled: bool
) -> None:
    if row.empty or row[column].isna().all():
        return
    value = row.iloc[0]
    axes.vlines(place, value["conf_low"], value["conf_high"], color=INK if filled else look.colour)
    style = {**look.point_style, "markeredgecolor": INK if filled else look.colour}
    axes.plot(
        place,
        value[column],
        **{**style, "markeredgewidth": 1.1, "markerfacecolor": look.colour if filled else PAPER},
    )


def beeswarm(values: np.ndarray, width: float) -> np.ndarray:
    """Sideways shifts that keep points of similar value apart, the same for the same values.

    Examples
    --------
    >>> [round(float(shift), 2) for shift in beeswarm(np.array([1.0, 1.0, 5.0]), 0.2)]
    [-0.07, 0.07, 0.0]
    """
    shifts = np.zeros(len(values))
    if len(values) < 2 or np.ptp(values) == 0:
        return np.linspace(-width, width, len(values)) if len(values) > 1 else shifts
    bins = np.floor((values - values.min()) / (np.ptp(values) / 24)).astype(int)
    for one in np.unique(bins):
        inside = np.flatnonzero(bins == one)
        if len(inside) > 1:
            half = min(width, 0.35 * width * (len(inside) - 1))
            shifts[inside[np.argsort(values[inside], kind="stable")]] = np.linspace(
                -half, half, len(inside)
            )
    return shifts
