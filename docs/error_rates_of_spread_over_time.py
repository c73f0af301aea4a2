"""Simulate how often the ratio of spread over time errs in one group; writes a table beside it.

    .venv/bin/python docs/error_rates_of_spread_over_time.py [studies] [seconds]

One group whose spread is the same at a pretest and a retention test of twelve trials each; people
differ in level (3), move in level between the tests (2), differ in the logarithm of their standard
deviation (.3) and, in some lines, in how it changes (.2). Each study goes through
``fit_variability`` with the model that ``analyse_study`` takes for signed errors or, with two
directions, for landing points. Studies are added to those of the file.
"""

import sys
import time
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
from growing_table import grow

import motorlearn as ml
from motorlearn.exceptions import MotorlearnError

FILE = Path(__file__).parent / "error-rates-spread-over-time.csv"
CHUNK = 20
CELLS = [
    (people, change, ways)
    for ways in (1, 2)
    for people, change in ((10, 0.0), (10, 0.2), (20, 0.2))
]


def study(people: int, change: float, ways: int, rng: np.random.Generator) -> pd.DataFrame:
    """One study without a change of spread on average."""
    person, late, _ = (place.ravel() for place in np.indices((people, 2, 12)))
    wide, moved = rng.normal(0, 0.3, people), rng.normal(0, change, people)
    sd = np.exp(1.5 + wide[person] + moved[person] * late)
    parts = []
    for axis in ("x", "y")[:ways]:
        level, moves = rng.normal(0, 3, people), rng.normal(0, 2, people)
        score = 20 + level[person] + (moves[person] - 3) * late + sd * rng.normal(size=len(sd))
        test = np.where(late, "retention", "pretest")
        parts.append(
            pd.DataFrame({"participant": person, "test": test, "axis": axis, "score": score})
        )
    return pd.concat(parts, ignore_index=True)


def once(people: int, change: float, ways: int, seed: int) -> dict[str, float]:
    """Whether the ratio of one study is significant, and whether its interval holds 1."""
    rng = np.random.default_rng([17, seed, people, int(10 * change), ways])
    two = ways == 2
    try:
        fit = ml.fit_variability(
            "score ~ test * axis" if two else "score ~ test",
            study(people, change, ways, rng),
            random={"participant": "1 + test * axis" if two else "1 + test"},
            spread="test + axis" if two else "test",
            spread_random="1 + test",
            correlated=not two,
        )
    except MotorlearnError:
        return {"failed": 1.0, "over time": 0.0, "interval holds 1": 1.0}
    (row,) = fit.ratios("test").frame.to_dict("records")
    holds = row["conf_low"] <= 1 <= row["conf_high"]
    return {"failed": 0.0, "over time": float(row["p"] < 0.05), "interval holds 1": float(holds)}


def rates(people: int, change: float, ways: int, seeds: range) -> pd.Series:
    """Shares of these studies."""
    return pd.DataFrame([once(people, change, ways, seed) for seed in seeds]).mean()


def main() -> None:
    """Add studies to every line of the file."""
    goal = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    until = time.monotonic() + (float(sys.argv[2]) if len(sys.argv) > 2 else 1e9)
    cells = [
        (
            {"people": people, "change": change, "directions": ways},
            partial(rates, people, change, ways),
        )
        for people, change, ways in CELLS
    ]
    grow(FILE, cells, goal=goal, chunk=CHUNK, until=until)


if __name__ == "__main__":
    main()
