"""Simulate how often tests err where trials resemble their neighbours; writes a table.

    .venv/bin/python docs/error_rates_of_neighbours.py [studies] [seconds]

Two groups without a difference, 10 and 20 people each. In ``days`` every person has one score on
each of ten days, with a level and a change of their own, and the test is whether the change a day
differs between groups; in ``sessions`` every person has three sessions of eight trials, with a
level of their own that moves from session to session, and the test is the difference in the last.
The residuals of a run follow an autoregression. Each study goes through ``fit_mixed`` with
``correlation="ar1"`` and without it. Studies are added to those of the file.
"""

from pathlib import Path

import numpy as np
import pandas as pd
from growing_table import grow_as_asked, means

import motorlearn as ml
from motorlearn.exceptions import MotorlearnError

FILE = Path(__file__).parent / "error-rates-neighbours.csv"
CHUNK = 25
CELLS = [
    (design, people, rho)
    for rho in (0.3, 0.6)
    for people in (10, 20)
    for design in ("days", "sessions")
]
SHAPE = {"days": (1, 10), "sessions": (3, 8)}


def study(design: str, people: int, rho: float, rng: np.random.Generator) -> pd.DataFrame:
    """One study without a difference between groups."""
    sessions, places = SHAPE[design]
    total = 2 * people
    noise = rng.normal(0, 1, (total, sessions, places))
    for place in range(1, places):
        fresh = np.sqrt(1 - rho**2) * noise[:, :, place]
        noise[:, :, place] = rho * noise[:, :, place - 1] + fresh
    level = rng.normal(0, 1, (total, 1, 1)) + rng.normal(0, 0.5, (total, sessions, 1))
    change = rng.normal(0, 0.15, (total, 1, 1)) * np.arange(places)
    score = 30 + level + noise + (change if design == "days" else 0.0)
    index = np.indices(score.shape).reshape(3, -1)
    return pd.DataFrame(
        {
            "participant": index[0],
            "group": np.where(index[0] < people, "blocked", "random"),
            "session": index[1] + 1,
            "trial": index[2],
            "score": score.ravel(),
        }
    )


def tested(design: str, table: pd.DataFrame, correlated: bool) -> tuple[float, float, float]:
    """p, df and the correlation of neighbours by one model."""
    options = {"correlation": "ar1", "within": "session/trial"} if correlated else {}
    if design == "days":
        part, formula = {"participant": "1 + trial"}, "score ~ group * trial"
    else:
        part, formula = {"participant/stage": "1"}, "score ~ group * stage"
        table = table.assign(stage="s" + table["session"].astype(str))
    fit = ml.fit_mixed(formula, table, random=part, **options)
    if design == "days":
        row = fit.estimates.iloc[-1]
    else:
        row = ml.contrasts(fit, "group", within="stage").frame.iloc[-1]
    found = fit.variances["correlation"].iloc[-1] if correlated else np.nan
    return float(row["p"]), float(row["df"]), float(found)


def once(design: str, people: int, rho: float, seed: int) -> dict[str, float]:
    """What both models say of one study."""
    rng = np.random.default_rng([11, seed, people, int(10 * rho), len(design)])
    table = study(design, people, rho, rng)
    try:
        p, df, found = tested(design, table, True)
        line = {"failed": 0.0, "ar1": float(p < 0.05), "df": df, "correlation": found}
    except MotorlearnError:
        line = {"failed": 1.0, "ar1": 0.0, "df": np.nan, "correlation": np.nan}
    return line | {"without": float(tested(design, table, False)[0] < 0.05)}


def main() -> None:
    """Add studies to every line of the file."""
    cells = [
        ({"design": design, "a group": people, "rho": rho}, means(once, design, people, rho))
        for design, people, rho in CELLS
    ]
    grow_as_asked({FILE: cells}, goal=500, chunk=CHUNK)


if __name__ == "__main__":
    main()
