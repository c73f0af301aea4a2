"""A class of invented players, to rehearse the class experiment before the lecture."""

import math
from pathlib import Path
from typing import Final

import numpy as np

from motorlearn.teaching.aiming.files import save_sitting
from motorlearn.teaching.aiming.floor import BOARD, GLIDE, HOP, SPEEDS, target
from motorlearn.teaching.aiming.programme import make_programme
from motorlearn.teaching.aiming.sitting import Sitting

_FIRST_SPREAD: Final = (9.0, 0.22)
_LAST_SPREAD: Final = (3.5, 0.09)
_RATE: Final = 0.08
_SECONDS: Final = 5.0


def perfect_push(task: str, farther: float = 0.0) -> tuple[float, float]:
    """Direction in degrees and speed in cm/s that put the ring on the target centre.

    Examples
    --------
    >>> perfect_push("straight")
    (0.0, 800.0)
    """
    x, y = target(task, farther)
    x = 2 * BOARD - x if task == "bank" else x
    direction, length = math.degrees(math.atan2(x, y)), math.hypot(x, y)
    if task == "lob":
        return -direction, math.sqrt(length / HOP)
    return direction, length / GLIDE


def rehearse_sitting(seat: int, *, class_seed: int, seed: int, pushes: int = 102) -> Sitting:
    """Let an invented player do the pushes of a seat.

    The player aims rightly and scatters; the scatter of a task shrinks exponentially with its
    practice. Practice order makes no difference, so a rehearsal shows no effect of the schedule.
    """
    rng = np.random.default_rng([seed, seat])
    sitting, now = Sitting(make_programme(seat, class_seed=class_seed)).agree(0.0), 0.0
    skill = math.exp(0.2 * rng.standard_normal())
    done = dict.fromkeys(("straight", "bank", "lob"), 0)
    for _ in range(pushes):
        now += _SECONDS
        now += sitting.wait(now)
        task = sitting.due.task
        left = math.exp(-_RATE * done[task])
        angle, stretch = (
            skill * (last + (first - last) * left)
            for first, last in zip(_FIRST_SPREAD, _LAST_SPREAD)
        )
        done[task] += 1
        direction, speed = perfect_push(task, sitting.due.farther)
        sitting = sitting.push(
            float(np.clip(direction + angle * rng.standard_normal(), -90, 90)),
            float(np.clip(speed * math.exp(stretch * rng.standard_normal()), *SPEEDS)),
            now=now,
            time=0.2 + 0.3 * rng.random(),
        )
    return sitting


def rehearse_class(folder: str | Path, *, seats: int, class_seed: int, seed: int = 1) -> Path:
    """Write the files of a class of invented players, as the class experiment would.

    Parameters
    ----------
    folder : path-like
        Existing folder.
    seats : int
        Number of seats.
    class_seed : int
        Seed that the class shares.
    seed : int
        Seed of the players.

    Returns
    -------
    Path
        The folder.
    """
    for seat in range(1, seats + 1):
        save_sitting(rehearse_sitting(seat, class_seed=class_seed, seed=seed), folder)
    return Path(folder)
