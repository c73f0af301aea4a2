"""The order in which tasks were practised, against the schedule of the group."""

from typing import Any, Final

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.trials.checking.problems import gather
from motorlearn.trials.reading.sheet import Sheet
from motorlearn.vocabulary import PRACTICE_PHASE

_COLUMNS: Final = ("participant", "group", "trials", "tasks", "switches", "switch_rate", "longest")
_RANDOM_RATE: Final = (0.35, 0.97)


def order_audit(table: pd.DataFrame) -> pd.DataFrame:
    """Describe the order of tasks in practice, one row per participant.

    The switch rate is the number of changes of task from one trial to the next divided by the
    trials less one; changes from one session to the next are not counted. Trials are taken in the
    order of session, block and trial where the table has them.

    Parameters
    ----------
    table : DataFrame
        Trials in standard columns with ``participant``, ``phase`` and ``task``.

    Returns
    -------
    DataFrame
        ``participant, group, trials, tasks, switches, switch_rate, longest`` (longest run of one
        task), plus ``periodic``: whether the tasks go round in one fixed order.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"participant": "p1", "group": "serial", "phase": "acquisition",
    ...     "trial": range(6), "task": list("abcabc")})
    >>> order_audit(table)[["switch_rate", "longest", "periodic"]].values.tolist()
    [[1.0, 1, True]]
    """
    practice = table[(table["phase"] == PRACTICE_PHASE) & table["task"].notna()]
    order = [name for name in ("session", "block", "trial") if name in practice.columns]
    practice = practice.sort_values(["participant", *order], kind="stable")
    rows = [
        _described(name, part)
        for name, part in practice.groupby("participant", sort=True, observed=True)
    ]
    return pd.DataFrame(rows, columns=[*_COLUMNS, "periodic"])


def orders_as_planned(sheet: Sheet, design: Design) -> pd.DataFrame:
    """Find participants whose practice does not have the order of their group's schedule."""
    if not sheet.has("phase", "task", "group") or len(design.tasks) < 2:
        return gather([])
    audit = order_audit(sheet.table)
    # A group with an order of its own in a session has no one order to hold its practice against.
    schedules = {
        group.name: group.schedule
        for group in design.groups
        if not any(entry.schedule for entry in design.practice_of(group.name))
    }
    sessions = {name: max(len(design.practice_of(name)), 1) for name in schedules}
    wrong = [
        (entry.participant, entry, schedules[entry.group])
        for entry in audit.itertuples()
        if entry.group in schedules
        and not _fits(entry, schedules[entry.group], sessions[entry.group])
    ]
    practice = (sheet.table["phase"] == PRACTICE_PHASE).to_numpy()
    people = sheet.table["participant"].to_numpy()
    lines = np.array(
        [np.flatnonzero(practice & (people == name))[0] for name, _, _ in wrong], dtype=int
    )
    return sheet.problems(
        "practice order differs from the schedule",
        lines,
        column="task",
        values=[
            f"{name}: switch rate {entry.switch_rate:.2f}, longest run {entry.longest}"
            for name, entry, _ in wrong
        ],
        severity="doubt",
        advice=[
            f"the group's schedule is {schedule}; check which sheet this person practised from, "
            "and record the deviation"
            for _, _, schedule in wrong
        ],
    )


def _described(name: object, part: pd.DataFrame) -> tuple[object, ...]:
    tasks = pd.factorize(part["task"])[0]
    session = part["session"].to_numpy() if "session" in part else np.zeros(len(part))
    within = session[1:] == session[:-1]
    changed = (tasks[1:] != tasks[:-1]) & within
    steps = int(within.sum())
    starts = np.flatnonzero(np.r_[True, (tasks[1:] != tasks[:-1]) | ~within])
    longest = int(np.diff(np.r_[starts, len(tasks)]).max())
    kinds = len(np.unique(tasks))
    same = session[kinds:] == session[:-kinds]
    periodic = kinds > 1 and bool((tasks[kinds:] == tasks[:-kinds])[same].all()) and longest == 1
    group = part["group"].iloc[0] if "group" in part else ""
    rate = changed.sum() / steps if steps else np.nan
    return name, group, len(part), kinds, int(changed.sum()), rate, longest, periodic


def _fits(entry: Any, schedule: str, sessions: int) -> bool:
    if schedule == "blocked":
        return bool(entry.switches <= sessions * max(entry.tasks - 1, 1))
    if schedule == "constant":
        return bool(entry.tasks == 1)
    if schedule == "serial":
        return bool(entry.switch_rate >= 0.9)
    if schedule == "random" and entry.tasks > 2:
        low, high = _RANDOM_RATE
        return bool(low <= entry.switch_rate <= high and not entry.periodic)
    return True
