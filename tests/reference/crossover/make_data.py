"""Fourteen people, two conditions in two periods, two sequences; two people missed a period."""

from pathlib import Path

import numpy as np
import pandas as pd

rng = np.random.default_rng(23)
rows = []
for person in range(14):
    sequence = ("blocked first", "random first")[person % 2]
    order = ["blocked", "random"] if person % 2 == 0 else ["random", "blocked"]
    own = rng.normal(0, 4)
    for period, condition in enumerate(order, start=1):
        start = 38 + own - 3 * (period - 1) + rng.normal(0, 2)
        later = 28 + own - 2 * (period - 1) - 2 * (condition == "random") + rng.normal(0, 2)
        for phase, score in (("pretest", start), ("retention", later)):
            row = (f"P{person + 1:02d}", sequence, period, condition, phase, round(score, 2))
            rows.append(row)
names = ["participant", "sequence", "period", "condition", "phase", "radial_error"]
table = pd.DataFrame(rows, columns=names)
gone = (table["participant"].isin(["P03", "P08"])) & (table["period"] == 2)
table[~gone].to_csv(Path(__file__).with_name("data.csv"), index=False)
