"""Figure of generalisability: the coefficient of means over more raters, trials or occasions."""

import numpy as np
from matplotlib.axes import Axes

from motorlearn import digits
from motorlearn.analysis import Generalisability
from motorlearn.analysis.generalisability import short_of
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
)

MOST_LINES = 4
NAMES = {"absolute": "levels counted as error", "relative": "ranks only"}


def decision_curves(
    result: Generalisability,
    *,
    over: str | None = None,
    goal: float = 0.8,
    kind: str = "absolute",
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw the coefficient over the number of conditions of one facet, a line for each of another.

    Further facets stay at their fewest conditions; at most four lines are drawn.

    Parameters
    ----------
    result : Generalisability
        What :func:`motorlearn.analysis.generalisability` gave.
    over : str, optional
        Facet along the axis; the last by default.
    goal : float
        Coefficient drawn as a dashed line.
    kind : {"absolute", "relative"}
        Whether differences in level between conditions count as error.
    size : {"thesis", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.

    Raises
    ------
    InputError
        If the facet or the kind of coefficient is unknown.
    """
    along = result.facets[-1] if over is None else over
    if along not in result.facets or kind not in NAMES:
        raise InputError("there is no such facet or coefficient", [along, kind],
                         f"facets: {', '.join(result.facets)}; {' or '.join(NAMES)}")  # fmt: skip
    lines = next((name for name in result.facets if name != along), None)
    rows = result.decisions
    for name in result.facets:
        if name not in (along, lines):
            rows = rows[rows[name] == rows[name].min()]
    many = [1] if lines is None else sorted(rows[lines].unique())[:MOST_LINES]
    styles = looks([str(number) for number in many])
    with house(size):
        figure, (axes,) = canvas(size, ax=ax)
        axes.axhline(goal, color=SOFT_INK, linestyle=(0, (4, 2)), linewidth=1.0)
        ends = []
        for number, look in zip(many, styles.values()):
            own = rows if lines is None else rows[rows[lines] == number]
            axes.plot(own[along], own[kind], **look.line_style)
            label = f"{lines}: {number}" if lines else ""
            last = own.iloc[-1]
            ends.append(EndLabel(float(last[along]), float(last[kind]), label, look.text_colour))
        axes.set_ylim(max(0.0, np.floor(10 * min(goal, rows[kind].min()) - 0.5) / 10), 1)
        axes.set_xticks(sorted(rows[along].unique()))
        axes.set_xlabel(f"number: {along}")
        axes.set_ylabel("coefficient")
        if lines:
            label_ends(axes, ends)
    each = f", a line for each number of {lines}" if lines else ""
    caption = (
        f"Generalisability coefficient ({NAMES[kind]}) of a learner's mean over more of {along}"
        f"{each}. Dashed: {digits.number(goal)}. From variance components of {result.recipe.n} "
        "scores; estimates without intervals."
    )
    low, high = digits.number(rows[kind].min()), short_of(rows[kind].max(), goal)
    moves = f"stays at {low}" if low == high else f"rises from {low} to {high}"
    alt = (
        f"The coefficient {moves} with more of "
        f"{' and '.join(name for name in (along, lines) if name)}. {result.sentence(goal)}"
    )
    return Drawing("decision-curves", figure, caption, alt, given=ax)
