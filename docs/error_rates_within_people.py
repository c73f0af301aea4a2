"""Rates of comparisons within people where nothing is there, by the product's own calls.

``.venv/bin/python docs/error_rates_within_people.py 1000`` writes the table of the page of rates.
"""

import sys

import numpy as np
import pandas as pd

import motorlearn as ml


def crossover(rng, people, missed):
    """Two conditions without a difference, two periods with one; some people miss the second."""
    rows = []
    for person in range(people):
        own = rng.normal(0, 4)
        order = ("blocked", "random")[:: 1 if person % 2 else -1]
        for period, condition in enumerate(order, start=1):
            if period == 2 and rng.random() < missed:
                continue
            for phase, mean in (("pretest", 38), ("retention", 28)):
                error = mean + own - 4 * period + rng.normal(0, 2.5)
                rows.append((f"P{person:02d}", condition, period, phase, error))
    names = ["participant", "condition", "period", "phase", "radial_error"]
    return pd.DataFrame(rows, columns=names)


def one(rng, people, missed, mixed):
    found = ml.compare_phases(
        crossover(rng, people, missed), "radial_error", group=None, within="condition",
        period="period", baseline="pretest", route="mixed" if mixed else "ancova",
    )  # fmt: skip
    late = found.contrasts[found.contrasts["phase"] == "retention"].set_index("adjusted")
    terms = found.periods[found.periods["phase"] == "retention"].set_index("term")
    return {
        "differences": late.loc[False, "p"] < 0.05,
        "adjusted": late.loc[True, "p"] < 0.05,
        "covered": late.loc[True, "conf_low"] <= 0 <= late.loc[True, "conf_high"],
        "carry-over": terms.loc["sequence (carry-over)", "p"] < 0.05,
        "mixed": found.mixed["p"].iloc[-1] < 0.05 if mixed else np.nan,
    }


def main(simulations):
    for people in (8, 12, 24):
        for missed in (0.0, 0.2):
            rng = np.random.default_rng([people, int(100 * missed)])
            runs = [one(rng, people, missed, i % 4 == 0) for i in range(simulations)]
            means = 100 * pd.DataFrame(runs).astype(float).mean()
            sys.stdout.write(f"{people} {missed} {means.round(1).to_dict()}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
