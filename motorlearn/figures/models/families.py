"""What a mixed model of ratings, counts or times says of each group at each test."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes

from motorlearn import digits
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.style import Drawing, SizeName, canvas, house
from motorlearn.mixed import MixedFit, marginal_means
from motorlearn.vocabulary import capitalised

CENTRED: Any = {"ha": "center", "va": "center"}


def modelled_means(
    fit: MixedFit,
    *,
    by: str | Sequence[str],
    label: str,
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw the share of each rating, or means with intervals, for combinations of levels.

    Parameters
    ----------
    fit : MixedFit
        A mixed model; ratings are drawn as bars cut into shares.
    by : str or sequence of str
        Categories of the model whose combinations make the rows.
    label : str
        What the outcome is, with its unit.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.

    Raises
    ------
    InputError
        If the model has none of the categories.
    """
    named = [by] if isinstance(by, str) else list(by)
    asked = [name for name in named if name in fit.design.fixed.levels]
    if not asked:
        raise InputError("the model has none of these categories", named)
    rated = fit.family == "ordinal"
    rating = "each" if rated else None
    means = marginal_means(fit, asked, scale="average", rating=rating).frame
    means = means.assign(row=means[asked].astype(str).agg(", ".join, axis=1))
    with house(size):
        figure, panels = canvas(size, ax=ax)
        axes = panels[0]
        alt = _shares(axes, means) if rated else _means(axes, means)
        drawn = "share of each rating" if rated else "mean over participants"
        axes.set_xlabel(f"{label}: {drawn}")
        axes.invert_yaxis()
    label = capitalised(label)
    caption = (
        f"{label}: the share of each rating that the model expects, averaged over participants."
        if rated
        else f"{label}: means averaged over participants, with 95 % intervals, from the model."
    )
    return Drawing("modelled-means", figure, caption, alt, given=ax)


def _shares(axes: Axes, means: pd.DataFrame) -> str:
    wide = means.pivot_table(index="row", columns="rating", values="estimate", sort=False)
    start = np.zeros(len(wide))
    places = np.arange(len(wide))
    for rating, colour in zip(wide, sns.color_palette("crest", len(wide.columns)), strict=True):
        width = wide[rating].to_numpy()
        axes.barh(places, width, left=start, color=colour, height=0.62, edgecolor="white")
        for place, left, share in zip(places, start, width, strict=True):
            if share > 0.08:
                ink = "white" if np.dot(colour[:3], (0.2126, 0.7152, 0.0722)) < 0.45 else "black"
                axes.text(left + share / 2, float(place), str(rating), color=ink, **CENTRED)
        start = start + width
    axes.set_yticks(places, list(wide.index))
    axes.set_xlim(0, 1)
    most = [f"{row}: most often {wide.loc[row].idxmax()}" for row in wide.index]
    return f"Bars cut into the shares of ratings. {'; '.join(most)}."


def _means(axes: Axes, means: pd.DataFrame) -> str:
    places = np.arange(len(means))
    estimate = means["estimate"].to_numpy()
    gaps = [estimate - means["conf_low"], means["conf_high"] - estimate]
    axes.errorbar(estimate, places, xerr=np.abs(np.array(gaps)), fmt="o", color="black", capsize=3)
    axes.set_yticks(places, list(means["row"]))
    axes.margins(y=0.2)
    told = [f"{row.row} {digits.significant(row.estimate)}" for row in means.itertuples()]
    return f"Means with 95 % intervals: {'; '.join(told)}."
