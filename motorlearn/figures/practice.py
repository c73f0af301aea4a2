"""The practice curve: blocks of practice between the tests, with a break wherever time is cut."""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator

from motorlearn.design import Outcome
from motorlearn.exceptions import InputError
from motorlearn.figures.style import (
    FAINT,
    PAPER,
    SOFT_INK,
    Drawing,
    EndLabel,
    Look,
    Size,
    SizeName,
    canvas,
    folded,
    house,
    label_ends,
    looks,
)
from motorlearn.vocabulary import PHASES, PRACTICE_PHASE

PHASE_TICKS = {
    "pretest": "pretest",
    "progress": "progress",
    "posttest": "post-\ntest",
    "retention": "reten-\ntion",
    "transfer": "transfer",
}


def outcome_label(outcome: Outcome) -> str:
    """Axis label of an outcome: its name, its unit and which direction is better."""
    name = outcome.label or outcome.name.replace("_", " ")
    unit = f" ({outcome.unit})" if outcome.unit else ""
    return f"{name}{unit}, {outcome.better} is better"


def practice_curve(
    points: pd.DataFrame,
    scores: pd.DataFrame,
    *,
    outcome: Outcome,
    groups: Sequence[str],
    tests: Mapping[str, str] | None = None,
    size: SizeName = "thesis",
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
    size : {"thesis", "slide"}
        Where the figure will be used.

    Raises
    ------
    InputError
        If there is not a single mean to draw.
    """
    if points.empty:
        raise InputError("there is nothing to draw in a practice curve", None, "check the phases")
    places, segments = _places(points)
    with house(size) as chosen:
        figure, (axes,) = canvas(size, height=1.1)
        dodges = _dodges(groups)
        for group, look in looks(groups).items():
            _individuals(axes, scores[scores["group"] == group], places, segments, look, dodges)
            _means(axes, points[points["group"] == group], places, segments, look, dodges)
        _axis(axes, places, segments, chosen, tests or {})
        axes.set_ylabel(outcome_label(outcome))
        label_ends(axes, _ends(points, places, groups, dodges))
    return Drawing("practice-curve", figure)


def _keys(frame: pd.DataFrame) -> list[tuple[str, float, float]]:
    columns = [frame["phase"], frame["session"].fillna(0), frame["block"].fillna(0)]
    return list(zip(*(column.tolist() for column in columns), strict=True))


def _places(points: pd.DataFrame) -> tuple[dict, list[list]]:
    """Give each block its place on the axis; a segment is a stretch without a break."""
    order = sorted(set(_keys(points)), key=_rank)
    segments: list[list] = []
    for key in order:
        same = segments and segments[-1][-1][:2] == key[:2] and key[0] == PRACTICE_PHASE
        if same:
            segments[-1].append(key)
        else:
            segments.append([key])
    places, at = {}, 0.0
    step = max(1.0, sum(len(segment) for segment in segments) / 14)
    for segment in segments:
        half = 0.45 if _is_test(segment[0]) else 0.0
        for key in segment:
            places[key] = at + half
            at += 1.0 + 2 * half
        at += step * 0.75
    return places, segments


def _rank(key: tuple[str, float, float]) -> tuple:
    """Order of a study; ``progress 2`` stands after ``progress 1``."""
    return (PHASES.index(key[0].split(" ")[0]), *key)


def _dodges(groups: Sequence[str]) -> dict[str, float]:
    spread = np.linspace(-0.6, 0.6, len(groups)) if len(groups) > 1 else np.zeros(1)
    return dict(zip([str(group) for group in groups], spread, strict=True))


def _shift(key: tuple, group: str, dodges: dict[str, float]) -> float:
    return dodges[group] * (1.0 if _is_test(key) else 0.13)


def _is_test(key: tuple) -> bool:
    return key[0] != PRACTICE_PHASE


def _individuals(
    axes: Axes, mine: pd.DataFrame, places: dict, segments: list[list], look: Look, dodges: dict
) -> None:
    keyed = mine.assign(key=_keys(mine))
    for segment in segments:
        part = keyed[keyed["key"].isin(segment)]
        wide = part.pivot_table(index="participant", columns="key", values="score", sort=False)
        wide = wide.reindex(columns=pd.Index(segment, tupleize_cols=False))
        x = np.array([places[key] for key in segment])
        if _is_test(segment[0]):
            x = x + _shift(segment[0], look.group, dodges)
            axes.plot(
                np.repeat(x, len(wide)),
                wide.to_numpy().ravel(),
                linestyle="none",
                marker=look.marker,
                markersize=2.4,
                color=look.colour,
                alpha=0.28,
                markeredgewidth=0,
                zorder=1,
            )
        elif len(wide):
            axes.plot(x, wide.to_numpy().T, color=look.colour, alpha=0.16, linewidth=0.5, zorder=1)


def _means(
    axes: Axes, mine: pd.DataFrame, places: dict, segments: list[list], look: Look, dodges: dict
) -> None:
    keyed = dict(zip(_keys(mine), mine.itertuples(), strict=True))
    for segment in segments:
        rows = [(key, keyed[key]) for key in segment if key in keyed]
        if not rows:
            continue
        x = np.array([places[key] + _shift(key, look.group, dodges) for key, _ in rows])
        mean = np.array([row.mean for _, row in rows])
        low = np.array([row.conf_low for _, row in rows])
        high = np.array([row.conf_high for _, row in rows])
        axes.vlines(x, low, high, color=look.colour, linewidth=1.1, zorder=3)
        axes.plot(x, mean, **look.line_style, zorder=4)


def _axis(
    axes: Axes, places: dict, segments: list[list], chosen: Size, tests: Mapping[str, str]
) -> None:
    ticks, labels = [], []
    practised = [segment for segment in segments if not _is_test(segment[0])]
    every = 1 if sum(map(len, practised)) <= 16 else 2
    running = 0
    for segment in segments:
        for key in segment:
            running += not _is_test(key)
            if _is_test(key) or every == 1 or running % every == 1:
                ticks.append(places[key])
                labels.append(_test_tick(key, tests) if _is_test(key) else str(running))
    axes.set_xticks(ticks, labels)
    axes.xaxis.set_minor_locator(FixedLocator([]))
    low, high = min(places.values()) - 1.1, max(places.values()) + 1.1
    axes.set_xlim(low, high)
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


def _middle(axes: Axes, left: float, right: float) -> float:
    low, high = axes.get_xlim()
    return ((left + right) / 2 - low) / (high - low)


def _test_tick(key: tuple, tests: Mapping[str, str]) -> str:
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


def _ends(
    points: pd.DataFrame, places: dict, groups: Sequence[str], dodges: dict[str, float]
) -> list[EndLabel]:
    chosen = looks(groups)
    edge = max(places.values()) + 0.75
    labels = []
    for group, look in chosen.items():
        mine = points[(points["group"] == group) & points["mean"].notna()]
        if mine.empty:
            continue
        last = max(zip(_keys(mine), mine["mean"], strict=True), key=lambda pair: places[pair[0]])
        labels.append(EndLabel(edge, float(last[1]), folded(group, 0.9), look.text_colour))
    return labels
