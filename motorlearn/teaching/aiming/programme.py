"""What one seat of the class does: its group by lot, and every push in its order."""

from dataclasses import dataclass
from functools import cache
from itertools import permutations
from pathlib import Path
from typing import Final

import numpy as np
import tomlkit

from motorlearn.design import Design, design_from_mapping
from motorlearn.exceptions import DesignError, InputError
from motorlearn.plan import make_schedule
from motorlearn.teaching.aiming.floor import FARTHER

GAP_MINUTES: Final = 4.0
"""Shortest pause between the last push of practice or posttest and the retention test."""
SEATS: Final = 200
_LATER: Final = ("retention", "transfer")
_ORDER: Final = ("pretest", "acquisition", "posttest", "retention", "transfer")


def plan_text(retention_days: float | None = None, *, cells: bool = False) -> str:
    """Give ``study.toml`` of the class experiment.

    Parameters
    ----------
    retention_days : float, optional
        Days from practice to the last two tests; by default they come after a pause of minutes.
    cells : bool
        Whether the data hold a row for each block and test instead of each push.

    Raises
    ------
    InputError
        If the days are not between half a day and a year.
    """
    text = (Path(__file__).parent / "study.toml").read_text(encoding="utf-8")
    if cells:
        text = text.replace(*_AS_HITS).replace(*_AS_MEANS)
    if retention_days is None:
        return text
    if not 0.5 <= retention_days <= 366:
        raise InputError(
            "retention comes so many days after practice",
            [retention_days],
            "give 0.5 to 366, or leave the days out for a pause of four minutes",
        )
    content = tomlkit.parse(text)
    for test in content["tests"]:
        if test["phase"] in _LATER:
            days = int(retention_days) if retention_days % 1 == 0 else float(retention_days)
            test.update({"session": 2, "day": days, "interval_days": days, "window_days": 2})
            if test["phase"] == "retention":
                test["description"] = "days later, without practice in between"
    return tomlkit.dumps(content)


_AS_HITS: Final = (
    'name = "hit"\nlabel = "hits"\nbetter = "higher"\nlow = 0\nhigh = 1',
    'name = "hits"\nlabel = "hits"\nbetter = "higher"\nlow = 0',
)
_AS_MEANS: Final = ('label = "radial error"', 'label = "mean radial error of a block or test"')


@cache
def class_plan(retention_days: float | None = None) -> Design:
    """Give the plan of the class experiment."""
    return design_from_mapping(tomlkit.parse(plan_text(retention_days)).unwrap())


def target_radius() -> float:
    """Give the radius of the target disc in cm."""
    disc = class_plan().target
    if disc is None:
        raise DesignError("the plan of the class experiment has no target")
    return disc.radius


@dataclass(frozen=True)
class PlannedPush:
    """One push as it was planned."""

    phase: str
    block: int
    trial: int
    task: str
    feedback: bool
    farther: float
    session: int = 1


@dataclass(frozen=True)
class Programme:
    """Everything one seat will do.

    Parameters
    ----------
    seat : int
        Number of the seat, drawn by lot; it stands for the person.
    class_seed : int
        Seed that the whole class shares.
    group : str
        Practice group.
    pushes : tuple of PlannedPush
        Every push in its order.
    """

    seat: int
    class_seed: int
    group: str
    pushes: tuple[PlannedPush, ...]

    @property
    def participant(self) -> str:
        """Study identifier of the seat."""
        return f"S{self.seat:03d}"


def make_programme(seat: int, *, class_seed: int, plan: Design | None = None) -> Programme:
    """Make the programme of a seat: the same seat and class seed give the same programme.

    Seats are allocated in pairs by lot, so that groups never differ by more than one. The blocked
    group takes the tasks in one of their six orders, each order for every sixth person.

    Parameters
    ----------
    seat : int
        Number of the seat, 1 to 200.
    class_seed : int
        Seed that the whole class shares.
    plan : Design, optional
        Plan with two groups; default the class experiment's own.

    Raises
    ------
    InputError
        If the seat is not a whole number in that range.

    Examples
    --------
    >>> first, second = (make_programme(seat, class_seed=1).group for seat in (1, 2))
    >>> sorted([first, second])
    ['blocked', 'random']
    >>> len(make_programme(1, class_seed=1).pushes)
    102
    """
    if not 1 <= seat <= SEATS or int(seat) != seat:
        raise InputError("a seat has a whole number", [seat], f"draw a number from 1 to {SEATS}")
    design = plan or class_plan()
    pair = (seat - 1) // 2
    names = np.random.default_rng([class_seed, pair]).permutation(design.group_names)
    group = str(names[(seat - 1) % 2])
    tasks = [task.name for task in design.tasks]
    tasks = list(list(permutations(tasks))[pair % 6])
    pushes = [
        push
        for step, phase in enumerate(_ORDER)
        for push in _phase(design, phase, group, tasks, [class_seed, seat, step])
    ]
    return Programme(seat, class_seed, group, tuple(pushes))


def _phase(
    design: Design, phase: str, group: str, tasks: list[str], seed: list[int]
) -> list[PlannedPush]:
    practice, session = phase == "acquisition", 1
    if practice:
        size = design.practice[0].trials_per_block
        count = size * design.practice[0].blocks
        kind = next(entry.schedule for entry in design.groups if entry.name == group)
    else:
        test = next(test for test in design.tests if test.phase == phase)
        size, session = test.trials, test.session or 1
        count = size
        kind = "random"
    chance = int(np.random.SeedSequence(seed).generate_state(1)[0])
    order = make_schedule(kind, tasks, count, block_size=size, seed=chance)
    return [
        PlannedPush(
            phase,
            int(row.block),
            int(row.trial),
            row.task,
            practice,
            FARTHER if phase == "transfer" else 0.0,
            session,
        )
        for row in order.itertuples()
    ]
