"""Sixteen learners along S-shaped curves and sixteen along two processes; writes data.csv."""

from pathlib import Path

import numpy as np
import pandas as pd

rng, parts, block = np.random.default_rng(2), [], np.arange(1.0, 41)
for form in ("s_shaped", "two_processes"):
    for who in range(16):
        level, gain, z = 20 + 2 * rng.normal(), 12 + 1.5 * rng.normal(), 0.3 * rng.normal()
        if form == "s_shaped":
            basis = 1 / (1 + np.exp(0.3 * np.exp(z) * block - 4))
        else:
            rate = 0.5 * np.exp(z)
            basis = 0.5 * np.exp(-rate * (block - 1)) + 0.5 * np.exp(-0.12 * rate * (block - 1))
        y = (level + gain * basis + rng.normal(size=40)).round(4)
        parts.append(pd.DataFrame({"form": form, "participant": who, "block": block, "y": y}))
pd.concat(parts).to_csv(Path(__file__).with_name("data.csv"), index=False)
