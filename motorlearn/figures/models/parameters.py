"""Parameters of the population curve by group, over those of its learners."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from scipy.stats import t

from motorlearn.curves import PopulationCurve
from motorlearn.digits import percent, plain
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.labels import log_ticks
from motorlearn.figures.drawing.levels import in_order
from motorlearn.figures.drawing.style import (
    Drawing,
    Look,
    SizeName,
    canvas,
    house,
    looks,
    name_x,
    thin_ticks,
)


def parameter_forest(
    fit: PopulationCurve,
    *,
    unit: str = "",
    level: float = 0.95,
    order: Sequence[str] | None = None,
    size: SizeName = "thesis",
) -> Drawing:
    """Draw each group's asymptote, gain (or start) and rate with intervals, over its learners.

    Parameters
    ----------
    fit : PopulationCurve
        The fit.
    unit : str
        Unit of the scores.
    level : float
        Confidence level of the intervals.
    order : sequence of str, optional
        Groups in the order of the plan, which settles their looks.
    size : {"thesis", "slide"}
        Where the figure will be used.

    Raises
    ------
    InputError
        If no parameter has an estimate.
    """
    if not np.isfinite(fit.estimates["estimate"]).any():
        raise InputError("the population curve has no estimate to draw", [fit.form])
    groups = in_order(fit.groups, order)
    # A fit without groups names its one group "", whatever the plan calls it.
    styles = looks(order if order and set(groups) <= set(order) else groups)
    names = ("asymptote", fit.amount, "log_rate")
    with house(size):
        figure, panels = canvas(size, columns=3, share_y=True, height=0.35 + 0.16 * len(fit.groups))
        for column, (axes, name) in enumerate(zip(panels, names)):
            for place, group in enumerate(groups):
                own = fit.participants.loc[fit.participants["group"] == group, name]
                _forest_row(
                    axes,
                    -place,
                    _group_interval(fit, name, group, level),
                    own,
                    styles[group],
                    name == "log_rate",
                )
            _forest_axes(axes, name, unit, fit)
            if column == 0:
                axes.set_yticks(
                    [-k for k in range(len(groups))], [group or "all" for group in groups]
                )
            axes.tick_params(axis="y", length=0)
        thin_ticks(panels[-1])
    apart = " by group" if len(fit.groups) > 1 else ""
    return Drawing(
        "curve-parameters",
        figure,
        f"Parameters of the population curve{apart}: estimate{_intervals_told(fit, level)} "
        "(large marker), and learners' own values, drawn towards the population (dots).",
        "Forest of asymptote, "
        + fit.amount
        + f" and rate{apart}: "
        + _forest_words(fit, groups, level),
    )


def _intervals_told(fit: PopulationCurve, level: float) -> str:
    if fit.estimates["std_error"].isna().all():
        return " without an interval"
    others = "; those of other groups by standard errors" if len(fit.groups) > 1 else ""
    return f" and {percent(level)} interval{others}"


def _group_interval(fit: PopulationCurve, name: str, group: str, level: float) -> np.ndarray:
    """Estimate and interval of one parameter of one group."""
    terms = fit.estimates["term"].tolist()
    pick = np.zeros(len(terms))
    pick[terms.index(name)] = 1.0
    own = f"{name}[{group}]"
    first = group == fit.groups[0]
    if own in terms:
        pick[terms.index(own)] = 1.0
    estimate = float(pick @ fit.estimates["estimate"].to_numpy())
    told = fit.estimates.iloc[terms.index(name)]
    if np.isnan(told["std_error"]):  # what has no error in the table has no interval here
        return np.array([estimate, np.nan, np.nan])
    if first and level == fit.recipe.options["level"]:
        return np.array([told[name] for name in ("estimate", "conf_low", "conf_high")], dtype=float)
    error = float(np.sqrt(max(pick @ fit.vcov @ pick, 0.0)))
    df = float(fit.estimates["df"].iloc[terms.index(name)])
    half = float(t.isf((1 - level) / 2, df)) * error
    return np.array([estimate, estimate - half, estimate + half])


def _forest_row(
    axes: Axes, y: float, interval: np.ndarray, own: pd.Series, look: Look, as_rate: bool
) -> None:
    values = np.exp(interval) if as_rate else interval
    learners = np.exp(own) if as_rate else own
    jitter = y - 0.22 + 0.06 * np.cos(np.arange(len(own)) * 2.4)
    axes.plot(
        learners, jitter, "o", color=look.colour, alpha=0.35, markersize=2.5, markeredgewidth=0
    )
    axes.plot(values[1:], [y, y], color=look.colour, solid_capstyle="butt")
    axes.plot(values[:1], [y], **look.point_style)


def _forest_axes(axes: Axes, name: str, unit: str, fit: PopulationCurve) -> None:
    scale = "logit" if fit.family == "binomial" else unit
    label = "rate per unit of practice" if name == "log_rate" else name
    name_x(axes, label if name == "log_rate" or not scale else f"{label} ({scale})")
    axes.set_ylim(-len(fit.groups) + 0.45, 0.45)
    if name == "log_rate":
        axes.set_xscale("log")
        axes.minorticks_off()
        low, high = axes.get_xlim()
        ticks = log_ticks(low, high)
        axes.set_xticks(ticks, [plain(tick, 2) for tick in ticks])
    else:
        axes.locator_params(axis="x", nbins=4)
    axes.grid(axis="x", color="#e3e3e3", linewidth=0.6)
    axes.set_axisbelow(True)


def _forest_words(fit: PopulationCurve, groups: Sequence[str], level: float) -> str:
    words = ""
    for group in groups:
        low, high = _group_interval(fit, "asymptote", group, level)[1:]
        span = f"{plain(low, 3)} to {plain(high, 3)}" if low <= high < np.inf else "not estimated"
        words += f"{'; ' if words else ''}{group or 'all'} asymptote {span}"
    return words + "."
