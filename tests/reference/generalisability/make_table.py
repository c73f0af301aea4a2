"""Draw scores of learners by raters, occasions and clips with gaps: ``python make_table.py``."""

from pathlib import Path

import numpy as np
import pandas as pd


def main() -> None:
    """Write ``scores.csv``, which ``make_values.R`` reads."""
    rng = np.random.default_rng(21)
    cells = np.array(list(np.ndindex(10, 3, 2, 3)))
    sds = {(0,): 2.0, (1,): 0.8, (2,): 0.5, (0, 1): 0.6, (0, 2): 0.9, (1, 2): 0.3, (0, 2, 3): 0.7}
    score = 10 + rng.normal(0, 1, len(cells))
    for columns, sd in sds.items():
        places = np.unique(cells[:, columns], axis=0, return_inverse=True)[1].ravel()
        score += rng.normal(0, sd, places.max() + 1)[places]
    table = pd.DataFrame(cells, columns=["participant", "rater", "occasion", "clip"])
    table["score"] = score.round(2)
    kept = table[rng.random(len(table)) > 0.1]
    kept.to_csv(Path(__file__).with_name("scores.csv"), index=False)


if __name__ == "__main__":
    main()
