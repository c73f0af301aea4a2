# ruff: noqa: E402 - the number of threads is set before NumPy is loaded
"""Time ratings, hits that scatter and counts against ordinal and glmmTMB, single-threaded.

Run from the root of the repository; without R and its packages only our own times are taken::

    python tests/benchmarks/families.py [case ...]

Every case makes its data once, then fits them in turn here and in a fresh R, which fits once
before it is timed, so that loading its packages counts for nothing. Told are medians of repeated
runs, their ratio, and −2 log likelihood of both.
"""

import os

for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[variable] = "1"

import sys
import tempfile
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
from row import beside_r, tell

import motorlearn as ml

RUNS = 7
PEOPLE, TESTS, BLOCKS = 60, 4, 5


def practice(rng):
    """Sixty people in two groups, four tests of five blocks: a table and what each row expects."""
    rows = PEOPLE * TESTS * BLOCKS
    person = np.repeat(np.arange(PEOPLE), TESTS * BLOCKS)
    test = np.tile(np.repeat(np.arange(TESTS), BLOCKS), PEOPLE)
    table = pd.DataFrame(
        {
            "participant": [f"p{number:02d}" for number in person],
            "group": np.array(("blocked", "random"))[person % 2],
            "test": [f"test{number}" for number in test],
        }
    )
    eta = 0.3 * test + 0.2 * (test == 3) * (person % 2)
    return table, eta + rng.normal(0, 0.6, PEOPLE)[person], rows


def ratings(rng):
    table, eta, rows = practice(rng)
    leaning = eta + rng.logistic(size=rows)
    table["rating"] = np.digitize(leaning, (-0.8, 0.6, 2.0))
    return table


def scattered_hits(rng):
    table, eta, _ = practice(rng)
    p = 1 / (1 + np.exp(0.6 - eta))
    table["hits"], table["attempts"] = rng.binomial(20, rng.beta(12 * p, 12 * (1 - p))), 20
    return table


def counts(rng):
    table, eta, rows = practice(rng)
    table["catches"] = rng.poisson(np.exp(1 + 0.5 * eta) * rng.gamma(4, 0.25, rows))
    return table


CASES = {
    "ratings": (ratings, "rating ~ group * test", {"family": "ordinal"}, "R ordinal"),
    "scattered_hits": (
        scattered_hits,
        "hits ~ group * test",
        {"family": "beta-binomial", "attempts": "attempts"},
        "R glmmTMB",
    ),
    "counts": (counts, "catches ~ group * test", {"family": "negative-binomial"}, "R glmmTMB"),
}


def measure(case, folder):
    make, formula, options, peer = CASES[case]
    table = make(np.random.default_rng(20))
    table.to_csv(folder / f"{case}.csv", index=False)
    fit = partial(ml.fit_mixed, formula, table, random={"participant": "1"}, **options)
    found = beside_r(fit, RUNS, "families.R", folder, case)
    action = f"{case.replace('_', ' ')}, mixed model, {len(table):,} rows"
    tell(action, **found, peer=peer if "peer_seconds" in found else "", least=5)


def main():
    with tempfile.TemporaryDirectory() as name:
        for case in sys.argv[1:] or list(CASES):
            measure(case, Path(name))


if __name__ == "__main__":
    main()
