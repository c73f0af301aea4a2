"""Participants' scores by cell, and what groups show of them."""

from collections.abc import Sequence
from typing import TypedDict

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn.analysis.allocated import unit_cells
from motorlearn.analysis.questions import Question
from motorlearn.analysis.scores import OutcomeScores
from motorlearn.exceptions import InputError


class Points(TypedDict):
    """Fields of the analysis of an outcome."""

    cells: pd.DataFrame
    points: pd.DataFrame
    by_task: pd.DataFrame


def points_of(scores: OutcomeScores, question: Question) -> Points:
    """Participants' scores and group means by block of practice and by test, and by task."""
    ranks = _ranks(question)
    cells = _ordered(scores.block_cells, ranks, "stage", "session", "block", "group")
    cells = cells.rename(columns={"stage": "phase"})
    unit, by = question.design.allocation.clusters, ["group", "phase", "session", "block"]
    points = _points(cells, unit, by)
    return {"cells": cells, "points": points, "by_task": _by_task(scores.task_cells, ranks, unit)}


def _ranks(question: Question) -> dict[str, dict[str, int]]:
    """Place of every group, stage and task in the plan."""
    design = question.design
    return {
        "group": {name: place for place, name in enumerate(design.group_names)},
        "stage": {stage.name: place for place, stage in enumerate(question.stages)},
        "task": {"all": -1} | {task.name: place for place, task in enumerate(design.tasks)},
    }


def _ordered(frame: pd.DataFrame, ranks: dict[str, dict[str, int]], *by: str) -> pd.DataFrame:
    """Sort rows in the order of the plan; columns without a rank by their values."""
    return frame.sort_values(
        list(by),
        key=lambda column: column.map(ranks[column.name]) if column.name in ranks else column,
        kind="stable",
    ).reset_index(drop=True)


def _points(cells: pd.DataFrame, unit: str | None, by: list[str]) -> pd.DataFrame:
    """Points of what was allocated; without an interval where nothing names the class."""
    if unit is None or unit in cells:
        return group_points(unit_cells(cells, unit, by), by)
    return group_points(cells, by).assign(conf_low=np.nan, conf_high=np.nan)


def _by_task(
    parts: list[pd.DataFrame], ranks: dict[str, dict[str, int]], unit: str | None
) -> pd.DataFrame:
    by = ["group", "stage"]
    found = [_points(parts[0], unit, by).assign(task="all")]
    found += [_points(cells, unit, [*by, "task"]) for cells in parts[1:]]
    rows = pd.concat(found, ignore_index=True)
    known = set(rows["task"]) <= set(ranks["task"])
    ranks = ranks if known else {name: ranks[name] for name in by}
    return _ordered(rows, ranks, "stage", "task", "group")


def group_points(cells: pd.DataFrame, by: Sequence[str], *, level: float = 0.95) -> pd.DataFrame:
    """Mean, standard deviation, quartiles and t interval of participants' scores in each cell.

    Parameters
    ----------
    cells : DataFrame
        ``score`` and the columns of ``by``, one row per participant and cell.
    by : sequence of str
        Columns that name a cell, the group included.
    level : float
        Level of the interval.

    Returns
    -------
    DataFrame
        The columns of ``by``; ``n, mean, sd, median, quartile_low, quartile_high, conf_low,
        conf_high``; the interval is empty where n < 2.

    Raises
    ------
    InputError
        If there is no cell.
    """
    if cells.empty:
        raise InputError("there are no scores to average", None, "check the phases of the trials")
    grouped = cells.groupby(list(by), sort=False, observed=True, dropna=False)["score"]
    points = grouped.agg(n="count", mean="mean", sd="std", median="median").reset_index()
    low, high = (grouped.quantile(share).to_numpy() for share in (0.25, 0.75))
    half = stats.t.isf((1 - level) / 2, np.maximum(points["n"] - 1, 1)) * points["sd"]
    half = half / np.sqrt(points["n"])
    return points.assign(
        quartile_low=low,
        quartile_high=high,
        conf_low=points["mean"] - half,
        conf_high=points["mean"] + half,
    )
