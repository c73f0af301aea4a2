"""Rates of the variants that ``sensitivity`` shows, where nothing is there: simulated tests.

``python tests/audit/variants.py`` writes the table that the documentation shows.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

from motorlearn.audit.comparison.phase_model import PhaseModel
from motorlearn.audit.comparison.resampled import bootstrapped, imputed, permuted
from motorlearn.audit.sensitivity.phases import _without_outliers

TABLE = Path(__file__).parents[2] / "docs" / "rates-of-variants.csv"
CELLS = (
    ((6, 6), (1, 1), "normal"),
    ((10, 10), (1, 1), "normal"),
    ((20, 20), (1, 1), "normal"),
    ((10, 30), (1, 1), "normal"),
    ((10, 30), (3, 1), "normal"),
    ((10, 30), (1, 3), "normal"),
    ((20, 20), (3, 1), "normal"),
    ((10, 10), (1, 1), "exponential"),
    ((20, 20), (1, 1), "exponential"),
)
"""People in each group, their spreads, and the shape of the scores."""


def drawn_model(rng, sizes, spreads, shape, *, lost=0.15, r=0.6) -> PhaseModel:
    """Baseline and retention of two groups that do not differ; some retention scores are lost."""
    n, codes = sum(sizes), np.repeat(np.arange(2), sizes)
    draw = rng.normal if shape == "normal" else lambda size: rng.exponential(size=size) - 1
    person, scale = np.sqrt(r) * draw(size=n), 4.0 * np.repeat(spreads, sizes)
    x, y = (50 + scale * (person + np.sqrt(1 - r) * draw(size=n)) for _ in range(2))
    y[rng.permutation(n)[: int(lost * n)]] = np.nan
    return PhaseModel(
        "retention", np.arange(n), y, x, codes, ("blocked", "random"), ((1, 0),), False, True
    )


def p_values(model: PhaseModel, seed: int) -> dict[str, float]:
    """Give the p of every variant of one test."""
    filled = imputed(model, (1, 0), np.zeros(1), seed=seed)
    found = {
        "as analysed": model.conclusions(),
        "a variance for each group": model.conclusions(covariance="by group"),
        "residuals resampled": bootstrapped(model, resamples=499, seed=seed),
        "without flagged outliers": _without_outliers(model).conclusions,
        "missing scores imputed": tuple(filled),
        "permutation test": permuted(model, permutations=199, seed=seed),
        "HC3 (no longer run)": model.conclusions(covariance="HC3"),
    }
    return {name: conclusions[0].p for name, conclusions in found.items()}


def rates(studies: int, cells=CELLS) -> pd.DataFrame:
    """Share of studies in which each variant rejects, one row per cell."""
    rows = []
    for sizes, spreads, shape in cells:
        rng = np.random.default_rng((31, *sizes, *spreads))
        ps = [p_values(drawn_model(rng, sizes, spreads, shape), i) for i in range(studies)]
        shares = {name: np.mean([p[name] <= 0.05 for p in ps]) for name in ps[0]}
        people = " and ".join(map(str, sizes))
        where = {"people": people, "spreads": f"{spreads[0]} : {spreads[1]}", "shape": shape}
        rows.append(where | shares | {"studies": studies})
        print(rows[-1], flush=True)
    return pd.DataFrame(rows)


if __name__ == "__main__":
    found = rates(int(sys.argv[1]) if sys.argv[1:] else 2000)
    found.to_csv(TABLE, index=False, float_format="%.3f", lineterminator="\n")
