"""Make the rows: 20 learners x 40 blocks, falling spread, neighbours correlated."""

from pathlib import Path

import numpy as np
import pandas as pd


def main() -> None:
    rng, parts = np.random.default_rng(5), []
    block = np.arange(1.0, 41.0)
    for learner in range(20):
        asymptote = 20 + 2 * rng.normal()
        gain = 12 + 1.5 * rng.normal()
        noise = rng.normal(size=40)
        for k in range(1, 40):
            noise[k] = 0.4 * noise[k - 1] + np.sqrt(1 - 0.16) * noise[k]
        y = asymptote + gain * np.exp(-0.15 * (block - 1)) + 4 * block**-0.3 * noise
        parts.append(pd.DataFrame({"participant": learner, "block": block, "y": y}))
    table = pd.concat(parts, ignore_index=True)
    table.to_csv(Path(__file__).with_name("data.csv"), index=False)


if __name__ == "__main__":
    main()
