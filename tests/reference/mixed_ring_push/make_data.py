"""Draw the small unbalanced data set that make_values.R fits: run once, results are stored."""

from pathlib import Path

import numpy as np
import pandas as pd

rng = np.random.default_rng(2024)
PHASES = ("pretest", "posttest", "retention")
groups = ["blocked"] * 9 + ["serial"] * 7 + ["random"] * 5
rows = []
for number, group in enumerate(groups):
    level, slope = rng.normal(0, 0.8), rng.normal(0, 0.35)
    for time, phase in enumerate(PHASES):
        for task in ("straight", "bank", "lob"):
            lane = f"lane{rng.integers(1, 7)}"
            if rng.random() < 0.12:
                continue
            attempts = int(rng.integers(6, 15))
            eta = -0.5 + level + (0.4 + slope) * time - 0.3 * (task == "lob") + 0.1 * int(lane[-1])
            hits = rng.binomial(attempts, 1 / (1 + np.exp(-eta)))
            error = round(float(30 - 5 * eta + rng.normal(0, 4)), 3)
            handicap = round(float(rng.normal(0, 0.3)), 3)
            rows.append(
                (f"p{number:02d}", group, phase, time, task, lane, hits, attempts, error, handicap)
            )
columns = ["participant", "group", "phase", "time", "task", "lane", "hits", "attempts"]
table = pd.DataFrame(rows, columns=[*columns, "radial_error", "handicap"])
table.to_csv(Path(__file__).parent / "data.csv", index=False)
