"""Players of the class experiment: one who knows the floor, and one who learns it noisily."""

import math

import numpy as np

from motorlearn.teaching.aiming import Sitting, make_programme
from motorlearn.teaching.aiming.rehearsal import perfect_push


def play(seat, *, class_seed=1, pushes=102, noise=0.0):
    """Play so many pushes of a seat, waiting out the pause."""
    rng = np.random.default_rng([seat, class_seed])
    sitting, now = Sitting(make_programme(seat, class_seed=class_seed)).agree(0.0), 0.0
    for _ in range(pushes):
        now += 5
        now += sitting.wait(now)
        direction, speed = perfect_push(sitting.due.task, sitting.due.farther)
        direction += noise * 5 * rng.standard_normal()
        speed *= math.exp(noise * 0.1 * rng.standard_normal())
        sitting = sitting.push(direction, speed, now=now, time=0.2 + 0.3 * rng.random())
    return sitting
