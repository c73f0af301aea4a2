"""Simulate how often all looks together err where nothing is there; writes error-rates-looks.csv.

    .venv/bin/python docs/error_rates_of_looks.py [studies] [studies of fitted models]

Plans with declared looks go through ``ml.power``, whose analyses are tested study by study against
``compare_phases``: two groups with a pretest and a retention test, half a group at the first look.
"""

import sys
from pathlib import Path
from typing import Any

import pandas as pd

import motorlearn as ml
from motorlearn.design import Design, design_from_mapping

FILE = Path(__file__).parent / "error-rates-looks.csv"
SCORE: dict[str, Any] = {"name": "radial_error", "unit": "cm", "better": "lower"}
HITS: dict[str, Any] = {"name": "hits", "better": "higher"}
OF_SCORES = {"baseline": 38, "between_sd": 6.5, "within_sd": 15, "stability": 0.6}
OF_HITS = {"baseline": 0.4, "between_sd": 0.15, "stability": 0.6}
KINDS: tuple[tuple[str, dict[str, Any], dict[str, Any], dict[str, Any]], ...] = (
    ("hits, mixed", HITS, {"model": "binomial mixed"}, OF_HITS),
    ("scores, mixed", SCORE, {"model": "linear mixed"}, OF_SCORES),
    ("scores, ratio", SCORE, {"effect": "ratio"}, {"baseline": 38, "between_sd": 0.2,
     "within_sd": 0.5, "stability": 0.6}),
    ("hits, analysis of covariance", HITS, {}, OF_HITS),
    ("hits, ratio", HITS, {"effect": "ratio"}, OF_HITS),
)  # fmt: skip
LOOKS = {2: [0.5, 1.0], 3: [0.5, 0.75, 1.0]}


def plan(
    outcome: dict[str, Any], primary: dict[str, Any], assumed: dict[str, Any], **looks: Any
) -> Design:
    """A plan with looks."""
    tests: list[dict[str, Any]] = [
        {"phase": "pretest", "trials": 20},
        {"phase": "retention", "trials": 20, "interval_days": 7},
    ]
    names = ("blocked", "random")
    return design_from_mapping(
        {
            "study": {"title": "Ring push"},
            "groups": [{"name": name, "size": 24} for name in names],
            "tests": tests,
            "outcomes": [outcome],
            "primary": {"outcome": outcome["name"], "groups": names[::-1]} | primary,
            "interim": looks,
            "assumptions": assumed,
        }
    )


def main() -> None:
    """Write a line for each kind, number of people, spending function and number of looks."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 4_000
    few = int(sys.argv[2]) if len(sys.argv) > 2 else 600
    lines = []
    for name, outcome, primary, assumed in KINDS:
        simulations = few if "mixed" in name else many
        for n in (8, 12, 24):
            line: dict[str, Any] = {"primary test": name, "a group": n, "studies": simulations}
            for spending in ("obrien-fleming", "pocock"):
                for looks, fractions in LOOKS.items():
                    asked = plan(outcome, primary, assumed, fractions=fractions, spending=spending)
                    none = 1.0 if primary.get("effect") == "ratio" else 0.0
                    found = ml.power(asked, n=n, simulations=simulations, seed=n, effects=[none])
                    line[f"{spending}, {looks} looks"] = found.looks["rejected"].iloc[-1]
            lines.append(line)
            pd.DataFrame(lines).round(4).to_csv(FILE, index=False)
            sys.stdout.write(f"{line}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
