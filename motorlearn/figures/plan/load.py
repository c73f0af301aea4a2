"""Load by week: planned trials of one participant, high-effort ones apart, against a limit."""

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from motorlearn.figures.drawing.levels import COLOURS, PAPER
from motorlearn.figures.drawing.style import INK, Drawing, SizeName, canvas, house, thin_ticks
from motorlearn.plan import ThrowLoad

_WIDTH = 0.62
_PARTS = (
    ("practice", "practice", COLOURS[0], ""),
    ("tests", "tests", COLOURS[1], "///"),
    ("warm_up", "warm-up", "#d9d9d9", "..."),
)


def load_by_week(
    load: ThrowLoad,
    *,
    limit: int | None = None,
    limit_source: str = "",
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw planned trials per week, in parts, with the high-effort ones and a limit.

    Parameters
    ----------
    load : ThrowLoad
        From :func:`motorlearn.plan.throw_load`.
    limit : int, optional
        Limit of trials per week that the user entered.
    limit_source : str
        Where the limit comes from.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.
    """
    with house(size):
        figure, (axes,) = canvas(size, ax=ax)
        _bars(axes, load.weeks)
        if limit is not None:
            _limit(axes, limit, limit_source)
        axes.set_ylim(0, 1.2 * max(float(load.weeks["total"].max()), float(limit or 0)))
        axes.yaxis.set_major_locator(MaxNLocator(integer=True))
        axes.set_ylabel("planned trials per participant")
        thin_ticks(axes)
        if ax is None:
            figure.legend(loc="outside upper left", ncols=4, frameon=False)
        else:
            ax.legend(loc="upper right", frameon=False)
    return Drawing("load-by-week", figure, _caption(load.weeks, limit), _alt(load, limit), given=ax)


def _planned_parts(weeks: pd.DataFrame) -> list[tuple[str, str, str, str]]:
    return [part for part in _PARTS if (weeks[part[0]] > 0).any()]


def _bars(axes: Axes, weeks: pd.DataFrame) -> None:
    places = range(len(weeks))
    below = pd.Series(0, index=weeks.index)
    for name, label, colour, hatch in _planned_parts(weeks):
        axes.bar(
            places,
            weeks[name],
            bottom=below,
            width=_WIDTH,
            color=colour,
            hatch=hatch,
            edgecolor=INK if hatch else PAPER,
            linewidth=0.5,
            label=label,
        )
        below = below + weeks[name]
    hard = weeks["maximal"].where(weeks["maximal"] > 0)
    if hard.notna().any():
        axes.plot(places, hard, "D", color=INK, mec=PAPER, label="at maximal effort")
    for place, total in zip(places, weeks["total"], strict=True):
        axes.annotate(
            str(int(total)),
            (place, total),
            (0, 8),
            textcoords="offset points",
            ha="center",
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.5},
        )
    axes.set_xticks(list(places), [f"week {week}" for week in weeks["week"]])


def _limit(axes: Axes, limit: int, source: str) -> None:
    axes.axhline(limit, color=COLOURS[5], linestyle=(0, (5, 2)))
    axes.annotate(
        f"limit {limit} ({source})" if source else f"limit {limit}",
        (1, limit),
        (0, 3),
        xycoords=axes.get_yaxis_transform(),
        textcoords="offset points",
        ha="right",
        color=COLOURS[5],
    )


def _caption(weeks: pd.DataFrame, limit: int | None) -> str:
    parts = ", ".join(label for _, label, _, _ in _planned_parts(weeks))
    hard = "; diamonds count those at maximal effort" if (weeks["maximal"] > 0).any() else ""
    line = " The dashed line is the limit entered in the plan." if limit is not None else ""
    return (
        f"Planned trials of one participant in each week: {parts}{hard}.{line} The figure counts "
        "trials and predicts no injury."
    )


def _alt(load: ThrowLoad, limit: int | None) -> str:
    weeks = load.weeks
    counts = ", ".join(f"week {week} {total}" for week, total in zip(weeks["week"], weeks["total"]))
    over = int((weeks["total"] > limit).sum()) if limit is not None else 0
    tail = f" {over} of {len(weeks)} weeks are above the limit of {limit}." if limit else ""
    return f"Stacked bars of planned trials per week. Totals: {counts}.{tail}"
