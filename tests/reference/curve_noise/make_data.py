"""Make the scores of the reference: one learner, falling spread, correlated neighbours."""

import csv
from pathlib import Path

import numpy as np

rng = np.random.default_rng(2026)
trial = np.arange(1, 81)
curve = 20 + 16 * np.exp(-0.08 * (trial - 1))
noise = rng.normal(size=trial.size)
for k in range(1, trial.size):
    noise[k] = 0.45 * noise[k - 1] + np.sqrt(1 - 0.45**2) * noise[k]
score = curve + 1.5 * (curve / 20) ** 1.4 * noise
with (Path(__file__).parent / "data.csv").open("w", newline="", encoding="utf-8") as file:
    writer = csv.writer(file)
    writer.writerow(["trial", "error"])
    writer.writerows(zip(trial.tolist(), score.round(6).tolist()))
