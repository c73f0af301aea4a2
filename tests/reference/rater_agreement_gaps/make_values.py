"""Draw tables of grades with gaps and give their alphas; needs the package krippendorff.

``python make_values.py`` writes ``cases.json`` and ``cases.csv``; ``Rscript make_values.R`` reads
the second and adds ICC(A,1) by lme4.
"""

import csv
import json
from importlib import import_module

import numpy as np


def main() -> None:
    """Draw the tables and write them with their alphas."""
    krippendorff = import_module("krippendorff")
    rng = np.random.default_rng(2026)
    cases = []
    while len(cases) < 200:
        n, k, c = (int(rng.integers(*ends)) for ends in ((6, 25), (2, 5), (2, 6)))
        true = rng.normal(size=(n, 1))
        x = true + rng.normal(size=k) * 0.3 + rng.normal(size=(n, k)) * rng.uniform(0.4, 1.2)
        t = np.clip(np.round((c - 1) / 2 + x * c / 4), 0, c - 1)
        t[rng.random(t.shape) < 0.2] = np.nan
        ok = np.isfinite(t).sum(1) >= 2
        few = (np.isfinite(t).sum(0) < 3).any()
        if few or ok.sum() < 4 or len(np.unique(t[ok][np.isfinite(t[ok])])) < 2:
            continue
        t = t[ok]
        alphas = {
            metric: float(krippendorff.alpha(t.T, level_of_measurement=metric))
            for metric in ("nominal", "ordinal", "interval")
        }
        scores = [[None if np.isnan(v) else int(v) for v in row] for row in t]
        cases.append({"scores": scores, **alphas})
    with open("cases.json", "w", encoding="utf-8") as file:
        json.dump(cases, file)
    with open("cases.csv", "w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(("case", "item", "rater", "score"))
        for number, case in enumerate(cases):
            for i, row in enumerate(case["scores"]):
                rows.writerows((number, i, j, v) for j, v in enumerate(row) if v is not None)


if __name__ == "__main__":
    main()
