"""Simulate how often savings of two groups without a difference differ; writes a table.

    .venv/bin/python docs/error_rates_of_savings.py [studies] [seconds]

Learners practise an exponential at a rate of .15 over three sessions of 14 trials, and keep .65 of
the way they gained when a session begins (SD .1 between learners, *wide* in the second group).
Asymptotes have an SD of 1 and scores an SD of 1 about the curve, neighbours correlated by
*neighbours* within a session; *noise* is ``correlation`` of ``compare_curves``. *differ* is the
share of studies with p of .05 or less, *missing* the share without a comparison because a group has
too few known savings, *left out* the share of learners whose savings are not known.
"""

from pathlib import Path

import numpy as np
import pandas as pd
from growing_table import grow_as_asked, means

from motorlearn.curves import compare_curves
from motorlearn.exceptions import InputError

FILE = Path(__file__).parent / "error-rates-savings.csv"
CHUNK = 10
SESSIONS, TRIALS = 3, 14
CELLS = [(10, 0.1, 0.0, "none"), (20, 0.1, 0.0, "none")]


def way(kept: float) -> np.ndarray:
    """Share of the way still to go at each trial."""
    left, found = 1.0, []
    for k in range(SESSIONS * TRIALS):
        left *= np.exp(-0.15) if k else 1.0
        left = kept * left + 1 - kept if k and k % TRIALS == 0 else left
        found.append(left)
    return np.array(found)


def scattered(rng: np.random.Generator, alike: float) -> np.ndarray:
    """Noise of SD 1 whose neighbours within a session are alike."""
    drawn = rng.normal(size=(SESSIONS, TRIALS))
    for k in range(1, TRIALS):
        drawn[:, k] = alike * drawn[:, k - 1] + np.sqrt(1 - alike**2) * drawn[:, k]
    return drawn.ravel()


def study(seed: int, learners: int, wide: float, alike: float) -> pd.DataFrame:
    """Two groups with the same mean of savings."""
    rng = np.random.default_rng([23, seed, learners, int(10 * wide), int(10 * alike)])
    trial = np.arange(1.0, SESSIONS * TRIALS + 1)
    parts = []
    for who in range(2 * learners):
        kept = 0.65 + (wide if who % 2 else 0.1) * rng.normal()
        scores = 20 + rng.normal() + 12 * way(kept) + scattered(rng, alike)
        named = {"participant": who, "group": "ab"[who % 2], "trial": trial}
        named["session"] = np.repeat(np.arange(SESSIONS), TRIALS)
        parts.append(pd.DataFrame(named | {"y": scores}))
    return pd.concat(parts, ignore_index=True)


def once(learners: int, wide: float, alike: float, noise: str, seed: int) -> dict[str, float]:
    """What is said of one study."""
    asked = {"quantity": "savings", "session": "session", "restart": "savings"}
    table = study(seed, learners, wide, alike)
    try:
        found = compare_curves(
            table, "y", practice="trial", group="group", correlation=noise, **asked
        )
    except InputError:
        return {"differ": 0.0, "missing": 1.0, "left out": np.nan}
    left_out = float(found.people["estimate"].isna().mean())
    differ = float(found.contrasts["p"].iloc[0] <= 0.05)
    return {"differ": differ, "missing": 0.0, "left out": left_out}


def main() -> None:
    """Add studies to every line of the file."""
    cells = [
        (
            {"learners": learners, "wide": wide, "neighbours": alike, "noise": noise},
            means(once, learners, wide, alike, noise),
        )
        for learners, wide, alike, noise in CELLS
    ]
    grow_as_asked({FILE: cells}, goal=1000, chunk=CHUNK)


if __name__ == "__main__":
    main()
