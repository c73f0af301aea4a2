# ruff: noqa: E402 - the number of threads is set before NumPy is loaded
"""Time mixed models against lme4 and lmerTest, side by side, single-threaded.

Run from the root of the repository; without R, lme4 and lmerTest only our own times are taken::

    python tests/benchmarks/mixed.py [case ...]

Every case makes its data once, then times both programs in turn on the same rows and prints the
median of repeated runs, their ratio, and −2 log likelihood of both.
"""

import os

for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[variable] = "1"

import sys
import tempfile
import time
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
from row import beside_r, from_r, tell

import motorlearn as ml
from motorlearn.mixed.refitting import refit_many

SCRIPT = "mixed_lme4.R"
PHASES = ("pretest", "posttest", "retention")
GROUPS = ("blocked", "random")


def practice(rng, participants, trials):
    """Participants in two groups, three phases, so many trials each."""
    rows = participants * len(PHASES) * trials
    person = np.repeat(np.arange(participants), len(PHASES) * trials)
    phase = np.tile(np.repeat(np.arange(len(PHASES)), trials), participants)
    table = pd.DataFrame(
        {
            "participant": [f"p{number:04d}" for number in person],
            "group": np.array(GROUPS)[person % 2],
            "phase": np.array(PHASES)[phase],
        }
    )
    eta = -0.6 + 0.5 * (phase > 0) + 0.2 * (phase == 2) * (person % 2)
    return table, eta + rng.normal(0, 0.8, participants)[person], rows


def binary_rows(rng):
    table, eta, rows = practice(rng, 1000, 20)
    table["hit"] = (rng.random(rows) < 1 / (1 + np.exp(-eta))).astype(int)
    return table


def linear_rows(rng):
    table, eta, rows = practice(rng, 1000, 20)
    table["radial_error"] = 25 - 6 * eta + rng.normal(0, 12, rows)
    return table


def hits_of_20(rng):
    person, test = np.repeat(np.arange(46), 4), np.tile(np.arange(4), 46)
    level, slope = rng.normal(0, 0.7, 46)[person], rng.normal(0, 0.25, 46)[person]
    eta = -0.4 + 0.25 * test + level + slope * test
    return pd.DataFrame(
        {
            "participant": [f"p{number:02d}" for number in person],
            "group": np.array(GROUPS)[person % 2],
            "test": [f"test{number}" for number in test],
            "time": test,
            "hits": rng.binomial(20, 1 / (1 + np.exp(-eta))),
            "attempts": 20,
        }
    )


def crossed_binary(rng):
    person, item = np.divmod(rng.permutation(300 * 25)[:7500], 25)
    item = np.where(item == 24, rng.integers(0, 24, item.size), item)
    eta = 0.2 * (person % 2) + rng.normal(0, 0.8, 300)[person] + rng.normal(0, 0.5, 24)[item]
    return pd.DataFrame(
        {
            "participant": [f"p{number:03d}" for number in person],
            "item": [f"i{number:02d}" for number in item],
            "group": np.array(GROUPS)[person % 2],
            "hit": (rng.random(person.size) < 1 / (1 + np.exp(-eta))).astype(int),
        }
    )


CASES = {
    "binary_rows": (
        binary_rows,
        "hit ~ group * phase",
        {"random": {"participant": "1"}, "family": "binomial"},
        3,
        150,
    ),
    "hits_of_20": (
        hits_of_20,
        "hits ~ group * test",
        {"random": {"participant": "1 + time"}, "family": "binomial", "attempts": "attempts"},
        9,
        10,
    ),
    "linear_rows": (
        linear_rows,
        "radial_error ~ group * phase",
        {"random": {"participant": "1"}},
        7,
        40,
    ),
    "crossed_binary": (
        crossed_binary,
        "hit ~ group",
        {"random": {"participant": "1", "item": "1"}, "family": "binomial"},
        5,
        10,
    ),
    "insteval": (
        None,
        "y ~ service",
        {"random": {"s": "1", "d": "1"}, "df": "normal"},
        3,
        10,
    ),
}


def measure(case, folder):
    make, formula, options, runs, wanted = CASES[case]
    if make is not None:
        table = make(np.random.default_rng(20))
        table.to_csv(folder / f"{case}.csv", index=False)
    elif from_r(SCRIPT, folder, "insteval_data", 1) is None:
        print(f"  {case} is left out: its data come with lme4, and R or lme4 is not installed")
        return
    else:
        kinds = dict.fromkeys(("s", "d", "service"), str)
        table = pd.read_csv(folder / "insteval.csv", dtype=kinds)
    found = beside_r(
        partial(ml.fit_mixed, formula, table, **options), runs, SCRIPT, folder, case, 1
    )
    peer = "R lmerTest" if case == "linear_rows" else "R lme4"
    tell(
        f"mixed model, {case.replace('_', ' ')}, {len(table):,} rows",
        **found,
        peer=peer if "peer_seconds" in found else "",
        least=wanted,
    )


def simulation_use():
    """Times of what simulations and audits ask for; there is no counterpart in R to race."""
    rng = np.random.default_rng(3)
    person, test = np.repeat(np.arange(48), 4), np.tile(np.arange(4), 48)
    x = np.column_stack([np.ones(192), person % 2, *(test == number for number in (1, 2, 3))])
    levels = rng.normal(0, 0.7, (1000, 48))[:, person]
    eta = -0.3 + 0.4 * (test > 0) + levels
    hits = rng.binomial(20, 1 / (1 + np.exp(-eta)))
    began = time.perf_counter()
    ml.mixed.fit_binomial_many(x.astype(float), hits, np.full(192, 20), person)
    tell("1,000 binomial mixed models of 48 x 4", time.perf_counter() - began)
    began = time.perf_counter()
    ml.mixed.fit_linear_many(x.astype(float), eta + rng.normal(size=eta.shape), person)
    tell("1,000 linear mixed models of 48 x 4", time.perf_counter() - began)
    table, eta, rows = practice(rng, 72, 36)
    table["hit"] = (rng.random(rows) < 1 / (1 + np.exp(-eta))).astype(int)
    options = {"random": {"participant": "1"}, "family": "binomial"}
    fit = ml.fit_mixed("hit ~ group * phase", table, **options)
    began = time.perf_counter()
    ml.mixed.leave_one_out(fit)
    tell("leaving out each of 72 participants, binomial", time.perf_counter() - began, most=5)


def refits_of_several_factors():
    """A thousand outcomes of 24 people and six items over four tests, as bootstraps fit them."""
    person, test = np.repeat(np.arange(24), 4), np.tile(np.arange(4), 24)
    rng = np.random.default_rng(3)
    table = pd.DataFrame(
        {
            "participant": [f"p{number:02d}" for number in person],
            "item": [f"i{number}" for number in (person + test) % 6],
            "test": [f"test{number}" for number in test],
            "attempts": 20,
        }
    )
    eta = 0.3 * test - 0.6 + rng.normal(0, 0.7, 24)[person]
    eta = eta + rng.normal(0, 0.5, 6)[(person + test) % 6]
    table["hits"] = rng.binomial(20, 1 / (1 + np.exp(-eta)))
    table["score"] = 3 * eta + rng.normal(0, 2, 96)
    random = {"participant": "1", "item": "1"}
    for outcome, options in (("score", {}), ("hits", CASES["hits_of_20"][2])):
        fit = ml.fit_mixed(f"{outcome} ~ test", table, **{**options, "random": random})
        draws = fit.simulate(1000, seed=1)
        began = time.perf_counter()
        refit_many(fit, draws)
        tell(f"1,000 refits, crossed, {outcome}", time.perf_counter() - began, most=5)


def main():
    chosen = sys.argv[1:] or list(CASES)
    simulation_use()
    refits_of_several_factors()
    with tempfile.TemporaryDirectory() as name:
        for case in chosen:
            measure(case, Path(name))


if __name__ == "__main__":
    main()
