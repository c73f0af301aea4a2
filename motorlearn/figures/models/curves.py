"""Learning curves: single fits side by side, parameters by group, the population, residuals."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from motorlearn.curves import CurveFit, CurveFits, PopulationCurve, named_form
from motorlearn.digits import number, plain
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.levels import in_order
from motorlearn.figures.drawing.panels import many_lines, small_title
from motorlearn.figures.drawing.style import (
    FAINT,
    INK,
    SOFT_INK,
    Drawing,
    SizeName,
    canvas,
    house,
    looks,
)

MOST_PANELS = 30


def individual_fits(
    fits: CurveFits,
    rows: pd.DataFrame,
    outcome: str,
    *,
    practice: str,
    label: str,
    practice_label: str = "practice trial",
    learners: Sequence[object] | None = None,
    group: str | None = None,
    columns: int = 5,
    size: SizeName = "thesis",
) -> Drawing:
    """Draw each learner's scores with the preferred curve, one small panel per learner.

    Parameters
    ----------
    fits : CurveFits
        Fits by one column, for example ``participant``.
    rows : DataFrame
        The rows that were fitted.
    outcome, practice : str
        Columns of scores and practice counts.
    label, practice_label : str
        Axis labels, with units.
    learners : sequence, optional
        Which learners, at most 30; the first ones if not given.
    group : str, optional
        Column of groups: learners of a group stand in rows of their own, named at the left.
    columns : int
        Panels beside each other.
    size : {"thesis", "slide"}
        Where the figure will be used.

    Raises
    ------
    InputError
        If the fits are by several columns, of hits, or of other learners than asked for.
    """
    if len(fits.by) != 1 or fits.family != "gaussian":
        raise InputError("small panels need fits of scores by one column", fits.by)
    key = fits.by[0]
    known = fits.preferred.set_index(key)
    chosen = list(known.index[:MOST_PANELS] if learners is None else learners)[:MOST_PANELS]
    absent = [name for name in chosen if name not in known.index]
    if absent or not chosen:
        raise InputError("there are no fits of these learners", absent)
    columns = min(columns, len(chosen))
    slots, marks = _slots(chosen, rows, key, group, columns)
    lines = len(slots) // columns
    with house(size):
        figure, panels = canvas(
            size, rows=lines, columns=columns, height=0.18 + 0.34 * lines, share_y=True
        )
        for panel, name in zip(panels, slots):
            if name is None:
                panel.set_axis_off()
                continue
            part = rows[rows[key] == name]
            panel.plot(part[practice], part[outcome], "o", color=FAINT, ms=2.2, mew=0)
            _one_fit(panel, fits, name, known.loc[name], (part[practice], part[outcome]))
        for place, mark in marks.items():
            panels[place].set_ylabel(mark, fontsize="small", fontweight="bold")
        figure.supxlabel(practice_label, fontsize="medium")
        figure.supylabel(label, fontsize="medium")
    counts = pd.Series([_drawn(fits, name, known.loc[name])[0] for name in chosen]).value_counts()
    share = ", ".join(f"{name} {count}" for name, count in counts.items())
    return Drawing(
        "individual-curves",
        figure,
        f"Scores (dots) and best curve (line) of {len(chosen)} learners. The heading "
        f"{_heading(fits)}, or that a level line fits as well; a broken line is a curve whose "
        "status is not ok.",
        f"{len(chosen)} small panels: {label}, against {practice_label}. Preferred form: {share}.",
    )


def _heading(fits: CurveFits) -> str:
    if fits.too_few_for_aicc()[1]:
        return "says that there are too few scores for AICc to prefer a form (the closer is drawn)"
    return "names the form preferred by AICc, or says that neither leads by 2 (the better is drawn)"


def _slots(
    chosen: list[Any], rows: pd.DataFrame, key: str, group: str | None, columns: int
) -> tuple[list[Any], dict[int, str]]:
    """Learner of each panel, none where it stays empty; name of the group where its rows begin."""
    groups = {None: chosen}
    if group is not None:
        of = rows.drop_duplicates(key).set_index(key)[group].loc[chosen]
        groups = {name: list(part.index) for name, part in of.groupby(of, sort=False)}
    slots: list[Any] = []
    marks: dict[int, str] = {}
    for name, members in groups.items():
        if name is not None:
            marks[len(slots)] = str(name)
        slots += [*members, *[None] * (-len(members) % columns)]
    return slots, marks


def _one_fit(
    axes: Axes,
    fits: CurveFits,
    name: object,
    verdict: pd.Series,
    scores: tuple[pd.Series, pd.Series],
) -> None:
    heading, found = _drawn(fits, name, verdict)
    small_title(axes, str(name), heading)
    axes.xaxis.set_major_locator(MaxNLocator(4, integer=True))
    axes.tick_params(labelsize="x-small")
    if found.empty:
        return
    row = found.iloc[0]
    n = np.linspace(float(scores[0].min()), float(scores[0].max()), 120)
    curve = fits.line(row, n, *scores)
    style = "-" if row["status"] == "ok" else (0, (3, 1.5))
    axes.plot(n, curve, color=INK, linestyle=style, linewidth=1.4)


def _drawn(fits: CurveFits, name: object, verdict: pd.Series) -> tuple[str, pd.DataFrame]:
    """Heading of a panel, and the row of the fit that is drawn in it (none without a fit)."""
    form, own = str(verdict["form"]), fits.table[fits.table[fits.by[0]] == name]
    rows = own[own["form"] == verdict["best"]]
    if rows.empty:  # too few scores for AICc, which then prefers none
        rows = own.dropna(subset=["loglik"]).nlargest(1, "loglik")
    level = form == "no change" or (rows["status"] == "no change").any()
    return "level" if level else form, rows


def population_curve(
    fit: PopulationCurve,
    *,
    label: str,
    practice_label: str = "practice block",
    order: Sequence[str] | None = None,
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw the population curve of each group over the curves of its learners.

    Parameters
    ----------
    fit : PopulationCurve
        The fit.
    label, practice_label : str
        Axis labels, with units.
    order : sequence of str, optional
        Groups in the order of the plan, which settles their looks.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw the curve of one group into.
    """
    seen = fit.residuals["practice"]
    n = np.linspace(float(seen.min()), float(seen.max()), 100)
    shown, learners = fit.predict(n), fit.learner_curves(n)
    styles, groups = looks(order or fit.groups), in_order(fit.groups, order)
    with house(size):
        figure, panels = canvas(size, columns=len(groups), share_y=True, ax=ax)
        for axes, group in zip(panels, groups):
            look = styles[group]
            own = fit.participants[fit.participants["group"] == group]
            for curve in learners[(fit.participants["group"] == group).to_numpy()]:
                axes.plot(n, curve, color=look.colour, alpha=0.25, linewidth=0.6)
            part = shown[shown["group"] == group]
            band = (part["conf_low"], part["conf_high"])
            axes.fill_between(n, *band, color=look.colour, alpha=0.25, linewidth=0)
            axes.plot(n, part["estimate"], color=look.colour, linestyle=look.line)
            many_lines(axes, f"{group} (n = {len(own)})" if group else f"n = {len(own)}")
            axes.set_xlabel(practice_label)
            axes.xaxis.set_major_locator(MaxNLocator(5, integer=True))
        panels[0].set_ylabel("probability of a hit" if fit.family == "binomial" else label)
    ends = shown.groupby("group", sort=False)["estimate"].agg(["first", "last"]).loc[groups]
    told = "; ".join(
        f"{name or 'all'} from {plain(row['first'], 3)} to {plain(row['last'], 3)}"
        for name, row in ends.iterrows()
    )
    return Drawing(
        "population-curve",
        figure,
        f"Population curve ({named_form(fit.form).title}; thick line) with its 95 % confidence "
        "band, over the curves of single learners (thin lines), which are drawn towards it.",
        f"{label} against {practice_label}: {told}.",
        given=ax,
    )


def curve_residuals(
    fit: CurveFit | PopulationCurve,
    *,
    label: str,
    practice_label: str = "practice trial",
    size: SizeName = "thesis",
) -> Drawing:
    """Draw what the curve leaves: residuals against practice and against the residual before.

    Parameters
    ----------
    fit : CurveFit or PopulationCurve
        The fit.
    label, practice_label : str
        Axis labels, with units.
    size : {"thesis", "slide"}
        Where the figure will be used.
    """
    n, residual, before, after = _pairs(fit)
    lag = float(np.corrcoef(before, after)[0, 1]) if np.ptp(before) > 0 else 0.0
    with house(size):
        figure, (left, right) = canvas(size, columns=2, width_ratios=(1.7, 1.0))
        left.axhline(0, color=SOFT_INK, linewidth=0.8)
        left.plot(n, residual, "o", color=FAINT, markersize=3, markeredgewidth=0)
        places, means = _running_mean(n, residual)
        left.plot(places, means, color=INK)
        left.set(xlabel=practice_label, ylabel=f"residual, {label}")
        left.set_title("line: running mean", fontweight="normal")
        right.axhline(0, color=SOFT_INK, linewidth=0.8)
        right.axvline(0, color=SOFT_INK, linewidth=0.8)
        right.plot(before, after, "o", color=FAINT, markersize=3, markeredgewidth=0)
        right.set(xlabel="residual before", ylabel="residual")
        right.set_title(f"lag 1: r = {number(lag)}", fontweight="normal")
    return Drawing(
        "curve-residuals",
        figure,
        "Residuals of the curve against practice, with their running mean, and against the "
        "residual before. A trend means that the form does not fit, a slope at the right that "
        "neighbouring scores are related.",
        f"Residuals of {label}; correlation with the residual before {number(lag)}.",
    )


def _pairs(fit: CurveFit | PopulationCurve) -> tuple[np.ndarray, ...]:
    if isinstance(fit, PopulationCurve):
        if not len(fit.residuals):
            raise InputError("there are no residuals to draw")
        rows = fit.residuals.sort_values(["participant", "practice"], kind="stable")
        same = rows["participant"].to_numpy()[1:] == rows["participant"].to_numpy()[:-1]
        n, residual = rows["practice"].to_numpy(float), rows["residual"].to_numpy(float)
        return n, residual, residual[:-1][same], residual[1:][same]
    if len(fit.residuals) < 3:
        raise InputError("there are too few residuals to draw", [len(fit.residuals)])
    order = np.argsort(fit.practice, kind="stable")
    n, residual = fit.practice[order], fit.residuals[order]
    return n, residual, residual[:-1], residual[1:]


def _running_mean(n: np.ndarray, residual: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Means of residuals in runs of practice."""
    order = np.argsort(n, kind="stable")
    runs = np.array_split(order, min(12, max(len(np.unique(n)), 1)))
    runs = [run for run in runs if len(run)]
    return (
        np.array([n[run].mean() for run in runs]),
        np.array([residual[run].mean() for run in runs]),
    )
