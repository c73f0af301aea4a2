"""Sessions of one athlete to five, phase by phase: level, trend, variability and overlap."""

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from motorlearn.design import Outcome
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.frames import ask_columns
from motorlearn.figures.drawing.naming import outcome_label
from motorlearn.figures.drawing.panels import many_lines
from motorlearn.figures.drawing.style import (
    FAINT,
    Drawing,
    Levels,
    Look,
    SizeName,
    canvas,
    house,
)


def single_case_graph(
    sessions: pd.DataFrame,
    phases: pd.DataFrame,
    *,
    outcome: Outcome,
    conditions: tuple[str, str],
    alternating: bool = False,
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw the score of every session, one panel for each case, one above the other.

    Phases are parted by a dotted line and their sessions joined. A thick line is the level (mean)
    of a phase, a thin sloping one its trend, the band its variability (mean and one SD); where the
    bands of neighbouring phases share scores the phases overlap.

    Parameters
    ----------
    sessions : DataFrame
        ``case, session, phase, condition, score``, as ``SingleCase.sessions``.
    phases : DataFrame
        ``case, phase, condition, first, last, mean, slope, sd``, as ``SingleCase.phases``.
    outcome : Outcome
        Name, unit and better direction of the score.
    conditions : (str, str)
        Names of A and B.
    alternating : bool
        Whether conditions alternate, so that the sessions of a condition are joined across others.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into, where there is one case.

    Raises
    ------
    InputError
        If there is no session.
    """
    ask_columns(sessions, ("case", "session", "phase", "condition", "score"), "a single-case graph")
    cases = list(dict.fromkeys(sessions["case"]))
    if not cases:
        raise InputError("there is no session to draw", None, "give the sessions of a single case")
    named = dict(Levels(conditions).looks)
    with house(size) as chosen:
        figure, panels = canvas(
            size, rows=len(cases), height=max(1.0, 0.6 * len(cases)), share_x=len(cases) > 1, ax=ax
        )
        for axes, case in zip(panels, cases):
            mine = sessions[sessions["case"] == case]
            _draw_case(axes, mine, phases[phases["case"] == case], named, alternating=alternating)
            if len(cases) > 1:
                many_lines(axes, str(case))
        for axes in panels:
            axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        panels[-1].set_xlabel("session")
        if len(cases) > 1:
            figure.supylabel(outcome_label(outcome), fontsize=chosen.font)
        else:
            panels[0].set_ylabel(outcome_label(outcome))
        panels[0].legend(loc="best", frameon=False)
    return Drawing("single-case", figure, *_words(phases, outcome, conditions), given=ax)


def _draw_case(
    axes: Axes,
    sessions: pd.DataFrame,
    phases: pd.DataFrame,
    named: dict[str, Look],
    *,
    alternating: bool,
) -> None:
    key = "condition" if alternating else "phase"
    for _, rows in sessions.groupby(key, sort=False):
        look = named[str(rows["condition"].iloc[0])]
        line = {**look.line_style, "linewidth": 0.9, "alpha": 0.8}
        axes.plot(rows["session"], rows["score"], **line)
    for row in phases.itertuples():
        _draw_phase(axes, row, named[str(row.condition)])
    if not alternating:
        last = phases["last"].to_numpy()[:-1]
        for end, start in zip(last, phases["first"].to_numpy()[1:]):
            axes.axvline((end + start) / 2, color=FAINT, linewidth=0.9, linestyle=":")
    seen = set()
    for handle in axes.lines:
        handle.set_label("_")
    for condition in sessions["condition"]:
        if condition not in seen:
            seen.add(condition)
            axes.plot([], [], label=condition, **named[condition].line_style)


def _draw_phase(axes: Axes, row: "object", look: Look) -> None:
    first, last = row.first - 0.3, row.last + 0.3  # type: ignore[attr-defined]
    mean, sd, slope = row.mean, row.sd, row.slope  # type: ignore[attr-defined]
    axes.plot([first, last], [mean, mean], color=look.colour, linewidth=2.2)
    if sd == sd:
        axes.fill_between(
            [first, last], mean - sd, mean + sd, color=look.colour, alpha=0.12, linewidth=0
        )
    if slope == slope:
        half = slope * (last - first) / 2
        axes.plot([first, last], [mean - half, mean + half], color=look.colour, linewidth=0.8,
                  linestyle="--")  # fmt: skip


def _words(phases: pd.DataFrame, outcome: Outcome, conditions: tuple[str, str]) -> tuple[str, str]:
    caption = (
        f"{outcome_label(outcome)} session by session under {conditions[0]} and {conditions[1]}. "
        "Thick lines: level (mean) of a phase; broken lines: its trend (least squares); bands: its "
        "variability (one SD to either side of the mean). Dotted lines part the phases."
    )
    told = "; ".join(
        f"{row.case}, {row.condition}, sessions {row.first} to {row.last}: mean {row.mean:.3g}"
        for row in phases.itertuples()
    )
    return caption, f"Scores by session. {told}."
