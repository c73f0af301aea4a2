"""Write data.csv: 120 trials whose spread falls and whose neighbours are correlated at .4."""

from pathlib import Path

import numpy as np
import pandas as pd

rng, n = np.random.default_rng(21), np.arange(1.0, 121)
noise = np.zeros(120)
noise[0] = rng.normal()
for k in range(1, 120):
    noise[k] = 0.4 * noise[k - 1] + np.sqrt(0.84) * rng.normal()
fall = np.exp(-0.05 * (n - 1))
table = pd.DataFrame({"n": n, "y": (20 + 12 * fall + 4 * n**-0.3 * noise).round(4), "x": fall})
table.to_csv(Path(__file__).with_name("data.csv"), index=False)
