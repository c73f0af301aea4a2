"""What goes wrong in an invented study: withdrawals, missed tests, void trials, late tests."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from motorlearn.plan.timetable import Timetable

MISSED_SHARE: Final = 0.06
WITHDRAWN_SHARE: Final = 3 / 72
VOID_SHARE: Final = 0.015
POOR_SLOPE: Final = 0.6
VOID_REASONS: Final = ("ring left the lane", "foot over the line", "disturbance", "paddle slipped")
COMPLETED: Final = "completed"
MISSED: Final = "missed the delayed tests"
_LATE_PEOPLE: Final = 2
_DAY_SHIFTS: Final = ((-1, 0, 1), (0.1, 0.75, 0.15))


@dataclass(frozen=True)
class Mishaps:
    """What went wrong.

    Parameters
    ----------
    absent : ndarray of bool, shape (people, trials)
        Trials that did not take place.
    void : ndarray of object, shape (people, trials)
        Reason why a trial does not count; empty where it does.
    status : ndarray of object, shape (people,)
        What became of each participant.
    day_shift : ndarray of int, shape (people,)
        Days by which the delayed tests were early or late.
    """

    absent: np.ndarray
    void: np.ndarray
    status: np.ndarray
    day_shift: np.ndarray


def draw_mishaps(
    plan: Timetable, poor: np.ndarray, rng: np.random.Generator, *, on: bool
) -> Mishaps:
    """Draw what goes wrong.

    Some 6 % miss the delayed tests: two thirds by chance, one third the more likely the poorer the
    immediate score (log odds 0.6 per standard deviation). Three of 72 withdraw during the last
    practice session. Of the trials, 1.5 % are void.

    Parameters
    ----------
    plan : Timetable
        What happens when.
    poor : ndarray, shape (people,)
        Standard score of the immediate test, higher is poorer.
    rng : Generator
        Source of chance.
    on : bool
        Whether anything goes wrong at all.
    """
    n, trials = len(poor), len(plan.event)
    status = np.full(n, COMPLETED, dtype=object)
    absent = np.zeros((n, trials), dtype=bool)
    void = np.full((n, trials), "", dtype=object)
    shift = np.zeros(n, dtype=int)
    if not on:
        return Mishaps(absent, void, status, shift)
    delayed = np.isin(plan.phase, ("retention", "transfer"))
    withdrawn, missed = _who(n, poor, rng)
    if delayed.any():
        absent[missed] = delayed
        status[missed] = MISSED
    _withdraw(plan, withdrawn, absent, status, rng)
    hit = (rng.random((n, trials)) < VOID_SHARE) & ~absent
    void[hit] = rng.choice(np.array(VOID_REASONS, dtype=object), hit.sum())
    shift = rng.choice(_DAY_SHIFTS[0], n, p=_DAY_SHIFTS[1])
    present = np.flatnonzero(status == COMPLETED)
    shift[rng.permutation(present)[: min(_LATE_PEOPLE, n // 20)]] = 2
    return Mishaps(absent, void, status, shift)


def _who(n: int, poor: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    n_missed, n_withdrawn = round(MISSED_SHARE * n), round(WITHDRAWN_SHARE * n)
    by_score = round(n_missed / 3)
    weights = np.exp(POOR_SLOPE * poor)
    selected = rng.choice(n, by_score, replace=False, p=weights / weights.sum())
    rest = rng.permutation(np.setdiff1d(np.arange(n), selected))
    by_chance = rest[: n_missed - by_score]
    withdrawn = rest[n_missed - by_score :][:n_withdrawn]
    return withdrawn, np.concatenate([selected, by_chance]).astype(int)


def _withdraw(
    plan: Timetable,
    who: np.ndarray,
    absent: np.ndarray,
    status: np.ndarray,
    rng: np.random.Generator,
) -> None:
    practice = [number for number, event in enumerate(plan.events) if event.is_practice]
    if not practice:
        return
    start = np.flatnonzero(plan.event == practice[-1])
    for person in who:
        stop = start[rng.integers(len(start) // 4, max(3 * len(start) // 4, 1))]
        absent[person, stop:] = True
        status[person] = f"withdrew in session {plan.events[practice[-1]].session}"
