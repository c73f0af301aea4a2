"""Twelve classes of 3 to 9 people, two groups of six classes, a pretest and a retention test."""

from pathlib import Path

import numpy as np
import pandas as pd

rng = np.random.default_rng(19)
rows = []
for number in range(12):
    group = ("blocked", "random")[number % 2]
    shift = rng.normal(0, 2.5)
    later = rng.normal(0, 2.5)
    for person in range(rng.integers(3, 10)):
        own = shift + rng.normal(0, 4)
        for phase, mean in (("pretest", 38), ("retention", 28 - 2 * (group == "random"))):
            name = f"class {number + 1:02d}"
            score = round(mean + own + later * (phase == "retention") + rng.normal(0, 3), 2)
            rows.append((name, f"{number + 1:02d}-{person + 1}", group, phase, score))
names = ["class", "participant", "group", "phase", "radial_error"]
table = pd.DataFrame(rows, columns=names)
gone = (table["participant"].isin(["03-2", "08-1"])) & (table["phase"] == "retention")
table[~gone].to_csv(Path(__file__).with_name("data.csv"), index=False)
