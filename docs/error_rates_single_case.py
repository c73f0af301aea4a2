"""Simulate how often the analysis of single cases errs and covers: error-rates-single-case.csv.

    .venv/bin/python docs/error_rates_single_case.py [replicates]

Sessions are normal with first-order serial dependence; conditions are drawn anew for every study as
its plan draws them. Under B scores are greater by ``EFFECT`` standard deviations (coverage) or not
at all (false positives). Every number comes from the functions that ``analyse_single_case`` calls.
"""

import csv
import sys
from pathlib import Path

import numpy as np
from scipy import stats

from motorlearn.compare.single_case.front import summarise
from motorlearn.compare.single_case.phases import differences_of, estimate_frame
from motorlearn.compare.single_case.records import Record
from motorlearn.design import Randomisation
from motorlearn.measures.single_case import draw_conditions, randomisation_test

HERE = Path(__file__).parent
EFFECT = 1.0
BETWEEN = 0.5
"""Standard deviation of the athletes' own effects where there are several."""
CELLS = {
    "AB, 1 athlete, 10 sessions": (Randomisation("AB", starts=((4, 8),)), 10, 1),
    "AB, 1 athlete, 18 sessions": (Randomisation("AB", starts=((6, 13),)), 18, 1),
    "AB, 1 athlete, 30 sessions": (Randomisation("AB", starts=((5, 26),)), 30, 1),
    "AB, 3 athletes, 18 sessions": (Randomisation("AB", starts=((6, 13),)), 18, 3),
    "ABAB, 1 athlete, 20 sessions": (Randomisation("ABAB", minimum=4), 20, 1),
    "alternating, 1 athlete, 16 sessions": (Randomisation("alternating"), 16, 1),
    "multiple baseline, 3 athletes, 18 sessions": (
        Randomisation("multiple baseline", starts=((5, 7), (8, 10), (11, 13))), 18, 3,
    ),
}  # fmt: skip
DEPENDENCE = (0.0, 0.3, 0.6)


def sessions(rng: np.random.Generator, n: int, rho: float) -> np.ndarray:
    """Scores of one athlete with unit variance and correlation ``rho`` of neighbours."""
    e = rng.normal(size=n)
    y = e.copy()
    for t in range(1, n):
        y[t] = rho * y[t - 1] + np.sqrt(1 - rho**2) * e[t]
    return y


def one_study(
    rng: np.random.Generator, draw: Randomisation, n: int, cases: int, rho: float
) -> dict[str, float]:
    """Rejection without an effect, and what the intervals hold with one."""
    codes = [c.astype(float) for c in draw_conditions(draw, [n] * cases, rng)]
    noise = [sessions(rng, n, rho) for _ in codes]
    own = EFFECT + BETWEEN * rng.normal(size=cases) * (cases > 1)
    found = {"p": randomisation_test(draw, noise, codes).p <= 0.05}
    scores = [y + d * c for y, d, c in zip(noise, own, codes)]
    found["power"] = randomisation_test(draw, scores, codes).p <= 0.05
    ones = np.ones(n, dtype=int)
    records = [Record(str(i), y, c, ones) for i, (y, c) in enumerate(zip(scores, codes))]
    told = differences_of(records, level=0.95)
    frame = estimate_frame(records[:1], told[:1], phased=draw.is_phased, sign=1.0, level=0.95)
    nap = stats.norm.cdf(own[0] / np.sqrt(2))
    truth = {"difference": own[0], "NAP": nap, "Tau-U": 2 * nap - 1}
    for row in frame.to_dict("records"):
        found[row["index"]] = row["conf_low"] <= truth[row["index"]] <= row["conf_high"]
    if cases > 1:
        together, _ = summarise(records, told, athletes=cases, level=0.95)
        row = together.iloc[0]
        found["summary"] = row["conf_low"] <= EFFECT <= row["conf_high"]
    return found


def rates(replicates: int) -> list[dict[str, object]]:
    """One row for every design and serial correlation."""
    rows = []
    for place, (name, (draw, n, cases)) in enumerate(CELLS.items()):
        for rho in DEPENDENCE:
            rng = np.random.default_rng([2026, place, int(10 * rho)])
            each = [one_study(rng, draw, n, cases, rho) for _ in range(replicates)]
            means = {key: np.mean([study[key] for study in each]) for key in each[0]}
            heads = {
                "p": "false positives", "power": "power",
                "difference": "coverage, difference", "NAP": "coverage, NAP",
                "Tau-U": "coverage, Tau-U", "summary": "coverage, over athletes",
            }  # fmt: skip
            told = {v: f"{100 * means[k]:.1f} %" if k in means else "" for k, v in heads.items()}
            rows.append({"design": name, "lag-1 correlation": rho, **told})
    return rows


def main() -> None:
    """Write the table."""
    rows = rates(int(sys.argv[1]) if len(sys.argv) > 1 else 400)
    with (HERE / "error-rates-single-case.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    main()
