"""Simulate how often intervals of learning curves hold the truth; writes ``curve-coverage.csv``.

    python docs/curve_coverage.py CASE SIMULATIONS

prints the rows of one case; without arguments all cases are run and the file is written. Population
curves of 12 to 40 learners with 40 blocks; neighbours correlated at .4 and an SD that falls with
the power -.3 of practice where the case says so.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

import motorlearn as ml

BLOCKS = np.arange(1.0, 41.0)
TRUTH = {"asymptote": 20.0, "gain": 12.0, "log_rate": float(np.log(0.2))}
SPREAD = {"asymptote": 2.0, "gain": 1.5, "log_rate": 0.4}
MODEL = {"variance": "practice", "correlation": "ar1"}
CASES = {
    "12 learners, plain noise": (12, False, {}),
    "12 learners, real noise, modelled": (12, True, MODEL),
    "24 learners, real noise, modelled": (24, True, MODEL),
    "24 learners, real noise, ignored": (24, True, {}),
    "40 learners, real noise, sandwich": (40, True, {"interval": "sandwich"}),
}


def learners(rng: np.random.Generator, count: int, real: bool) -> pd.DataFrame:
    """Rows of some learners."""
    parts = []
    for who in range(count):
        own = {term: value + SPREAD[term] * rng.normal() for term, value in TRUTH.items()}
        noise = rng.normal(size=len(BLOCKS))
        if real:
            for k in range(1, len(BLOCKS)):
                noise[k] = 0.4 * noise[k - 1] + np.sqrt(1 - 0.16) * noise[k]
            noise = noise * 2 * BLOCKS**-0.3
        y = own["asymptote"] + own["gain"] * np.exp(-np.exp(own["log_rate"]) * (BLOCKS - 1))
        parts.append(pd.DataFrame({"participant": who, "block": BLOCKS, "y": y + noise}))
    return pd.concat(parts, ignore_index=True)


def covered(name: str, simulations: int) -> list[dict[str, object]]:
    """Coverage of each term in one case."""
    count, real, options = CASES[name]
    inside = dict.fromkeys(TRUTH, 0)
    known = 0
    for seed in range(simulations):
        table = learners(np.random.default_rng([seed, count, int(real)]), count, real)
        fit = ml.fit_population_curve(table, "y", practice="block", **options)
        if fit.status != "ok":
            continue
        known += 1
        rows = fit.estimates.set_index("term")
        for term, truth in TRUTH.items():
            inside[term] += bool(rows.at[term, "conf_low"] < truth < rows.at[term, "conf_high"])
    return [
        {"case": name, "term": term, "fits": known, "coverage": round(hits / max(known, 1), 3)}
        for term, hits in inside.items()
    ]


def main(wanted: list[str]) -> None:
    """Run one case, or all of them."""
    if wanted:
        sys.stdout.write(pd.DataFrame(covered(wanted[0], int(wanted[1]))).to_csv(index=False))
        return
    rows = [row for name in CASES for row in covered(name, 200)]
    pd.DataFrame(rows).to_csv(Path(__file__).with_name("curve-coverage.csv"), index=False)


if __name__ == "__main__":
    main(sys.argv[1:])
