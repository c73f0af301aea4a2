"""The rows of blank data sheets: every planned trial, rating and session of every participant."""

from typing import Final

import numpy as np
import pandas as pd

from motorlearn.design import Design, Group
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.plan.allocation.allocation import AllocationList
from motorlearn.plan.allocation.planned import SEQUENCE_JOIN, allocate_plan
from motorlearn.plan.arguments import a_plan
from motorlearn.plan.schedules.task_orders import planned_orders
from motorlearn.plan.simulation.ratings import FILMED
from motorlearn.plan.timetable import Event, drill_of_trials, timetable
from motorlearn.vocabulary import COLUMNS

SESSION_LOG: Final = (
    "date",
    "tester",
    "warm_up_done",
    "pain_before",
    "pain_after",
    "fatigue_before",
    "fatigue_after",
    "stopped_because",
    "note",
)


def allocation_of(design: Design, people: pd.DataFrame | None, *, seed: int) -> AllocationList:
    """Allocate people as the plan says; without a list, as many as the plan has, numbered.

    Raises
    ------
    InputError
        If the plan has no sizes, or its strata need a list of people.
    """
    return allocate_plan(design, people, seed=seed)


def people_of(design: Design, people: pd.DataFrame | None) -> pd.DataFrame | None:
    """Give a list that has its groups already, or the one group of the plan to everybody."""
    if people is not None and "group" in people.columns:
        _check_groups(design, people)
        return people.reset_index(drop=True)
    if len(design.groups) == 1:
        size = design.groups[0].size
        if people is None and size is None:
            raise InputError("the plan has no size", None, "set groups.size or give a list")
        names = (
            people["participant"]
            if people is not None
            else pd.Series([f"P{i + 1:02d}" for i in range(size or 0)])
        )
        frame = pd.DataFrame({"participant": names.reset_index(drop=True)})
        return frame.assign(group=design.group_names[0])
    return None


def _check_groups(design: Design, people: pd.DataFrame) -> None:
    absent = [name for name in ("participant", "group") if name not in people.columns]
    if absent:
        raise ColumnError("the list of participants lacks a column", absent, "add it")
    known = list(design.group_names)
    if design.within is not None:
        known = [SEQUENCE_JOIN.join(order) for order in design.sequences]
    strange = sorted(set(people["group"].astype("str")) - set(known))
    if strange:
        what = "groups" if design.within is None else "orders of conditions"
        raise InputError(
            f"the list names {what} the plan lacks", strange, f"the plan has {', '.join(known)}"
        )


def planned_trials(design: Design, people: pd.DataFrame, *, seed: int) -> pd.DataFrame:
    """List every planned trial of every participant, outcomes left empty.

    Parameters
    ----------
    design : Design
        The plan.
    people : DataFrame
        ``participant, group``; where each person meets every condition, ``group`` is the order
        of conditions, as ``blocked then random``.
    seed : int
        Seed of the orders.

    Returns
    -------
    DataFrame
        ``participant, phase, session, block, trial, task, feedback`` (1 where feedback is due), the
        outcome columns, ``void``, ``date``. The group is left out on purpose. Where each person
        meets every condition, ``period`` and ``group``, the condition, follow the participant.
    """
    _check_groups(a_plan(design), people)
    if design.within is None:
        return _of_groups(design, people, seed)
    parts = []
    for number, now in enumerate(_by_period(design, people)):
        rows = _of_groups(design, now, seed + number)
        condition = now.set_index("participant")["group"]
        rows.insert(1, "period", number + 1)
        rows.insert(2, "group", rows["participant"].map(condition).to_numpy())
        parts.append(rows)
    place = pd.Series(np.arange(len(people)), index=people["participant"].to_numpy())
    every = pd.concat(parts, ignore_index=True)
    order = np.argsort(place[every["participant"]].to_numpy(), kind="stable")
    return every.iloc[order].reset_index(drop=True)


def _by_period(design: Design, people: pd.DataFrame) -> list[pd.DataFrame]:
    """People with the condition that each of them meets in every period."""
    if design.within is not None and design.within.by != "period":
        raise InputError(
            "sheets are written by period only",
            [f"within.by = {design.within.by!r}"],
            "write the sheets of by = 'period', and note the task or hand in a column of that name",
        )
    orders = [order.split(SEQUENCE_JOIN) for order in people["group"].astype("str")]
    return [
        people.assign(group=[order[number] for order in orders])
        for number in range(len(design.groups))
    ]


def _of_groups(design: Design, people: pd.DataFrame, seed: int) -> pd.DataFrame:
    """Trials of people who are in one group each."""
    place = pd.Series(np.arange(len(people)), index=people["participant"].to_numpy())
    parts = [
        _group_trials(design, group, people[people["group"] == group.name], seed)
        for group in (design.groups if not design.practice_is_shared else ())
    ] or [_group_trials(design, None, people, seed)]
    rows = pd.concat(parts, ignore_index=True) if len(parts) > 1 else parts[0]
    order = np.argsort(place[rows["participant"]].to_numpy(), kind="stable")
    return rows.iloc[order].reset_index(drop=True)


def _group_trials(
    design: Design, group: Group | None, people: pd.DataFrame, seed: int
) -> pd.DataFrame:
    """Trials of the people of one group, or of all where they practise the same sessions."""
    plan = timetable(design, None if group is None else group.name)
    schedule = {entry.name: entry.schedule for entry in design.groups}
    listed = people.assign(schedule=people["group"].map(schedule))
    _, tasks = planned_orders(design, plan, listed, seed=seed)
    n, k = tasks.shape
    frame = pd.DataFrame(
        {
            "participant": np.repeat(people["participant"].to_numpy(), k),
            "phase": np.tile(plan.phase, n),
            "session": np.tile(plan.session, n),
            "block": np.tile(plan.block, n),
            "trial": np.tile(plan.trial, n),
        }
    )
    if design.tasks:
        names = np.array([task.name for task in design.tasks], dtype=object)
        frame["task"] = names[tasks].ravel()
    for name in outcome_columns(design):
        frame[name] = ""
    frame["feedback"] = np.tile(plan.feedback.astype(int), n)
    drill, counted = drill_of_trials(plan)
    if design.drills:
        frame.insert(5, "drill", np.tile(drill, n))
    return frame.assign(void="", date="")[np.tile(counted, n)].reset_index(drop=True)


def outcome_columns(design: Design) -> list[str]:
    """Columns in which a trial's outcome is written down."""
    names = {outcome.name for outcome in design.outcomes}
    wanted = set()
    if names & {"hit", "hits", "hit_rate"}:
        wanted.add("hit")
    if "radial_error" in names or names & {"x", "y"}:
        wanted |= {"x", "y", "radial_error"}
    wanted |= names & {"error", "time", "speed", "score"}
    known = [name for name in COLUMNS if name in wanted]
    spoken = {*COLUMNS, "hits", "hit_rate"}
    own = [o.recorded for o in design.outcomes if o.column or o.name not in spoken]
    return list(dict.fromkeys([*known, *own]))


def session_log(design: Design, people: pd.DataFrame) -> pd.DataFrame:
    """List every session of every participant, with fields for pain, fatigue and stopping."""
    if design.within is not None:
        parts = []
        for number, now in enumerate(_by_period(design, people)):
            rows = _sessions_of_groups(design, now)
            rows.insert(1, "period", number + 1)
            parts.append(rows)
        order = ["participant", "period", "session"]
        return pd.concat(parts).sort_values(order, ignore_index=True, kind="stable")
    return _sessions_of_groups(design, people)


def _sessions_of_groups(design: Design, people: pd.DataFrame) -> pd.DataFrame:
    own = {
        name: sorted({event.session for event in timetable(design, name).events})
        for name in design.group_names
    }
    sessions = people["group"].map(own)
    frame = pd.DataFrame(
        {
            "participant": np.repeat(people["participant"].to_numpy(), sessions.map(len)),
            "session": [number for numbers in sessions for number in numbers],
        }
    )
    return frame.assign(**dict.fromkeys(SESSION_LOG, ""))


def clip_list(
    design: Design, people: pd.DataFrame, *, clips_per_test: int, seed: int
) -> pd.DataFrame:
    """Number the clips in shuffled order, so that a code tells nothing about person or test.

    Returns
    -------
    DataFrame
        ``clip, participant, phase, session, test, number``, sorted by code: the key. Raters get
        ``clip`` only.
    """
    rows = [
        (person, event.phase, event.session, event.label, number)
        for person in people["participant"]
        for event in _filmed(design)
        for number in range(1, clips_per_test + 1)
    ]
    order = np.random.default_rng(seed).permutation(len(rows))
    width = max(4, len(str(len(rows))))
    names = ["participant", "phase", "session", "test", "number"]
    key = pd.DataFrame([rows[i] for i in order], columns=names)
    key.insert(0, "clip", [f"C{i + 1:0{width}d}" for i in range(len(rows))])
    return key


def _filmed(design: Design) -> list[Event]:
    """Tests that are filmed: all where the plan has a checklist, else the usual ones."""
    tests = [event for event in timetable(design).events if not event.is_practice]
    if design.checklist is not None:
        return tests
    return [event for event in tests if event.phase in FILMED] or tests[:1]


def rating_rows(
    key: pd.DataFrame, items: list[str], raters: list[str], *, double: float, seed: int
) -> pd.DataFrame:
    """List what each rater rates: the first all clips, the others a share, each in an own order.

    Returns
    -------
    DataFrame
        ``clip, rater, position, item, score``; neither person nor test is named.
    """
    rng = np.random.default_rng(seed)
    parts = []
    for number, rater in enumerate(raters):
        share = len(key) if number == 0 else int(np.ceil(double * len(key)))
        chosen = key["clip"].to_numpy()[rng.permutation(len(key))[:share]]
        parts.append(
            pd.DataFrame(
                {
                    "clip": np.repeat(chosen, len(items)),
                    "rater": rater,
                    "position": np.repeat(np.arange(1, share + 1), len(items)),
                    "item": np.tile(np.array(items, dtype=object), share),
                    "score": "",
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def unblind(ratings: pd.DataFrame, key: pd.DataFrame) -> pd.DataFrame:
    """Put person and test back beside the ratings, once rating is finished.

    Raises
    ------
    InputError
        If a rating names a clip that the key lacks.
    """
    strange = sorted(set(ratings["clip"]) - set(key["clip"]))
    if strange:
        raise InputError("clips are not in the key", strange, "correct the clip numbers")
    known = [name for name in ("session", "test") if name in key and name not in ratings]
    joined = ratings.merge(key[["clip", "participant", "phase", *known]], on="clip", how="left")
    first = ["participant", "phase", "clip", *known]
    return joined[[*first, *(name for name in ratings.columns if name != "clip")]]
