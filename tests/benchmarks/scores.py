# ruff: noqa: E402 - the number of threads is set before NumPy is loaded
"""Time scoring, the comparison of phases and the batched analysis of covariance.

Run from the root of the repository::

    python tests/benchmarks/scores.py

Prints the median of five runs of each, single-threaded, and a loop of statsmodels beside the batch.
"""

import os

for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[variable] = "1"

import statistics
import time

import numpy as np
import pandas as pd
import statsmodels.api as sm
from row import tell

import motorlearn as ml

PHASES = ("pretest", "acquisition", "retention", "transfer")


def million_trials(rng):
    """10,000 participants, four phases of 25 trials."""
    people, trials = 10_000, 25
    rows = people * len(PHASES) * trials
    person = np.repeat([f"P{i:05d}" for i in range(people)], len(PHASES) * trials)
    table = pd.DataFrame(
        {
            "participant": person,
            "group": np.where(np.arange(rows) // 100 % 2, "random", "blocked"),
            "phase": np.tile(np.repeat(PHASES, trials), people),
            "x": rng.normal(0, 15, rows),
            "y": rng.normal(0, 20, rows),
            "time": rng.uniform(8, 12, rows),
        }
    )
    radial = np.hypot(table["x"], table["y"])
    return table.assign(radial_error=radial, hit=(radial <= 20).astype(int), error=table["y"])


def median_seconds(call, runs=5):
    """Median wall time of repeated calls."""
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def main():
    """Time each case and print it."""
    rng = np.random.default_rng(1)
    table = million_trials(rng)
    codes = np.repeat([0, 1], 24)
    x = rng.normal(size=(20_000, codes.size))
    y = 0.7 * x + rng.normal(size=x.shape)
    options = {"group": "group", "baseline": "pretest"}
    study = table[table["participant"] < "P00072"]
    cases = {
        "score_trials, 1,000,000 trials": lambda: ml.score_trials(table, ["participant", "phase"]),
        "compare_phases, 1,000,000 trials": lambda: ml.compare_phases(
            table, "radial_error", **options
        ),
        "compare_phases, 72 people": lambda: ml.compare_phases(study, "radial_error", **options),
        "ancova_batch, 20,000 studies of 48": lambda: ml.linear.ancova_batch(y, codes, x),
    }
    some = 500

    def loop():
        for row in range(some):
            sm.OLS(y[row], np.column_stack([np.ones(48), codes, x[row]])).fit().conf_int()

    for name, call in cases.items():
        peer = {}
        if "ancova" in name:
            seconds = median_seconds(loop, runs=3) * len(y) / some
            peer = {"peer": f"loop of statsmodels OLS, {some} fits scaled", "peer_seconds": seconds}
        tell(name, median_seconds(call), **peer)


if __name__ == "__main__":
    main()
