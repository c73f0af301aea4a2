"""Invented trials for the tests of the comparison of phases."""

import numpy as np
import pandas as pd

PHASES = ("pretest", "acquisition", "posttest", "retention", "transfer")


def invent_study(sizes, *, seed=0, trials=10, effect=0.0, phases=PHASES):
    """Trials of groups blocked, serial, random; the last group differs by effect after practice."""
    rng = np.random.default_rng(seed)
    groups = ("blocked", "serial", "random")[-len(sizes) :] if len(sizes) > 1 else ("blocked",)
    rows = []
    for group, size in zip(groups, sizes, strict=True):
        for _ in range(size):
            name, level = f"P{len(rows) // (trials * len(phases)):03d}", rng.normal(30, 4)
            for phase in phases:
                shift = effect if group == groups[-1] and phase in PHASES[2:] else 0.0
                x, y = rng.normal(0, level / 1.5 + shift, size=(2, trials))
                for trial in range(trials):
                    rows.append((name, group, phase, trial + 1, x[trial], y[trial]))
    table = pd.DataFrame(rows, columns=["participant", "group", "phase", "trial", "x", "y"])
    radial = np.hypot(table["x"], table["y"])
    return table.assign(radial_error=radial, hit=(radial <= 20).astype(int))
