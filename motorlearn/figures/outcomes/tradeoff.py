"""Speed beside the outcome: the way of each person and of each group from test to test."""

from collections.abc import Mapping, Sequence
from typing import TypeAlias

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.transforms import BboxBase

from motorlearn.design import Outcome
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.extents import settle
from motorlearn.figures.drawing.frames import ask_columns, drawn_levels
from motorlearn.figures.drawing.labels import shortened
from motorlearn.figures.drawing.naming import outcome_label
from motorlearn.figures.drawing.style import INK, Drawing, Levels, Look, SizeName, canvas, house

_FAINT = 0.3

End: TypeAlias = tuple[str, np.ndarray, np.ndarray]
"""Name of a test, the mean there, and the mean next to it on the way."""


def speed_and_outcome(
    people: pd.DataFrame,
    *,
    outcome: Outcome,
    groups: Sequence[str],
    tests: Mapping[str, str],
    unit: str = "",
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw each group's way through speed and outcome, and the first and last test of everybody.

    A way upwards and to the left is a gain with slower trials; where less is better, downwards.

    Parameters
    ----------
    people : DataFrame
        ``participant, group, stage, speed, outcome``: one row for each person and test.
    outcome : Outcome
        Name, unit and better direction of the score.
    groups : sequence of str
        Groups in the order of the plan.
    tests : mapping of str to str
        Labels of the tests by their stage, in order.
    unit : str
        Unit of speed.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.

    Raises
    ------
    InputError
        If nobody has speed and outcome at two of the tests.

    Examples
    --------
    >>> people = pd.DataFrame({
    ...     "participant": list("abab"), "group": "random",
    ...     "stage": ["pretest", "pretest", "retention", "retention"],
    ...     "speed": [2.1, 2.3, 1.8, 1.9], "outcome": [38.0, 36.0, 28.0, 25.0],
    ... })
    >>> drawing = speed_and_outcome(
    ...     people, outcome=Outcome(name="radial_error", better="lower", unit="cm"),
    ...     groups=["random"], unit="m/s",
    ...     tests={"pretest": "Pretest", "retention": "Delayed retention test"},
    ... )
    >>> drawing.axes[0].get_xlabel(), drawing.axes[0].get_ylabel()
    ('speed (m/s)', 'radial error (cm), lower is better')
    """
    ask_columns(people, ("participant", "group", "stage", "speed", "outcome"), "this figure")
    rows = people[people["stage"].isin(list(tests))].dropna(subset=["speed", "outcome"])
    order = [name for name in tests if (rows["stage"] == name).any()]
    if len(order) < 2:
        raise InputError("nobody has speed and outcome at two of the tests", list(tests))
    levels = Levels(groups)
    with house(size) as chosen:
        present = drawn_levels(rows, levels)
        figure, panels = canvas(size, ax=ax)
        ends: list[End] = []
        for look in present:
            mine = rows[rows["group"].astype(str) == look.group]
            _people(panels[0], mine, order, look, chosen.marker)
            named = len(present) > 1
            ends += _way(panels[0], mine, order, look, chosen.marker, tests, name=named)
        panels[0].set_xlabel(f"speed ({unit})" if unit else "speed")
        panels[0].set_ylabel(outcome_label(outcome))
        if len(present) > 1:
            panels[0].legend(frameon=False)
        _name_ends(panels[0], ends, chosen.marker)
    return Drawing("speed-beside", figure, *_words(outcome, levels, order, tests), given=ax)


def _words(
    outcome: Outcome, levels: Levels, order: Sequence[str], tests: Mapping[str, str]
) -> tuple[str, str]:
    way = "up" if outcome.better == "higher" else "down"
    name, first, last = outcome_label(outcome), tests[order[0]], tests[order[-1]]
    caption = (
        f"{name}, over speed. Large symbols: group means at every test, joined in their order; "
        f"thin lines: {first} to {last} of each participant, the symbol at the last. A way {way} "
        "and to the left is a gain with slower trials."
    )
    return caption, f"{name}, against speed for {', '.join(levels)}, tests joined by lines."


def _people(
    axes: Axes, rows: pd.DataFrame, order: Sequence[str], look: Look, marker: float
) -> None:
    """A thin line from the first to the last test of each person."""
    ends = rows[rows["stage"].isin([order[0], order[-1]])]
    for _, person in ends.groupby("participant", sort=False):
        part = person.set_index("stage").reindex([order[0], order[-1]]).dropna()
        axes.plot(part["speed"], part["outcome"], color=look.colour, alpha=_FAINT, linewidth=0.8)
        last = part[part.index == order[-1]]
        axes.plot(
            last["speed"], last["outcome"], look.marker, color=look.colour, alpha=_FAINT,
            markersize=marker * 0.6, markeredgewidth=0,
        )  # fmt: skip


def _way(
    axes: Axes,
    rows: pd.DataFrame,
    order: Sequence[str],
    look: Look,
    marker: float,
    tests: Mapping[str, str],
    *,
    name: bool,
) -> list[End]:
    """Means of the group at every test, joined in their order; gives its ends and their names."""
    means = rows.groupby("stage")[["speed", "outcome"]].mean().reindex(list(order))
    axes.plot(
        means["speed"], means["outcome"], color=look.text_colour, marker=look.marker,
        markersize=marker * 1.4, markeredgecolor=INK, label=look.group if name else None,
    )  # fmt: skip
    return [
        (tests[stage], means.loc[stage].to_numpy(), means.loc[other].to_numpy())
        for stage, other in ((order[0], order[1]), (order[-1], order[-2]))
    ]


def _name_ends(axes: Axes, ends: Sequence[End], marker: float) -> None:
    """Name the first and the last test of each way, where no name stands yet.

    The side away from the way comes first, then the other sides of the point; a name that finds
    none of them free is left out.
    """
    figure = axes.get_figure(root=True)
    assert figure is not None
    settle(figure)
    taken: list[BboxBase] = []
    for label, here, other in ends:
        right, above = (1 if value else -1 for value in here >= other)
        for x, y in ((right, above), (right, -above), (-right, above), (-right, -above)):
            text = axes.annotate(
                shortened(label, 24),
                (here[0], here[1]),
                xytext=(1.2 * marker * x, 1.2 * marker * y),
                textcoords="offset points",
                ha="left" if x > 0 else "right",
                va="bottom" if y > 0 else "top",
                fontsize="small",
                color=INK,
                bbox={"facecolor": "white", "alpha": 0.75, "edgecolor": "none", "pad": 0.5},
            )
            box = text.get_window_extent()
            if not any(box.overlaps(one) for one in taken):
                taken.append(box)
                break
            text.remove()
