"""Simulate how often tests of a performer's spread err; writes error-rates-variability.csv.

    .venv/bin/python docs/error_rates_of_variability.py [studies] [seconds]

Two groups whose spread does not differ, a pretest and a retention test of twelve trials each.
People differ in level, in the logarithm of their standard deviation (by .3) and, in most lines, in
how it changes between the tests (by .2). Each study goes through ``fit_variability``; the group's
ratio at the retention test and the interaction of group and test are looked at. In the lines whose
level part is ``1 + test`` people also move in level between the tests (by 2), and the model is the
one that ``analyse_study`` takes for signed errors; where it is ``1 + test * axis`` each throw has
two directions of one spread, and the model is the one taken for landing points. Studies are added
to those of the file.
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

FILE = Path(__file__).parent / "error-rates-variability.csv"
CHUNK = 10
LANDING = "1 + test * axis"
CELLS = [
    (10, 0.0, "1", "1"),
    (20, 0.0, "1", "1"),
    (10, 0.2, "1 + test", "1"),
    (10, 0.2, "1", "1"),
    (20, 0.2, "1 + test", "1"),
    (10, 0.0, "1 + test", "1 + test"),
    (10, 0.2, "1 + test", "1 + test"),
    (20, 0.2, "1 + test", "1 + test"),
    (10, 0.0, "1 + test", LANDING),
    (10, 0.2, "1 + test", LANDING),
    (20, 0.2, "1 + test", LANDING),
]


def study(people: int, change: float, rng: np.random.Generator, moves: float = 0.0) -> pd.DataFrame:
    """One study without a difference of spread between groups."""
    total = 2 * people
    person = np.repeat(np.arange(total), 24)
    late = np.tile(np.repeat([0, 1], 12), total)
    level, wide = rng.normal(0, 3, total), rng.normal(0, 0.3, total)
    log_sd = 1.5 - 0.2 * late + wide[person] + rng.normal(0, change, total)[person] * late
    score = 20 + level[person] - 3 * late + np.exp(log_sd) * rng.normal(size=len(late))
    score = score + rng.normal(0, moves, total)[person] * late
    return pd.DataFrame(
        {
            "participant": person,
            "group": np.where(person < people, "blocked", "random"),
            "test": np.where(late, "retention", "pretest"),
            "score": score,
        }
    )


def landings(people: int, change: float, rng: np.random.Generator) -> pd.DataFrame:
    """One study of landing points: a level for each direction, people with one spread in both."""
    along = study(people, change, rng, 2.0)
    total = 2 * people
    person = along["participant"].to_numpy()
    late = (along["test"] == "retention").to_numpy().astype(float)
    wide, moved = rng.normal(0, 0.3, total), rng.normal(0, change, total)
    sd = np.exp(1.5 - 0.2 * late + wide[person] + moved[person] * late)
    parts = []
    for axis in ("x", "y"):
        level, moves = rng.normal(0, 3, total), rng.normal(0, 2, total)
        score = level[person] + moves[person] * late + sd * rng.normal(size=len(person))
        parts.append(along.assign(axis=axis, score=score))
    return pd.concat(parts, ignore_index=True)


def once(people: int, change: float, part: str, level: str, seed: int) -> dict[str, float]:
    """Whether tests of one study are significant, and whether the interval holds the truth."""
    rng = np.random.default_rng([13, seed, people, int(10 * change)])
    two = level == LANDING
    table = (
        landings(people, change, rng)
        if two
        else study(people, change, rng, 2.0 if level != "1" else 0.0)
    )
    try:
        fit = ml.fit_variability(
            "score ~ (group * test) * axis" if two else "score ~ group * test",
            table,
            random={"participant": level},
            spread="group * test + axis" if two else "group * test",
            spread_random=part,
            correlated=not two,
        )
    except MotorlearnError:
        return {"failed": 1.0, "group": 0.0, "interaction": 0.0, "normal test": 0.0, "said": 0.0}
    late = fit.ratios("group", within="test").frame.iloc[-1]
    row = fit.estimates.iloc[-1]
    plain = row["std_error"] * np.sqrt(row["df"] / fit.people)
    return {
        "failed": 0.0,
        "group": float(late["p"] < 0.05),
        "interaction": float(row["p"] < 0.05),
        "normal test": float(abs(row["estimate"] / plain) > 1.96),
        "said": float(any("spread_random" in words for words in fit.warnings)),
    }


def rates(people: int, change: float, part: str, level: str, seeds: range) -> pd.Series:
    """Shares of these studies."""
    return pd.DataFrame([once(people, change, part, level, seed) for seed in seeds]).mean()


def main() -> None:
    """Add studies to every line of the file."""
    goal = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    until = time.monotonic() + (float(sys.argv[2]) if len(sys.argv) > 2 else 1e9)
    cells = [
        (
            {"a group": people, "change": change, "random part": part, "level part": level},
            partial(rates, people, change, part, level),
        )
        for people, change, part, level in CELLS
    ]
    grow(FILE, cells, goal=goal, chunk=CHUNK, until=until)


if __name__ == "__main__":
    main()
