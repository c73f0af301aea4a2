# ruff: noqa: E402 - the number of threads is set before NumPy is loaded
"""Time the power of a binomial mixed model against the same loop with lme4, side by side.

Run from the root of the repository, with R and lme4 installed::

    python tests/benchmarks/power.py

1,000 simulated studies of 48 people with four tests of 20 attempts; each is fitted by
``hits ~ group x test + (1 | person)``. The other program fits the first studies of the same counts.
"""

import os

for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[variable] = "1"

import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
from row import tell

sys.path.insert(0, str(Path(__file__).parents[1] / "plan"))

from plans_of_tests import HITS, plan

from motorlearn.plan.power.grid import Cell, run_cells
from motorlearn.plan.power.planned import scenario
from motorlearn.plan.power.simulated_scores import draw_batch
from motorlearn.plan.power.workers import worker_pool

STUDIES, OTHER, REPEATS = 1000, 60, 3
SCRIPT = """
suppressMessages(library(lme4)); d <- read.csv("hits.csv"); d$id <- factor(d$person)
d$cell <- factor(d$cell); parts <- split(d, d$study); times <- numeric(0)
for (x in parts) times <- c(times, system.time(
  m <- suppressMessages(glmer(cbind(hits, 20 - hits) ~ 0 + cell + (1 | id), x, family = binomial))
)["elapsed"])
cat(mean(times))
"""


def main() -> None:
    """Print both times and their ratio."""
    found = scenario(plan(**HITS))
    cell = Cell(found, 24, 2.0, 1, STUDIES)
    times, results = {}, {}
    for workers in (1, 2):
        runs = []
        for _ in range(REPEATS):
            start = time.perf_counter()
            with worker_pool(workers) as pool:
                results[workers] = run_cells([cell], pool)[0][0]
            runs.append(time.perf_counter() - start)
        times[workers] = statistics.median(runs)
        print(f"{STUDIES} studies, {workers} worker(s): {times[workers]:.2f} s")
    same = np.array_equal(results[1].p, results[2].p, equal_nan=True)
    print(f"identical for both: {same}; power {(results[1].p < 0.05).mean():.3f}")
    peer = {"note": "R is not installed: no lme4 to compare with"}
    if shutil.which("Rscript"):
        fit = time_lme4(found)
        print(f"  glmer: {fit:.3f} s a fit")
        peer = {"peer": f"loop of R lme4, {OTHER} fits scaled", "peer_seconds": fit * STUDIES}
    for workers, seconds in times.items():
        action = f"power, {STUDIES:,} studies of 48 people, {workers} worker(s)"
        tell(action, seconds, most=30, least=10, **peer)


def time_lme4(found) -> float:
    """Mean seconds of a fit of the same model by glmer."""
    batch = draw_batch(found, 24, 2.0, OTHER, np.random.default_rng(1))
    study, person, test = np.meshgrid(
        *(np.arange(size) for size in batch.scores.shape), indexing="ij"
    )
    frame = pd.DataFrame(
        {
            "study": study.ravel(),
            "person": person.ravel(),
            "cell": batch.groups[person.ravel()] * 4 + test.ravel(),
            "hits": batch.scores.ravel().astype(int),
        }
    )
    with tempfile.TemporaryDirectory() as folder:
        frame.to_csv(Path(folder) / "hits.csv", index=False)
        done = subprocess.run(
            ["Rscript", "-e", SCRIPT], cwd=folder, capture_output=True, text=True, check=True
        )
    return float(done.stdout)


if __name__ == "__main__":
    main()
