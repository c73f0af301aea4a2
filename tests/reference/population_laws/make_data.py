"""Simulated learners whose scores scatter in proportion to their level; writes ``data.csv``."""

from pathlib import Path

import numpy as np
import pandas as pd

rng, block = np.random.default_rng(41), np.arange(1.0, 26.0)
parts = []
for who in range(16):
    height, gain = 20 + 2 * rng.normal(), 14 + 2 * rng.normal()
    curve = height + gain * np.exp(-0.25 * (block - 1))
    scores = curve * np.exp(0.12 * rng.normal(size=block.size))
    parts.append(pd.DataFrame({"participant": who, "block": block, "y": scores}))
pd.concat(parts).to_csv(Path(__file__).with_name("data.csv"), index=False)
