"""Landing maps: where the object came to rest about the target, on equal axes."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Ellipse, Rectangle
from matplotlib.ticker import MaxNLocator
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.frames import ask_columns, drawn_levels
from motorlearn.figures.drawing.panels import panel_title
from motorlearn.figures.drawing.style import (
    INK,
    SOFT_INK,
    Drawing,
    Levels,
    Look,
    SizeName,
    canvas,
    folded,
    house,
)
from motorlearn.vocabulary import PHASE_LABELS

TARGET = "#e8e8e8"
_MOST_COLUMNS = 8


def landing_map(
    trials: pd.DataFrame,
    *,
    phases: Sequence[str],
    groups: Sequence[str],
    radius: float | None = None,
    unit: str = "",
    walls: Mapping[str, float] | None = None,
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw landing points by test and group with target, centroid and 95 % ellipse.

    All panels have equal axes on the same scale, set by the central 99 % of the points; points
    beyond the frame are drawn at its edge as crosses.

    Parameters
    ----------
    trials : DataFrame
        ``group, phase, x, y``, target centre at the origin.
    phases : sequence of str
        One row of panels each.
    groups : sequence of str
        Groups in the order of the plan, one column each.
    radius : float, optional
        Radius of the target, in the unit of x and y.
    unit : str
        Unit of x and y.
    walls : mapping of {"left", "right", "near", "far"} to float, optional
        Where the floor ends: x to the left and right, y before and beyond the target. They are
        drawn, and no ellipse passes them.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into, where there is one group and one test.

    Raises
    ------
    InputError
        If there is no landing point in these phases.
    """
    ask_columns(trials, ("group", "phase", "x", "y"), "a landing map")
    points = trials[trials["phase"].isin(list(phases))].dropna(subset=["x", "y"])
    if points.empty:
        raise InputError("there are no landing points in these phases", phases)
    rows = [phase for phase in phases if (points["phase"] == phase).any()]
    reach = _reach(points, radius)
    with house(size) as chosen:
        panel = 0.825 * chosen.width / max(points["group"].nunique(), 2)
        height = 1.0 if size == "slide" else (len(rows) * panel + 0.9) / chosen.height
        present = drawn_levels(points, Levels(groups))
        if len(present) > _MOST_COLUMNS:
            raise InputError(
                f"a landing map has room for {_MOST_COLUMNS} groups beside one another",
                [len(present)],
                "draw some of the groups at a time",
            )
        figure, panels = canvas(size, rows=len(rows), columns=len(present), height=height, ax=ax)
        cells = [(phase, look) for phase in rows for look in present]
        for place, (axes, (phase, look)) in enumerate(zip(panels, cells, strict=True)):
            inside = points[(points["phase"] == phase) & (points["group"] == look.group)]
            _panel(axes, inside[["x", "y"]].to_numpy(float), look, reach, radius)
            _wall_off(axes, walls or {}, reach)
            _label(axes, place, len(present), len(cells), phase, look)
        in_unit = f" ({unit})" if unit else ""
        across = f"to the right of the target centre{in_unit} →"
        away = f"beyond the target centre{in_unit} →"
        if ax is None:
            figure.supxlabel(across, fontsize=chosen.font)
            figure.supylabel(away, fontsize=chosen.font)
        else:
            ax.set(xlabel=across, ylabel=away)
    return Drawing("landing-map", figure, given=ax)


def _reach(points: pd.DataFrame, radius: float | None) -> float:
    far = float(np.quantile(np.abs(points[["x", "y"]].to_numpy(float)).max(axis=1), 0.99))
    ellipses = [
        np.abs(part.mean()).max() + np.sqrt(stats.chi2.ppf(0.95, 2) * part.var().max())
        for _, part in points.groupby(["group", "phase"], observed=True)[["x", "y"]]
        if len(part) >= 3
    ]
    return (max([far, 1.5 * (radius or 0.0), *ellipses]) or 1.0) * 1.05


def _panel(axes: Axes, xy: np.ndarray, look: Look, reach: float, radius: float | None) -> None:
    if radius:
        axes.add_patch(Circle((0, 0), radius, facecolor=TARGET, edgecolor=SOFT_INK, zorder=0))
    axes.plot(0, 0, marker="+", color=SOFT_INK, markersize=5, zorder=1)
    beyond = (np.abs(xy) > reach).any(axis=1)
    style: dict[str, Any] = {"linestyle": "none", "color": look.colour}
    axes.plot(
        *xy[~beyond].T, marker=".", markersize=2.2, alpha=0.35, markeredgewidth=0, **style, zorder=2
    )
    edge = np.clip(xy[beyond], -reach, reach).T
    (marks,) = axes.plot(*edge, marker="x", markersize=3, clip_on=False, **style, zorder=2)
    marks.set_in_layout(False)
    if len(xy) >= 3:
        _ellipse(axes, xy)
    if len(xy):
        axes.plot(*xy.mean(axis=0), **{**look.point_style, "markeredgecolor": INK}, zorder=4)
    axes.set_aspect("equal")
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-reach, reach)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(3, symmetric=True))


def _wall_off(axes: Axes, walls: Mapping[str, float], reach: float) -> None:
    """Draw the walls, and cut what would lie behind them off the ellipses."""
    if not walls:
        return
    unknown = set(walls) - {"left", "right", "near", "far"}
    if unknown:
        raise InputError("a wall stands left, right, near or far", sorted(unknown))
    left, right = walls.get("left", -reach), walls.get("right", reach)
    near, far = walls.get("near", -reach), walls.get("far", reach)
    floor = Rectangle((left, near), right - left, far - near, transform=axes.transData)
    for patch in axes.patches:
        if isinstance(patch, Ellipse) and not isinstance(patch, Circle):
            patch.set_clip_path(floor)
    for side, place in walls.items():
        draw = axes.axvline if side in ("left", "right") else axes.axhline
        draw(place, color=INK, linewidth=1.6, zorder=1)


def _ellipse(axes: Axes, xy: np.ndarray) -> None:
    """Contour of a bivariate normal that holds 95 % of its points: chi-square with 2 df."""
    values, vectors = np.linalg.eigh(np.cov(xy.T))
    width, height = 2 * np.sqrt(np.clip(values, 0, None) * stats.chi2.ppf(0.95, 2))
    angle = float(np.degrees(np.arctan2(vectors[1, 0], vectors[0, 0])))
    axes.add_patch(
        Ellipse(xy.mean(axis=0), width, height, angle=angle, fill=False, edgecolor=INK, zorder=3)
    )


def _label(axes: Axes, place: int, columns: int, cells: int, phase: str, look: Look) -> None:
    if place < columns:
        panel_title(axes, look)
    if place % columns == 0:
        axes.set_ylabel(folded(PHASE_LABELS.get(phase, phase), 1.6))
    else:
        axes.set_yticklabels([])
    if place < cells - columns:
        axes.set_xticklabels([])
