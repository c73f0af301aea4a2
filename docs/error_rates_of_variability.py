"""Simulate how often tests of a performer's spread err; writes two tables beside it.

    .venv/bin/python docs/error_rates_of_variability.py [studies] [seconds]

Groups whose spread does not differ, a pretest and a retention test of twelve trials each. People
differ in level, in the logarithm of their standard deviation (by .3) and, in most lines, in how it
changes between the tests (by .2). Each study goes through ``fit_variability``. Studies are added to
those of the files.

error-rates-variability.csv: two groups; the group's ratio at the retention test and the interaction
of group and test. In the lines whose level part is ``1 + test`` people also move in level between
the tests (by 2), and the model is the one that ``analyse_study`` takes for signed errors; where it
is ``1 + test * axis`` each throw has two directions of one spread, and the model is the one taken
for landing points.

error-rates-spread-groups.csv: those two models with one group, where the later is tested against
the earlier spread, and with three, where two groups are tested against the first. ``late ratio``
and ``ratio of changes`` are shares of studies in which any p, adjusted where there are two, is
below .05.
"""

from pathlib import Path

import numpy as np
import pandas as pd
from growing_table import grow_as_asked, means

import motorlearn as ml
from motorlearn.exceptions import MotorlearnError
from motorlearn.linear import holm
from motorlearn.mixed import VariabilityFit

HERE = Path(__file__).parent
PAIR, GROUPS = HERE / "error-rates-variability.csv", HERE / "error-rates-spread-groups.csv"
CHUNK = 10
LANDING = "1 + test * axis"
NAMES = ("blocked", "random", "serial")
PAIRS = [
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
OTHERS = [
    (groups, people, change, ways)
    for groups in (1, 3)
    for ways in (1, 2)
    for people, change in ((10, 0.0), (10, 0.2), (20, 0.2))
]


def study(
    groups: int, people: int, change: float, moves: float, ways: int, rng: np.random.Generator
) -> pd.DataFrame:
    """One study whose groups do not differ in spread; that of one group stays as it was."""
    total = groups * people
    person, late, _ = (place.ravel() for place in np.indices((total, 2, 12)))
    drift = -0.2 if groups > 1 else 0.0
    wide, moved = rng.normal(0, 0.3, total), drift + rng.normal(0, change, total)
    sd = np.exp(1.5 + wide[person] + moved[person] * late)
    who = {
        "participant": person,
        "group": np.array(NAMES)[person // people],
        "test": np.where(late, "retention", "pretest"),
    }
    parts = []
    for axis in ("x", "y")[:ways]:
        level, shift = rng.normal(0, 3, total), rng.normal(0, moves, total) - 3
        score = 20 + level[person] + shift[person] * late + sd * rng.normal(size=len(sd))
        parts.append(pd.DataFrame({**who, "axis": axis, "score": score}))
    return pd.concat(parts, ignore_index=True)


def fitted(table: pd.DataFrame, level: str, part: str) -> VariabilityFit:
    """Level and spread of one study's trials."""
    both = "group * test" if table["group"].nunique() > 1 else "test"
    two = level == LANDING
    return ml.fit_variability(
        f"score ~ ({both}) * axis" if two else f"score ~ {both}",
        table,
        random={"participant": level},
        spread=f"{both} + axis" if two else both,
        spread_random=part,
        correlated=not two,
    )


def of_pair(people: int, change: float, part: str, level: str, seed: int) -> dict[str, float]:
    """Whether tests of one study of two groups are significant, and what the fit warns of."""
    rng = np.random.default_rng([13, seed, people, int(10 * change)])
    moves, ways = 2.0 if level != "1" else 0.0, 2 if level == LANDING else 1
    try:
        fit = fitted(study(2, people, change, moves, ways, rng), level, part)
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


def of_groups(groups: int, people: int, change: float, ways: int, seed: int) -> dict[str, float]:
    """Whether any comparison of one study of one or three groups is significant."""
    rng = np.random.default_rng([17, seed, people, int(10 * change), ways, groups])
    table = study(groups, people, change, 2.0, ways, rng)
    try:
        fit = fitted(table, LANDING if ways == 2 else "1 + test", "1 + test")
    except MotorlearnError:
        return {"failed": 1.0, "late ratio": 0.0, "ratio of changes": 0.0}
    if groups == 1:
        return {
            "failed": 0.0,
            "ratio of changes": float(fit.ratios("test").frame["p"].iloc[0] < 0.05),
        }
    weights = {
        f"{name} - {NAMES[0]}": [float(other == name) - float(other == NAMES[0]) for other in NAMES]
        for name in NAMES[1:]
    }
    at = fit.ratios("group", within="test", kind=weights).frame
    late = at[at["test"].astype(str) == "retention"]
    plan = fit.of_spread.design.fixed
    moved = [
        plan.columns.index(column)
        for column, parts in plan.parts().items()
        if {name for name, _ in parts} == {"group", "test"}
    ]
    return {
        "failed": 0.0,
        "late ratio": float((late["p_adjusted"] < 0.05).any()),
        "ratio of changes": float(
            (holm(fit.estimates["p"].iloc[moved].to_numpy(float)) < 0.05).any()
        ),
    }


def main() -> None:
    """Add studies to every line of both files."""

    pairs = [
        (
            {"a group": people, "change": change, "random part": part, "level part": level},
            means(of_pair, people, change, part, level),
        )
        for people, change, part, level in PAIRS
    ]
    others = [
        (
            {"groups": groups, "a group": people, "change": change, "directions": ways},
            means(of_groups, groups, people, change, ways),
        )
        for groups, people, change, ways in OTHERS
    ]
    grow_as_asked({GROUPS: others, PAIR: pairs}, goal=500, chunk=CHUNK)


if __name__ == "__main__":
    main()
