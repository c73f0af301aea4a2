"""Write data.csv: 2 orders of practice by 3 kinds of feedback, unequal cells, drop-outs."""

import numpy as np
import pandas as pd

SIZES = {("blocked", "always"): 7, ("blocked", "faded"): 5, ("blocked", "none"): 6,
         ("random", "always"): 4, ("random", "faded"): 8, ("random", "none"): 6}  # fmt: skip


def main() -> None:
    rng = np.random.default_rng(2026)
    rows, person = [], 0
    for (order, feedback), size in SIZES.items():
        for _ in range(size):
            person += 1
            own, age = rng.normal(0, 4), int(rng.integers(18, 60))
            site = ["north", "south", "west"][int(rng.integers(3))]
            for phase, level in (("pretest", 38), ("retention", 30), ("transfer", 33)):
                gone = phase == "transfer" and person % 11 == 0
                helped = 3 * (phase != "pretest") * (order == "random") * (feedback != "always")
                score = level + own - helped + 0.05 * (age - 40) + rng.normal(0, 3)
                if not gone:
                    rows.append([f"P{person:02d}", order, feedback, age, site, phase, score])
    names = ["participant", "order", "feedback", "age", "site", "phase", "radial_error"]
    pd.DataFrame(rows, columns=names).round({"radial_error": 2}).to_csv("data.csv", index=False)


if __name__ == "__main__":
    main()
