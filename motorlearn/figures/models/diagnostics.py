"""Diagnostic figures: the panel of a model, the forest of conclusions, the shift that tips it."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from scipy import stats
from statsmodels.nonparametric.smoothers_lowess import lowess

from motorlearn import digits
from motorlearn.audit import Audit, Sensitivity
from motorlearn.design import Outcome
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.style import (
    FAINT,
    INK,
    SOFT_INK,
    Drawing,
    Levels,
    Size,
    SizeName,
    canvas,
    group_ticks,
    house,
    name_y,
)
from motorlearn.figures.outcomes.effects import effect_forest
from motorlearn.figures.outcomes.scores import swarm

BAND = "#e3e3e3"
_EVERYBODY = "all"
_CROWD = 400
_FEWEST_FOR_A_LINE, _FEWEST_PLACES = 16, 5


def diagnostic_panel(
    audit: Audit,
    *,
    analysis: str | None = None,
    groups: Sequence[str] | None = None,
    outcome: Outcome | None = None,
    size: SizeName = "thesis",
) -> Drawing:
    """Draw residuals of one analysis: over the fit, against the normal, by group, their size.

    Parameters
    ----------
    audit : Audit
        What ``check_assumptions`` gave.
    analysis : str, optional
        Analysis to draw; the first one by default.
    groups : sequence of str, optional
        Groups in the order of the plan.
    outcome : Outcome, optional
        Name and unit for the axis of fitted scores; by default the name that was audited.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.

    Raises
    ------
    InputError
        If the audit holds no residuals, or none of this analysis.
    """
    known = list(dict.fromkeys(audit.residuals["analysis"]))
    if not known:
        raise InputError(
            "this audit has no residuals to draw", [audit.recipe.options.get("audited", "")]
        )
    chosen = analysis if analysis is not None else known[0]
    if chosen not in known:
        raise InputError("the audit has no such analysis", [chosen], f"it has {', '.join(known)}")
    rows = audit.residuals[audit.residuals["analysis"] == chosen]
    rows = rows[np.isfinite(rows["residual"])]
    names = [str(name) for name in (groups or dict.fromkeys(rows["group"])) if name]
    levels = Levels(names or [_EVERYBODY])
    rows = rows.assign(
        group=rows["group"].astype(str) if names else _EVERYBODY,
        size=np.sqrt(rows["residual"].abs()),
    )
    fitted = _fitted_label(audit, outcome)
    with house(size) as used:
        figure, axes = canvas(size, rows=2, columns=2, height=1.45)
        _over_fit(axes[0], rows, "residual", levels, used)
        axes[0].axhline(0, color=SOFT_INK, linewidth=0.8, zorder=0)
        axes[0].set(xlabel=fitted, ylabel="standardised residual", title="over the fit")
        _normal_quantiles(axes[1], rows["residual"].to_numpy())
        _by_group(axes[2], rows, levels, used)
        _over_fit(axes[3], rows, "size", levels, used)
        axes[3].set(xlabel=fitted, ylabel="√|residual|", title="size over the fit")
    return Drawing("diagnostics", figure, *_words(chosen, rows, audit.verdict))


def _words(chosen: str, rows: pd.DataFrame, verdict: str) -> tuple[str, str]:
    """Caption and alternative text of the diagnostic panel."""
    residual = rows["residual"]
    caption = (
        f"Diagnostics of {chosen}, {len(rows)} standardised residuals. Over the fitted score on "
        "the scale of the analysis (logarithms where ratios are compared); against normal "
        "quantiles, with the band that holds 95 % of samples of this size point by point; by "
        "group, bars one standard deviation; square root of their size over the fitted score, with "
        "a smooth line (lowess)."
    )
    alt = (
        f"Four panels of residuals of {chosen}. {len(rows)} points, standard deviation "
        f"{digits.number(float(residual.std()))}, skewness "
        f"{digits.number(float(stats.skew(residual)))}, largest "
        f"{digits.number(float(residual.abs().max()))}. {verdict}"
    )
    return caption, alt


def _chosen(contrast: str | None, labels: list[str]) -> str:
    """The contrast that is asked for, by default the first."""
    chosen = contrast if contrast is not None else labels[0]
    if chosen not in labels:
        raise InputError("there is no such contrast", [chosen], f"use {', '.join(labels)}")
    return chosen


def _own_p(found: Sensitivity) -> str:
    """Which test has a p value that is not that of its interval, where one was run."""
    run = set(found.table.loc[found.table["p"].notna(), "variant"])
    if found.recipe.options.get("within"):
        return "The randomisation test has a p value of its own and the interval of a t test. "
    if "permutation test" not in run:
        return ""
    return "The permutation test has a p value of its own and the interval of the original. "


def conclusion_forest(
    found: Sensitivity,
    *,
    contrast: str | None = None,
    unit: str = "",
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw one contrast under every variant that has its scale, the original first.

    ``unit`` is that of the outcome, for a difference.

    Raises
    ------
    InputError
        If there is no such contrast.
    """
    labels = list(dict.fromkeys(found.table.loc[found.table["contrast"] != "", "contrast"]))
    chosen = _chosen(contrast, labels)
    own = found.table[(found.table["contrast"] == chosen) & found.table["p"].notna()]
    marks = np.where(own["changes"], "* ", "")
    shown = own.assign(name=[f"{mark}{name}" for mark, name in zip(marks, own["variant"])])
    null = float(own["null"].iloc[0])
    label = f"{chosen} ({unit})" if unit and null == 0 else chosen
    drawing = effect_forest(shown, label=label, null=null, summary=(0,), size=size, ax=ax)
    changed = own.loc[own["changes"], "variant"].tolist()
    said = f"The conclusion changes in: {'; '.join(changed)}." if changed else (
        "No variant on this scale changes the conclusion."
    )  # fmt: skip
    ways = found.table.loc[found.table["p"].notna(), "variant"].nunique() - 1
    here = f"{len(own) - 1} of the" if len(own) - 1 < ways else "the"
    others = digits.count(ways, "other way")
    caption = (
        f"Sensitivity of the comparison at {found.analysis}: {chosen}, in {here} {others}, "
        f"with 95 % intervals; the diamond is the analysis as planned. {_own_p(found)}* "
        "marks a changed conclusion. "
        + said
        + (f" Not drawn, since on another scale: {ways - len(own) + 1}." if here != "the" else "")
    )
    first = own.iloc[0]
    alt = (
        f"Forest of {len(own)} estimates of {chosen}. As analysed "
        f"{digits.number(float(first['estimate']))} "
        f"({digits.interval(first['conf_low'], first['conf_high'])}); the variants range from "
        f"{digits.number(float(own['estimate'].min()))} to "
        f"{digits.number(float(own['estimate'].max()))}. {said}"
    )
    return drawing.with_words(caption, alt)


def tipping_path(
    found: Sensitivity,
    *,
    contrast: str | None = None,
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw a contrast over the shift of missing scores, and where the conclusion tips.

    Raises
    ------
    InputError
        If no score was missing, or there is no such contrast.
    """
    labels = list(dict.fromkeys(found.shifts["contrast"]))
    if not labels:
        raise InputError("no missing score was shifted in this analysis")
    chosen = _chosen(contrast, labels)
    path = found.shifts[found.shifts["contrast"] == chosen]
    tip = found.tipping.set_index("contrast").loc[chosen]
    null = float(tip["null"])
    with house(size):
        figure, (axes,) = canvas(size, ax=ax)
        axes.fill_between(path["shift"], path["conf_low"], path["conf_high"], color=BAND)
        axes.plot(path["shift"], path["estimate"], color=INK)
        axes.axhline(null, color=SOFT_INK, linewidth=1.0)
        if np.isfinite(tip["shift"]):
            axes.axvline(tip["shift"], color=INK, linestyle=(0, (4, 2)), linewidth=1.2)
            right = tip["shift"] <= path["shift"].mean()
            axes.annotate(
                f"conclusion changes\nat {digits.number(float(tip['shift']), 1)} SD",
                (tip["shift"], 1.0), (4 if right else -4, -4),
                xycoords=axes.get_xaxis_transform(), textcoords="offset points",
                va="top", ha="left" if right else "right",
            )  # fmt: skip
        axes.set_xlabel(f"shift of {int(tip['missing'])} missing scores (residual SD)")
        axes.margins(x=0)
        name_y(axes, chosen)
    said = (
        f"The conclusion changes at a shift of {digits.number(float(tip['shift']), 1)} residual SD."
        if np.isfinite(tip["shift"])
        else "No shift of up to four residual SDs changes the conclusion."
    )
    caption = (
        f"{chosen} at {found.analysis}, missing scores imputed from the baseline, those on "
        f"one side moved by the shift; 95 % band over imputations. {said}"
    )
    start = path.iloc[(path["shift"].abs()).argmin()]
    alt = (
        f"Line of {chosen} over the shift of missing scores, "
        f"{digits.number(float(start['estimate']))} without a shift. {said}"
    )
    return Drawing("tipping-path", figure, caption, alt, given=ax)


def _fitted_label(audit: Audit, outcome: Outcome | None) -> str:
    """Name the axis of fitted scores: the outcome, and whether its logarithm was analysed."""
    name = audit.recipe.columns.get("outcome", "score")
    if outcome is not None:
        name = outcome.label or outcome.name
    name = name.replace("_", " ")
    if audit.recipe.options.get("effect") == "ratio":
        return f"fitted log {name}"
    unit = f" ({outcome.unit})" if outcome is not None and outcome.unit else ""
    return f"fitted {name}{unit}"


def _over_fit(axes: Axes, rows: pd.DataFrame, value: str, levels: Levels, size: Size) -> None:
    crowded = len(rows) > _CROWD
    sns.scatterplot(
        rows, x="fitted", y=value, hue="group", hue_order=list(levels), palette=levels.palette,
        style="group", style_order=list(levels), markers=levels.markers, legend=False, ax=axes,
        s=(size.marker * (0.4 if crowded else 0.8)) ** 2, alpha=0.5 if crowded else 0.8,
        linewidth=0 if crowded else 0.4,
    )  # fmt: skip
    x, y = rows["fitted"].to_numpy(float), rows[value].to_numpy(float)
    if len(x) >= _FEWEST_FOR_A_LINE and len(np.unique(x)) > _FEWEST_PLACES:
        line = lowess(y, x, frac=2 / 3, delta=0.01 * float(np.ptp(x)))
        axes.plot(*line.T, color=FAINT, linewidth=2.2, zorder=5)


def _normal_quantiles(axes: Axes, residual: np.ndarray) -> None:
    values = np.sort(residual)
    n = len(values)
    rank = np.arange(1, n + 1)
    expected = stats.norm.ppf((rank - 0.375) / (n + 0.25))
    low, high = (stats.norm.ppf(stats.beta.ppf(q, rank, n + 1 - rank)) for q in (0.025, 0.975))
    axes.fill_between(expected, low, high, color=BAND, linewidth=0)
    axes.plot(expected, expected, color=SOFT_INK, linewidth=0.8)
    step = max(1, n // 600)
    edges = (rank <= 30) | (rank > n - 30) | (rank % step == 0)
    axes.plot(expected[edges], values[edges], "o", color=INK, markersize=2.5)
    axes.set_xlabel("normal quantile")
    axes.set_ylabel("standardised residual")
    axes.set_title("against the normal")


def _by_group(axes: Axes, rows: pd.DataFrame, levels: Levels, size: Size) -> None:
    marker = size.marker * (0.4 if len(rows) > _CROWD else 0.8)
    swarm(axes, rows, levels, marker, value="residual", alpha=0.7)
    for place, name in enumerate(levels):
        own = rows.loc[rows["group"] == name, "residual"]
        if len(own) > 1:
            axes.errorbar(place + 0.32, own.mean(), own.std(), color=INK, capsize=3, fmt="_")
    axes.axhline(0, color=SOFT_INK, linewidth=0.8, zorder=0)
    axes.set_xlim(-0.5, len(levels) - 0.4)
    axes.set(xlabel="", ylabel="standardised residual", title="by group (bar: 1 SD)")
    group_ticks(axes, levels)
