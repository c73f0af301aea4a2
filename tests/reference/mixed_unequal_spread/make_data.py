"""Invented ring-push data whose tests scatter unequally; writes tests.csv and trials.csv."""

from pathlib import Path

import numpy as np
import pandas as pd

rng = np.random.default_rng(1810)
PHASES = ("pretest", "posttest", "retention")
sd = np.array([3.0, 4.0, 9.0])
corr = np.array([[1, 0.6, 0.2], [0.6, 1, 0.4], [0.2, 0.4, 1]])
root = np.linalg.cholesky(corr * np.outer(sd, sd))
tests, trials = [], []
for person in range(23):
    group = "random" if person % 2 else "blocked"
    levels = np.array([34.0, 26.0, 29.0]) - 2.0 * (group == "random") + root @ rng.normal(size=3)
    for phase, level, noise in zip(PHASES, levels, (2.0, 2.0, 5.0)):
        row = {"participant": f"p{person:02d}", "group": group, "phase": phase}
        if rng.random() > 0.15:
            tests.append({**row, "radial_error": round(level, 3)})
        shared = 30 + (levels.mean() - 30) * 0.7 + rng.normal(0, 2.5)
        for error in shared + rng.normal(0, noise, size=int(rng.integers(3, 6))):
            spread = "wide" if phase == "retention" else "narrow"
            trials.append({**row, "spread": spread, "radial_error": round(error, 3)})
HERE = Path(__file__).parent
pd.DataFrame(tests).to_csv(HERE / "tests.csv", index=False)
pd.DataFrame(trials).to_csv(HERE / "trials.csv", index=False)
