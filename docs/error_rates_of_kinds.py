"""Simulate how often tests of ratings, times and counts err; writes error-rates-kinds.csv.

    .venv/bin/python docs/error_rates_of_kinds.py [studies] [kinds]

Two groups with a pretest and a retention test, several trials at each. Each study goes through
``fit_mixed`` with the model that ``analyse_study`` takes for the kind of outcome and ``contrasts``
of the groups at the retention test, and through ``compare_phases`` of people's means adjusted for
the pretest, which answers the primary question. Studies are added to those of the file: run it
again for more.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
from growing_table import grow

import motorlearn as ml
from motorlearn.exceptions import MotorlearnError

FILE = Path(__file__).parent / "error-rates-kinds.csv"
CHUNK = 50
Draw = Callable[[np.random.Generator, np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Kind:
    """A kind of outcome: how it is drawn from the linear predictor, and its model."""

    name: str
    family: str
    draw: Draw
    scale: float = 1.0
    trials: int = 6
    random: str = "participant/test"
    attempts: int = 0


def ratings(cuts: tuple[float, ...]) -> Draw:
    """Ratings from 0, by cumulative logits."""
    return lambda rng, eta: np.digitize(eta + rng.logistic(size=len(eta)), cuts)


def times(rng: np.random.Generator, eta: np.ndarray) -> np.ndarray:
    """Seconds whose logarithms are normal."""
    return np.asarray(np.exp(eta + rng.normal(0, 0.3, len(eta))))


def late_times(rng: np.random.Generator, eta: np.ndarray) -> np.ndarray:
    """Seconds with a shift: a fifth of a second, and a gamma amount of shape 2."""
    return np.asarray(0.2 + rng.gamma(2.0, np.exp(eta) / 2.0))


def amounts(rng: np.random.Generator, eta: np.ndarray) -> np.ndarray:
    """Seconds of gamma shape 6."""
    return np.asarray(rng.gamma(6.0, np.exp(eta) / 6.0))


def counts(rng: np.random.Generator, eta: np.ndarray) -> np.ndarray:
    """Catches with mean about 3 and variance μ + μ²/4."""
    mean = np.exp(1.0 + eta)
    return rng.negative_binomial(4, 4 / (4 + mean))


def poisson(rng: np.random.Generator, eta: np.ndarray) -> np.ndarray:
    """Catches with mean about 3, as chance has them."""
    return rng.poisson(np.exp(1.0 + eta))


def scattered(rng: np.random.Generator, eta: np.ndarray) -> np.ndarray:
    """Hits of 20 whose probability scatters with precision 10."""
    p = 1 / (1 + np.exp(-eta))
    return rng.binomial(20, rng.beta(10 * p, 10 * (1 - p)))


SLOPE = "1 + test"
KINDS = (
    Kind("ratings 0 to 2", "ordinal", ratings((-0.7, 1.0))),
    Kind("times", "lognormal", times, 0.3, random=SLOPE),
    Kind("counts", "negative-binomial", counts, 0.5),
    Kind("times", "gamma", amounts, 0.3),
    Kind("ratings 0 to 2, most at 2", "ordinal", ratings((-3.0, -1.0))),
    Kind("shifted times", "lognormal", late_times, 0.3, random=SLOPE),
    Kind("hits of 20 that scatter", "beta-binomial", scattered, 1.0, 3, attempts=20),
    Kind("counts", "poisson", poisson, 0.5),
)


def study(kind: Kind, people: int, rng: np.random.Generator) -> pd.DataFrame:
    """One study without a difference between groups."""
    each, total = kind.trials, 2 * people
    person = np.repeat(np.arange(total), 2 * each)
    late = np.tile(np.repeat([0, 1], each), total)
    level, change = rng.normal(0, 1, total), rng.normal(0, 0.5, 2 * total)
    second = person >= people
    eta = level[person] + change[2 * person + late] + 0.5 * late
    tests = pd.Categorical.from_codes(late, ["pretest", "retention"])
    return pd.DataFrame(
        {
            "participant": person,
            "group": np.where(second, "random", "blocked"),
            "test": tests,
            "score": kind.draw(rng, kind.scale * eta),
            "attempts": kind.attempts,
        }
    )


def modelled(kind: Kind, table: pd.DataFrame) -> dict[str, float]:
    """What the mixed model of trials says of the groups at the retention test."""
    random = {"participant": SLOPE} if kind.random == SLOPE else {kind.random: "1"}
    fit = ml.fit_mixed(
        "score ~ group * test",
        table,
        random=random,
        family=kind.family,
        attempts="attempts" if kind.attempts else None,
    )
    row = ml.contrasts(fit, "group", within="test").frame.iloc[-1]
    late = np.array([0.0, 1.0, 0.0, 1.0])
    wald = late @ fit.inference.joint_vcov[:4, :4] @ late
    normal = abs(late @ fit.beta) / np.sqrt(wald) > 1.96
    return {
        "failed": 0.0,
        "model": float(row["p"] < 0.05),
        "normal test": float(normal),
        "df": float(min(row["df"], 1e3)),
    }


def compared(kind: Kind, table: pd.DataFrame) -> float:
    """Whether people's means, adjusted for the pretest, differ at the retention test."""
    found = ml.compare_phases(
        table,
        "score",
        group="group",
        phase="test",
        baseline="pretest",
        attempts="attempts" if kind.attempts else None,
    ).contrasts
    row = found[found["adjusted"] & (found["phase"] == "retention")]
    return float(row["p"].iloc[0] < 0.05)


def rates(kind: Kind, people: int, seeds: range) -> pd.Series:
    """Shares of these studies."""
    lines = []
    for seed in seeds:
        rng = np.random.default_rng([7, seed, people])
        table = study(kind, people, rng)
        try:
            found = modelled(kind, table)
        except MotorlearnError:
            found = {"failed": 1.0, "model": 0.0, "normal test": 0.0}
        lines.append(found | {"means of people": compared(kind, table)})
    return pd.DataFrame(lines).mean()


def main() -> None:
    """Add studies to every line of the file."""
    goal = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else len(KINDS)
    cells = []
    for kind in KINDS[:first]:
        for people in (10, 20):
            named = {"outcome": kind.name, "family": kind.family, "a group": people}
            cells.append((named | {"trials": kind.trials}, partial(rates, kind, people)))
    grow(FILE, cells, goal=goal, chunk=CHUNK)


if __name__ == "__main__":
    main()
