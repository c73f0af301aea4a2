"""Rates of comparisons of allocated classes where nothing is there, by the product's own calls.

``.venv/bin/python docs/error_rates_of_classes.py 1000`` writes the table of the page of rates.
"""

import sys

import numpy as np
import pandas as pd
from scipy import stats

import motorlearn as ml


def people(rng, classes, icc):
    """A study without any effect: classes of 8 to 30 people, a pretest and a retention test."""
    rows = []
    for number in range(2 * classes):
        size = int(rng.integers(8, 31))
        shift = rng.normal(0, np.sqrt(icc))
        own = shift + rng.normal(0, np.sqrt(0.6 * (1 - icc)), size)
        for phase in ("pretest", "retention"):
            noise = rng.normal(0, np.sqrt(0.4 * (1 - icc)), size)
            rows.append(
                pd.DataFrame(
                    {
                        "class": number,
                        "participant": [f"{number}-{i}" for i in range(size)],
                        "group": ("blocked", "random")[number % 2],
                        "phase": phase,
                        "radial_error": 30 + 5 * (own + noise),
                    }
                )
            )
    return pd.concat(rows, ignore_index=True)


def one(rng, classes, icc, mixed):
    table = people(rng, classes, icc)
    found = ml.compare_phases(
        table, "radial_error", group="group", baseline="pretest", unit="class",
        route="mixed" if mixed else "ancova",
    )  # fmt: skip
    late = found.contrasts[found.contrasts["phase"] == "retention"].set_index("adjusted")
    wide = table[table["phase"] == "retention"]
    sides = [part["radial_error"] for _, part in wide.groupby("group")]
    cost = found.clusters.iloc[-1]
    return {
        "means": late.loc[False, "p"] < 0.05,
        "adjusted": late.loc[True, "p"] < 0.05,
        "people": stats.ttest_ind(*sides).pvalue < 0.05,
        "mixed": found.mixed["p"].iloc[-1] < 0.05 if mixed else np.nan,
        "icc": cost["icc_low"] <= icc <= cost["icc_high"],
    }


def main(simulations):
    for classes in (3, 4, 6, 10):
        for icc in (0.05, 0.2):
            rng = np.random.default_rng([classes, int(100 * icc)])
            runs = [one(rng, classes, icc, i % 4 == 0) for i in range(simulations)]
            means = 100 * pd.DataFrame(runs).astype(float).mean()
            sys.stdout.write(f"{classes} {icc} {means.round(1).to_dict()}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
