"""Scores of 20 people in three groups of unequal size over five blocks; one cell is missing."""

import csv
from pathlib import Path

import numpy as np

rng = np.random.default_rng(19)
with (Path(__file__).parent / "data.csv").open("w", newline="") as file:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(["participant", "group", "block", "time"])
    groups = ["blocked"] * 5 + ["random"] * 9 + ["serial"] * 6
    for number, group in enumerate(groups):
        level, fall = rng.normal(10, 2), rng.normal(0.6, 0.3) + (group == "random") * 0.3
        for block in range(1, 6):
            time = level - fall * (block - 1) + 0.08 * (block - 1) ** 2 + rng.normal(0, 0.8)
            if (number, block) != (3, 4):
                writer.writerow([f"P{number:02d}", group, block, round(time, 4)])
