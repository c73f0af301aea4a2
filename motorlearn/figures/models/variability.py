"""How variable a typical performer is under each condition."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from motorlearn import digits
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.labels import log_ticks
from motorlearn.figures.drawing.style import Drawing, SizeName, canvas, house
from motorlearn.mixed import VariabilityFit
from motorlearn.vocabulary import capitalised


def modelled_spreads(
    fit: VariabilityFit,
    *,
    by: str | Sequence[str],
    label: str,
    ending: str = "",
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw standard deviations within a typical performer, with intervals, on a log axis.

    Parameters
    ----------
    fit : VariabilityFit
        A model of level and spread.
    by : str or sequence of str
        Categories of the spread whose combinations make the rows.
    label : str
        What the outcome is, with its unit.
    ending : str
        Ends the name of the figure, where there are several.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.

    Raises
    ------
    InputError
        If the spread follows none of the categories.
    """
    named = [by] if isinstance(by, str) else list(by)
    asked = [name for name in named if name in fit.of_spread.design.fixed.levels]
    if not asked:
        raise InputError("the spread follows none of these categories", named)
    found = fit.spreads(asked).frame
    rows = found[asked].astype(str).agg(", ".join, axis=1)
    estimate = found["estimate"].to_numpy()
    gaps = np.abs([estimate - found["conf_low"], found["conf_high"] - estimate])
    with house(size):
        figure, panels = canvas(size, ax=ax)
        axes, places = panels[0], np.arange(len(found))
        axes.errorbar(estimate, places, xerr=gaps, fmt="o", color="black", capsize=3)
        axes.set_xscale("log")
        ticks = log_ticks(float((estimate - gaps[0]).min()), float((estimate + gaps[1]).max()))
        axes.set_xticks(ticks, [digits.plain(tick, 3) for tick in ticks])
        axes.minorticks_off()
        axes.set_yticks(places, list(rows))
        axes.margins(y=0.2)
        axes.set_xlabel(f"{label}: standard deviation within a person")
        axes.invert_yaxis()
    told = [f"{row} {digits.significant(value)}" for row, value in zip(rows, estimate, strict=True)]
    caption = (
        f"{capitalised(label)}: standard deviation of a typical performer's scores about "
        "their own mean, with 95 % intervals, from a model of level and spread; equal distances "
        "are equal ratios."
    )
    alt = f"Standard deviations with 95 % intervals: {'; '.join(told)}."
    name = f"modelled-spreads-{ending}" if ending else "modelled-spreads"
    return Drawing(name, figure, caption, alt, given=ax)
