"""The practice curve: blocks of practice between the tests, with a break wherever time is cut."""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator

from motorlearn.design import Outcome
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.frames import ask_columns, drawn_levels
from motorlearn.figures.drawing.labels import shortened
from motorlearn.figures.drawing.naming import outcome_label
from motorlearn.figures.drawing.style import (
    FAINT,
    PAPER,
    SOFT_INK,
    Drawing,
    EndLabel,
    Levels,
    Size,
    SizeName,
    canvas,
    folded,
    house,
    label_ends,
    name_y,
    thin_runs,
    thin_ticks,
    turn_ticks,
)
from motorlearn.vocabulary import PHASES, PRACTICE_PHASE

Key = tuple[str, float, float]
"""Phase, session and block."""
Places = dict[Key, float]
Segments = list[list[Key]]

_PLACE = ("phase", "session", "block")
PHASE_TICKS = {
    "pretest": "pretest",
    "progress": "progress",
    "posttest": "post-\ntest",
    "retention": "reten-\ntion",
    "transfer": "transfer",
}


def practice_curve(
    points: pd.DataFrame,
    scores: pd.DataFrame,
    *,
    outcome: Outcome,
    groups: Sequence[str],
    tests: Mapping[str, str] | None = None,
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw group means with intervals over practice and tests, thin individual lines behind.

    Parameters
    ----------
    points : DataFrame
        Group means: ``phase, session, block, group, mean, conf_low, conf_high``; a test is one
        block.
    scores : DataFrame
        Participant scores: ``participant, group, phase, session, block, score``.
    outcome : Outcome
        Name, unit and better direction of the score.
    groups : sequence of str
        Groups in the order of the plan.
    tests : mapping of str to str, optional
        Names of tests on the axis, where the study has its own.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.

    Raises
    ------
    InputError
        If there is not a single mean to draw, or a group is not in the plan.
    """
    ask_columns(points, (*_PLACE, "group", "mean", "conf_low", "conf_high"), "a practice curve")
    ask_columns(scores, ("participant", *_PLACE, "group", "score"), "a practice curve")
    points = points.dropna(subset=["mean"])
    if points.empty:
        raise InputError("there is nothing to draw in a practice curve", None, "check the phases")
    places, segments = _places(points)
    with house(size) as chosen:
        levels = Levels(groups)
        drawn_levels(points, levels)
        figure, (axes,) = canvas(size, height=1.1, ax=ax)
        dodges = _dodges(levels)
        shown = scores[scores["group"].astype(str).isin(list(levels))].dropna(subset=["score"])
        _individuals(axes, _placed(shown, places, segments, dodges), levels, chosen)
        _means(axes, _placed(points, places, segments, dodges), levels)
        _axis(axes, places, segments, chosen, tests or {})
        name_y(axes, outcome_label(outcome))
        label_ends(axes, _ends(points, places, levels))
        _clear_ticks(axes, places, segments)
    return Drawing("practice-curve", figure, given=ax)


def _keys(frame: pd.DataFrame) -> list[Key]:
    columns = [frame["phase"], frame["session"].fillna(0), frame["block"].fillna(0)]
    return list(zip(*(column.tolist() for column in columns), strict=True))


def _places(points: pd.DataFrame) -> tuple[Places, Segments]:
    """Give each block its place on the axis; a segment is a stretch without a break."""
    order = sorted(set(_keys(points)), key=_rank)
    segments: Segments = []
    for key in order:
        same = segments and segments[-1][-1][:2] == key[:2] and key[0] == PRACTICE_PHASE
        if same:
            segments[-1].append(key)
        else:
            segments.append([key])
    places: Places = {}
    at = 0.0
    step = max(1.0, sum(len(segment) for segment in segments) / 14)
    for segment in segments:
        half = 0.45 if _is_test(segment[0]) else 0.0
        for key in segment:
            places[key] = at + half
            at += 1.0 + 2 * half
        at += step * 0.75
    return places, segments


def _rank(key: Key) -> tuple[int, str, float, float]:
    """Order of a study; ``progress 2`` stands after ``progress 1``."""
    return (PHASES.index(key[0].split(" ")[0]), *key)


def _dodges(levels: Levels) -> dict[str, float]:
    spread = np.linspace(-0.6, 0.6, len(levels)) if len(levels) > 1 else np.zeros(1)
    return dict(zip(levels, spread, strict=True))


def _shift(key: Key, group: str, dodges: dict[str, float]) -> float:
    return dodges[group] * (1.0 if _is_test(key) else 0.13)


def _is_test(key: Key) -> bool:
    return key[0] != PRACTICE_PHASE


def _placed(
    rows: pd.DataFrame, places: Places, segments: Segments, dodges: dict[str, float]
) -> pd.DataFrame:
    """Give each row its place on the axis, and the stretch without a break that it belongs to."""
    stretch = {key: number for number, segment in enumerate(segments) for key in segment}
    keys, groups = _keys(rows), rows["group"].astype(str)
    placed = rows.assign(
        group=groups,
        stretch=[stretch.get(key, -1) for key in keys],
        single=[len(segments[stretch[key]]) == 1 if key in stretch else False for key in keys],
        at=[places[key] + _shift(key, g, dodges) if key in places else np.nan
            for key, g in zip(keys, groups)],
    )  # fmt: skip
    return placed.dropna(subset=["at"]).sort_values(["stretch", "at"], kind="stable")


def _individuals(axes: Axes, placed: pd.DataFrame, levels: Levels, chosen: Size) -> None:
    """Thin lines through the blocks of a session; symbols where a stretch is one point."""
    faint = 0.28 if placed["participant"].nunique() <= 120 else 0.12
    single = placed["single"].astype(bool)
    lines, points = placed[~single], placed[single]
    if len(lines):
        own = lines.assign(line=lines["participant"].astype(str) + "\0" + lines["stretch"].map(str))
        sns.lineplot(
            own, x="at", y="score", units="line", estimator=None, ax=axes, legend=False,
            **levels.keywords("group"), alpha=faint * 0.6, linewidth=0.5, zorder=1,
        )  # fmt: skip
    for group, mine in points.groupby("group", sort=False):
        axes.scatter(
            mine["at"], mine["score"], s=(chosen.marker * 0.48) ** 2, marker=levels[group].marker,
            color=levels[group].colour, alpha=faint, linewidths=0, zorder=1,
        )  # fmt: skip


def _means(axes: Axes, placed: pd.DataFrame, levels: Levels) -> None:
    for group, mine in placed.groupby("group", sort=False):
        colour = levels[group].colour
        axes.vlines(
            mine["at"], mine["conf_low"], mine["conf_high"], color=colour, linewidth=1.1, zorder=3
        )
    sns.lineplot(
        placed, x="at", y="mean", units="stretch", estimator=None, ax=axes, legend=False,
        **levels.keywords("group"), markers=levels.markers, markeredgecolor=PAPER,
        markeredgewidth=0.6, zorder=4,
    )  # fmt: skip


def _axis(
    axes: Axes, places: Places, segments: Segments, chosen: Size, tests: Mapping[str, str]
) -> None:
    ticks, labels = [], []
    practised = [segment for segment in segments if not _is_test(segment[0])]
    running = 0
    for segment in segments:
        for key in segment:
            running += not _is_test(key)
            ticks.append(places[key])
            labels.append(_test_tick(key, tests) if _is_test(key) else str(running))
    axes.set_xticks(ticks, labels)
    axes.xaxis.set_minor_locator(FixedLocator([]))
    low, high = min(places.values()) - 1.1, max(places.values()) + 1.1
    axes.set_xlim(low, high)
    axes.set_xlabel("")
    axes.spines["bottom"].set_visible(False)
    for segment in segments:
        reach = 1.0 if _is_test(segment[0]) else 0.55
        _ground(axes, places[segment[0]] - reach, places[segment[-1]] + reach, chosen)
    for left, right in pairwise(segments):
        middle = (places[left[-1]] + places[right[0]]) / 2
        axes.axvline(middle, color=FAINT, linewidth=0.5, linestyle=(0, (1, 3)), zorder=0)
    if practised:
        first, last = practised[0][0], practised[-1][-1]
        axes.set_xlabel("block of practice", x=_middle(axes, places[first], places[last]))


def _clear_ticks(axes: Axes, places: Places, segments: Segments) -> None:
    """Keep the labels of ticks apart; called last, for labels beside make axes narrow."""
    at_tests = [places[key] for key in places if _is_test(key)]
    turn_ticks(axes, at_tests)
    thin_runs(axes, [[places[key] for key in segment] for segment in segments])
    thin_ticks(axes, first=at_tests)


def _middle(axes: Axes, left: float, right: float) -> float:
    low, high = axes.get_xlim()
    return ((left + right) / 2 - low) / (high - low)


def _test_tick(key: Key, tests: Mapping[str, str]) -> str:
    if key[0] in tests:
        return folded(tests[key[0]], 0.75)
    phase, _, number = key[0].partition(" ")
    return f"{PHASE_TICKS[phase]}\n{number}" if number else PHASE_TICKS[phase]


def _ground(axes: Axes, left: float, right: float, chosen: Size) -> None:
    """A stretch of the x axis, cut off by slanted marks where time is left out."""
    across = axes.get_xaxis_transform()
    style: dict[str, Any] = {"transform": across, "clip_on": False, "zorder": 5}
    axes.plot([left, right], [0, 0], color=SOFT_INK, linewidth=chosen.line / 2, **style)
    for end in (left, right):
        axes.plot(
            [end],
            [0],
            marker=[(-0.35, -1), (0.35, 1)],
            markersize=chosen.marker * 0.9,
            color=SOFT_INK,
            markeredgecolor=SOFT_INK,
            markerfacecolor=PAPER,
            linestyle="none",
            **style,
        )


def _ends(points: pd.DataFrame, places: Places, levels: Levels) -> list[EndLabel]:
    edge = max(places.values()) + 0.75
    labels = []
    for look in levels.present(points):
        mine = points[points["group"].astype(str) == look.group]
        last = max(zip(_keys(mine), mine["mean"], strict=True), key=lambda pair: places[pair[0]])
        labels.append(
            EndLabel(edge, float(last[1]), folded(shortened(look.group, 36), 0.9), look.text_colour)
        )
    return labels
