"""Invented people who meet every condition: their orders, and what lasts from one to the next."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.exceptions import InputError
from motorlearn.plan.allocation.planned import SEQUENCE_JOIN
from motorlearn.plan.simulation.attrition import COMPLETED, MISSED, Mishaps
from motorlearn.plan.simulation.enrolment import enrol
from motorlearn.plan.simulation.generator import People
from motorlearn.plan.timetable import timetable

KEPT = 0.4
"""Share of the gain that is still to be had when a second condition has the same task."""
OWN = 0.5
"""SD of what a person is better at under one condition, in SDs between people."""


def enrol_in_orders(design: Design, rng: np.random.Generator) -> pd.DataFrame:
    """People of the plan, ``group`` the order of conditions in which each meets them."""
    one = design.model_copy(update={"groups": design.groups[:1], "within": None})
    people = enrol(one, rng)
    orders = [SEQUENCE_JOIN.join(order) for order in design.sequences]
    drawn = rng.permutation(np.arange(len(people)) % len(orders))
    return people.assign(group=[orders[place] for place in drawn])


def periods_of(
    design: Design, enrolled: pd.DataFrame, people: People, spread: float, rng: np.random.Generator
) -> Iterator[tuple[int, pd.DataFrame, People]]:
    """Period by period: its number, people with the condition they meet, and their true values.

    The task stays, so that part of the gain has been made already when the next period begins.

    Raises
    ------
    InputError
        If a task or a hand changes places with the condition.
    """
    assert design.within is not None
    if design.within.by != "period":
        raise InputError(
            "studies within people are invented by period only",
            [f"within.by = {design.within.by!r}"],
            "invent the study of by = 'period'",
        )
    schedules = {group.name: group.schedule for group in design.groups}
    orders = [order.split(SEQUENCE_JOIN) for order in enrolled["group"]]
    for number in range(len(design.groups)):
        here = [order[number] for order in orders]
        own = people.log_sd + OWN * spread * rng.standard_normal(len(enrolled))
        now = enrolled.assign(group=here, schedule=[schedules[name] for name in here])
        yield number + 1, now, replace(people, log_sd=own, gain=people.gain * KEPT**number)


def days_between(design: Design) -> float:
    """Days from the start of one period to that of the next."""
    assert design.within is not None
    last = max(event.day for name in design.group_names for event in timetable(design, name).events)
    return float(np.ceil(last) + 1 + (design.within.washout_days or 0))


def withdrew(mishaps: Mishaps) -> np.ndarray:
    """Who stopped for good, not who missed one test."""
    found: np.ndarray = ~np.isin(mishaps.status.astype(str), (COMPLETED, MISSED))
    return found


def told_once(parts: list[pd.DataFrame], orders: pd.DataFrame) -> pd.DataFrame:
    """One row a person: the order of conditions, and the first thing that went wrong."""
    every = pd.concat(parts)
    wrong = every[every["status"] != COMPLETED].drop_duplicates("participant")
    status = dict(zip(wrong["participant"], wrong["status"]))
    first = parts[0].drop_duplicates("participant").set_index("participant", drop=False)
    order = orders.set_index("participant")["group"]
    return first.assign(
        group=order.reindex(first.index),
        status=[status.get(name, COMPLETED) for name in first["participant"]],
    ).reset_index(drop=True)
