"""Test scores by group: every participant, the mean with its interval, and the adjusted mean."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from motorlearn.design import Outcome
from motorlearn.exceptions import InputError
from motorlearn.figures.practice import outcome_label
from motorlearn.figures.style import PAPER, Drawing, Look, SizeName, canvas, folded, house, looks
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
    size : {"thesis", "slide"}
        Where the figure will be used.

    Raises
    ------
    InputError
        If none of the tests has a score.
    """
    shown = [phase for phase in phases if (scores["phase"] == phase).any()]
    if not shown:
        raise InputError("no test has a score to draw", phases, "check the phases of the trials")
    with house(size) as chosen:
        figure, panels = canvas(size, columns=len(shown), share_y=True)
        for axes, phase in zip(panels, shown, strict=True):
            for place, look in enumerate(looks(groups).values()):
                points = _pick(scores, phase, look.group)["score"].dropna().to_numpy()
                _dots(axes, place - 0.2, points, look, chosen.marker)
                _bar(axes, place + 0.12, _pick(means, phase, look.group), "mean", look, True)
                if adjusted is not None:
                    row = _pick(adjusted, phase, look.group)
                    _bar(axes, place + 0.36, row, "estimate", look, False)
            axes.set_xlim(-0.55, len(groups) - 0.4)
            room = 6.0 / (len(shown) * len(groups))
            axes.set_xticks(range(len(groups)), [folded(name, room) for name in groups])
            axes.set_title(PHASE_LABELS.get(phase, phase))
        panels[0].set_ylabel(outcome_label(outcome))
    return Drawing("test-scores", figure)


def _pick(frame: pd.DataFrame, phase: str, group: str) -> pd.DataFrame:
    return frame[(frame["phase"] == phase) & (frame["group"] == group)]


def _dots(axes: Axes, place: float, values: np.ndarray, look: Look, marker: float) -> None:
    axes.plot(
        place + beeswarm(values, 0.17),
        values,
        linestyle="none",
        marker=look.marker,
        markersize=marker * 0.62,
        color=look.colour,
        alpha=0.45,
        markeredgewidth=0,
    )


def _bar(
    axes: Axes, place: float, row: pd.DataFrame, column: str, look: Look, filled: bool
) -> None:
    if row.empty or row[column].isna().all():
        return
    value = row.iloc[0]
    axes.vlines(place, value["conf_low"], value["conf_high"], color=look.colour)
    style = {**look.point_style, "markeredgecolor": look.colour, "markeredgewidth": 1.3}
    axes.plot(
        place, value[column], **{**style, "markerfacecolor": look.colour if filled else PAPER}
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
