"""The picture of a demonstration as data: panels with fixed axes, marks and intervals.

Notebook and page draw the same scene, ``scene_drawing`` with matplotlib and ``page.js`` as SVG. The
ends of the axes belong to the lesson and not to the data, so that the effect moves and not the
axis.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

Kind = Literal["line", "points", "dots", "bars", "pairs"]
FAINT_LOOK, INK_LOOK = -1, -2
"""Looks that belong to no group: grey for single people, ink for what all share."""


@dataclass(frozen=True)
class Mark:
    """One series of a panel.

    Parameters
    ----------
    kind : {"line", "points", "dots", "bars", "pairs"}
        ``line`` with a band where there are intervals, ``points`` with bars for them, ``dots``
        small and without; ``bars`` stand on zero; ``pairs`` joins each x (a value before) with its
        y (the value after), from place 0 to place 1.
    x, y, low, high : tuple of float
        Coordinates, and the ends of the intervals.
    name : str
        Its entry in the key; none where empty.
    look : int
        Place in the order of looks; -1 is grey, -2 ink.
    width : float
        Width of bars, in units of x.
    """

    kind: Kind
    x: tuple[float, ...]
    y: tuple[float, ...]
    name: str = ""
    look: int = 0
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()
    width: float = 0.0


@dataclass(frozen=True)
class Row:
    """One interval of a panel of intervals, with its label."""

    label: str
    estimate: float
    low: float
    high: float


@dataclass(frozen=True)
class Panel:
    """One panel: either marks in a plane, or rows of intervals above one axis.

    ``x`` and ``y`` are the ends of the axes; ``rules`` are values of y (of x where there are rows)
    at which a thin line crosses; ``ticks`` names places of x; ``weight`` is its share of the width.
    """

    x_label: str
    y_label: str
    x: tuple[float, float]
    y: tuple[float, float] = (0.0, 1.0)
    marks: tuple[Mark, ...] = ()
    rows: tuple[Row, ...] = ()
    rules: tuple[float, ...] = ()
    ticks: Mapping[float, str] = field(default_factory=dict)
    title: str = ""
    weight: float = 1.0


@dataclass(frozen=True)
class Scene:
    """The panels of a picture, from left to right, and what its marks mean."""

    panels: tuple[Panel, ...]
    caption: str = ""


def mark(
    kind: Kind,
    x: ArrayLike,
    y: ArrayLike,
    *,
    name: str = "",
    look: int = 0,
    low: ArrayLike = (),
    high: ArrayLike = (),
    width: float = 0.7,
) -> Mark:
    """Make a mark of arrays.

    Examples
    --------
    >>> mark("line", [1, 2], np.array([3.0, 4.5])).y
    (3.0, 4.5)
    """
    values = (tuple(np.asarray(part, float).ravel().tolist()) for part in (x, y, low, high))
    xs, ys, lows, highs = values
    return Mark(kind, xs, ys, name, look, lows, highs, width if kind == "bars" else 0.0)


def rows_of(table: pd.DataFrame) -> tuple[Row, ...]:
    """Give the rows of a table of a name and ``estimate, conf_low, conf_high``."""
    return tuple(Row(str(r[0]), *map(float, r[1:4])) for r in table.itertuples(index=False))


def few(values: ArrayLike, most: int = 40) -> np.ndarray:
    """Every k-th of many values, so that no picture holds more than about `most` of them.

    Examples
    --------
    >>> few(np.arange(100), 5)
    array([ 0, 20, 40, 60, 80])
    """
    array = np.asarray(values)
    return array[:: max(1, -(-len(array) // most))]


def course(
    means: pd.DataFrame,
    tests: Mapping[str, str],
    groups: Sequence[str],
    *,
    people: Mapping[str, pd.Series] | None = None,
) -> tuple[tuple[Mark, ...], dict[float, str], float]:
    """Draw practice blocks as lines, and the tests after them as points.

    Parameters
    ----------
    means : DataFrame
        ``moment, order, group, mean, conf_low, conf_high``.
    tests : mapping of str to str
        Moments that are tests, in their order, with the words beneath the axis.
    groups : sequence of str
        Groups in the order of their looks.
    people : mapping of str to Series, optional
        Scores of people at a test, indexed by group.

    Returns
    -------
    tuple
        Marks, names of places on the x axis, and where the x axis ends.
    """
    blocks = sum(1 for moment in means["moment"].unique() if moment not in tests)
    places = {moment: blocks + 2.2 * (k + 1) for k, moment in enumerate(tests)}
    marks = [
        part
        for look, group in enumerate(groups)
        for part in _of_group(means[means["group"] == group], group, look, places, len(groups))
    ]
    for look, group in enumerate(groups):
        for moment, scores in (people or {}).items():
            dots = few(scores.loc[group])
            x = places[moment] + _side(look, len(groups)) + np.linspace(0.12, 0.4, len(dots))
            marks.append(mark("dots", x, dots, look=look))
    ticks = {1.0: "1", float(blocks): str(blocks)} if blocks > 1 else {}
    ticks |= {place: tests[moment] for moment, place in places.items()}
    return tuple(marks), ticks, blocks + 2.2 * len(tests) + 1.2


def _side(look: int, groups: int) -> float:
    return 0.55 * (look - (groups - 1) / 2)


def _of_group(
    rows: pd.DataFrame, group: str, look: int, places: Mapping[str, float], groups: int
) -> list[Mark]:
    columns = ["mean", "conf_low", "conf_high"]
    practice = rows[~rows["moment"].isin(list(places))]
    tested = rows[rows["moment"].isin(list(places))]
    mean, low, high = practice[columns].to_numpy().T
    x = np.arange(1, len(practice) + 1)
    line = mark("line", x, mean, name=group, look=look, low=low, high=high)
    mean, low, high = tested[columns].to_numpy().T
    at = np.array([places[moment] for moment in tested["moment"]]) + _side(look, groups)
    return [line, mark("points", at, mean, look=look, low=low, high=high)]
