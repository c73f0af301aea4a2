"""Figures of rater agreement: limits of agreement, and drift over the order of clips."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from motorlearn import digits
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.labels import shortened
from motorlearn.figures.drawing.levels import COLOURS
from motorlearn.figures.drawing.style import (
    INK,
    SOFT_INK,
    Drawing,
    EndLabel,
    SizeName,
    canvas,
    house,
    label_ends,
    looks,
    name_x,
    name_y,
)
from motorlearn.measures import Agreement

BAND = "#e3e3e3"


def bland_altman(
    result: Agreement,
    *,
    pair: tuple[str, str] | None = None,
    unit: str = "points",
    methods: bool = False,
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw the difference of two raters over their mean, with limits of agreement.

    Parameters
    ----------
    result : Agreement
        What ``rater_agreement`` gave for scores.
    pair : (str, str), optional
        Raters; the first pair by default.
    unit : str
        Unit of the score.
    methods : bool
        Whether two methods are compared and not two raters, as landmarks with raters.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.

    Raises
    ------
    InputError
        If there are no limits of agreement, or none for this pair.
    """
    row = _row_of(result.limits, pair, "they need numeric scores of three items")
    wide = result.scores.pivot(index="item", columns="rater", values="score")
    both = wide[[row["first"], row["second"]]].dropna()
    middle, gap = both.mean(axis=1), both[row["first"]] - both[row["second"]]
    with house(size):
        figure, (axes,) = canvas(size, height=1.05, ax=ax)
        for name in ("lower", "bias", "upper"):
            axes.axhspan(row[f"{name}_low"], row[f"{name}_high"], color=BAND, linewidth=0)
        for name, style in (("lower", (0, (5, 2))), ("bias", "-"), ("upper", (0, (5, 2)))):
            axes.axhline(row[name], color=INK, linestyle=style, linewidth=1.2)
        axes.plot(*_apart(middle.to_numpy(), gap.to_numpy()), "o", color=COLOURS[0], alpha=0.7,
                  markersize=4)  # fmt: skip
        ends = np.array([middle.min(), middle.max()])
        line = row["bias"] + row["slope"] * (ends - middle.mean())
        axes.plot(ends, line, color=COLOURS[5], linestyle=(0, (1, 1.2)))
        first, second = (shortened(str(row[name])) for name in ("first", "second"))
        name_x(axes, f"mean of {first} and {second} ({unit})")
        name_y(axes, f"{first} − {second} ({unit})")
        right = axes.get_xlim()[1]
        axes.set_xlim(right=right)
        label_ends(
            axes,
            [
                EndLabel(right, row["upper"], f"upper limit {digits.number(row['upper'])}"),
                EndLabel(right, row["bias"], f"bias {digits.number(row['bias'])}"),
                EndLabel(right, row["lower"], f"lower limit {digits.number(row['lower'])}"),
            ],
        )
    words = _limits_in_words(row, methods=methods)
    return Drawing("bland-altman", figure, *words, given=ax)


def _limits_in_words(row: pd.Series, *, methods: bool) -> tuple[str, str]:
    caption = (
        f"Difference between {'' if methods else 'raters '}{row['first']} and {row['second']} over "
        "their mean, "
        f"{int(row['n'])} items. Dashed: limits that hold 95 % of differences; grey: 95 % "
        "intervals; dotted: slope of the difference on the mean. Points that coincide are moved "
        "apart a little."
    )
    alt = (
        f"Scatter of {int(row['n'])} differences between two {'methods' if methods else 'raters'}. "
        f"Bias "
        f"{digits.number(row['bias'])} ({digits.interval(row['bias_low'], row['bias_high'])}), "
        f"limits {digits.interval(row['lower'], row['upper'])}, slope "
        f"{digits.number(row['slope'])} ({digits.p_clause(row['slope_p'])})."
    )
    return caption, alt


def rater_drift(
    result: Agreement,
    *,
    window: int | None = None,
    unit: str = "points",
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw each rater's scores minus the others' over clip order, as running means and lines.

    Raises
    ------
    InputError
        If the ratings have no clip order, or no item has two raters.
    """
    if "order" not in result.scores or result.drift.empty:
        raise InputError("drift needs the order of clips", remedy="give order= to rater_agreement")
    rows = _against_others(result.scores)
    if rows.empty:
        raise InputError("drift against other raters needs items with two raters")
    raters = sorted(rows["rater"].unique())
    pair = len(raters) == 2  # the gap of one is that of the other turned round
    styles = looks(raters[:1] if pair else raters)
    against = f"rater {shortened(str(raters[1]))}" if pair else "the mean of the other raters"
    drift = result.drift[result.drift["basis"] == "minus other raters"].set_index("rater")
    with house(size):
        figure, (axes,) = canvas(size, ax=ax)
        axes.axhline(0, color=SOFT_INK, linewidth=0.8)
        ends = []
        for name, look in styles.items():
            own = rows[rows["rater"] == name].sort_values("order")
            width = window or max(5, len(own) // 10)
            mean = own["gap"].rolling(width, center=True, min_periods=max(2, width // 2)).mean()
            axes.plot(own["order"], mean, color=look.colour, linewidth=1.0, alpha=0.6)
            x = np.array([own["order"].min(), own["order"].max()])
            slope = drift["slope"].get(name, np.nan)
            y = own["gap"].mean() + slope * (x - own["order"].mean())
            axes.plot(x, y, **look.line_style)
            ends.append(
                EndLabel(
                    float(x[-1]), float(y[-1]), f"rater {shortened(str(name))}", look.text_colour
                )
            )
        axes.set_xlabel("position of the clip")
        name_y(axes, f"score minus {against if pair else 'other raters'} ({unit})")
        axes.set_xlim(right=float(rows["order"].max()))  # names stand outside, off the line of zero
        label_ends(axes, ends)
    words = _drift_words(drift[drift.index.isin(list(styles))], raters, against)
    return Drawing("rater-drift", figure, *words, given=ax)


def _drift_words(drift: pd.DataFrame, raters: Sequence[str], against: str) -> tuple[str, str]:
    said = "; ".join(
        f"{row.Index} changes by {digits.number(row.change)} "
        f"({digits.interval(row.change_low, row.change_high)})"
        for row in drift.itertuples()
    )
    pair = len(raters) == 2
    who = f"Score of rater {raters[0]}" if pair else "Score of each rater"
    caption = (
        f"{who} minus {against} of the same item, over the order in which the rater saw the clips. "
        f"Thin: running mean; thick: straight line. From first to last clip: {said}."
    )
    caption += " Which of the two drifted the difference cannot say." if pair else ""
    return caption, f"Lines of rater drift over clips: {said}."


def category_agreement(
    result: Agreement,
    *,
    pair: tuple[str, str] | None = None,
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw how often two raters chose each pair of categories, agreement on the diagonal.

    Parameters
    ----------
    result : Agreement
        What ``rater_agreement`` gave for grades or categories.
    pair : (str, str), optional
        Raters; the first pair by default.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.

    Raises
    ------
    InputError
        If the scores are no categories, or the pair shares no item.

    Examples
    --------
    >>> import motorlearn as ml
    >>> grades = pd.DataFrame({
    ...     "clip": [1, 1, 2, 2, 3, 3, 4, 4, 5, 5, 6, 6],
    ...     "rater": ["A", "B"] * 6,
    ...     "score": [1, 1, 2, 2, 3, 2, 1, 1, 3, 3, 2, 2],
    ... })
    >>> found = ml.rater_agreement(
    ...     grades, item="clip", rater="rater", score="score", kind="ordinal"
    ... )
    >>> drawing = category_agreement(found, pair=("A", "B"))
    >>> [text.get_text() for text in drawing.axes[0].texts]
    ['2', '0', '0', '0', '2', '0', '0', '1', '1']
    """
    row = _row_of(result.pairs, pair, "they need grades or categories")
    wide = result.scores.pivot(index="item", columns="rater", values="score")
    both = wide[[row["first"], row["second"]]].dropna()
    codes, names = result.categories["code"].to_numpy(), result.categories["category"].tolist()
    places = [np.searchsorted(codes, both[name]) for name in both]
    counts = np.zeros((len(names), len(names)), dtype=int)
    np.add.at(counts, tuple(places), 1)
    with house(size):
        figure, (axes,) = canvas(size, height=1.2, ax=ax)
        axes.imshow(counts, cmap="Greys", vmin=0, vmax=2.4 * max(counts.max(), 1), origin="lower")
        for first, second in np.ndindex(counts.shape):
            agreed = first == second
            axes.text(second, first, str(counts[first, second]), ha="center", va="center",
                      color=INK, fontweight="bold" if agreed else "normal")  # fmt: skip
        ticks = np.arange(len(names))
        axes.set_xticks(ticks, names)
        axes.set_yticks(ticks, names)
        name_x(axes, f"rater {shortened(str(row['second']))}")
        name_y(axes, f"rater {shortened(str(row['first']))}")
    kappa = (
        f"{digits.number(row['kappa'])} ({digits.interval(row['kappa_low'], row['kappa_high'])})"
    )
    caption = (
        f"Items by the category that raters {row['first']} and {row['second']} chose, "
        f"{int(row['n'])} items; bold on the diagonal where they agree. Agreement "
        f"{digits.percent(row['agreement'])}, kappa {kappa}."
    )
    alt = (
        f"Square table of counts of two raters. They agree on {digits.percent(row['agreement'])} "
        f"of {int(row['n'])} items; kappa {kappa}."
    )
    return Drawing("category-agreement", figure, caption, alt, given=ax)


def _row_of(rows: pd.DataFrame, pair: tuple[str, str] | None, needs: str) -> pd.Series:
    if rows.empty:
        raise InputError("there is no comparison of two raters to draw", remedy=needs)
    if pair is None:
        return rows.iloc[0]
    for _, row in rows.iterrows():
        if {row["first"], row["second"]} == set(pair):
            return row
    known = [f"{row.first} and {row.second}" for row in rows.itertuples()]
    raise InputError("this pair of raters has no common items", pair, f"use {'; '.join(known)}")


def _apart(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Move points that coincide a little apart, always in the same way."""
    rng = np.random.default_rng(0)
    _, place, count = np.unique(np.column_stack([x, y]), axis=0, return_inverse=True,
                                return_counts=True)  # fmt: skip
    shared = count[place.ravel()] > 1
    step = 0.012 * np.array([np.ptp(x) or 1.0, np.ptp(y) or 1.0])
    moved = rng.normal(size=(len(x), 2)) * step * shared[:, None]
    return x + moved[:, 0], y + moved[:, 1]


def _against_others(scores: pd.DataFrame) -> pd.DataFrame:
    groups = scores.groupby("item")["score"]
    others = (groups.transform("sum") - scores["score"]) / (groups.transform("count") - 1).where(
        groups.transform("count") > 1
    )
    return scores.assign(gap=scores["score"] - others).dropna(subset=["gap", "order"])
