"""Simulate how often a search for a jump, and a check of a form, err; writes a table.

    .venv/bin/python docs/error_rates_of_change_points.py [curves] [seconds]

Curves of 30, 60 and 200 trials without a jump: a level, or an exponential from 35 to 20 at a
rate of 6 over the number of trials. Scores scatter by an SD of 3, neighbours correlated by
*neighbours*, the SD going with the power *spread* of the trial. *jump* is the share in which
``find_change_point`` claims one (5 %, 199 simulations), *plain F* that of the F test of the best
place, *doubted* the share in which ``fit_monotone`` doubts the exponential. Beside them stand
curves with a jump of two SDs in the middle: *power* to find it, and *place* is how often the range
of places holds the true one. Curves are added to those of the file.
"""

from pathlib import Path

import numpy as np
from growing_table import grow_as_asked, means
from scipy.stats import f

from motorlearn.curves import find_change_point, fit_monotone

FILE = Path(__file__).parent / "error-rates-change-points.csv"
CHUNK = 20
SIMULATIONS = 199
NOISES = ((0.0, 0.0), (0.4, 0.0), (0.0, -0.3), (0.4, -0.3))
CELLS = [
    (form, trials, *noise)
    for trials in (60, 30, 200)
    for noise in NOISES
    for form in ("exponential", "level")
]


def noise(rng: np.random.Generator, trials: int, alike: float, power: float) -> np.ndarray:
    """Noise of SD 3 at the first trial."""
    drawn = rng.normal(size=trials)
    for k in range(1, trials):
        drawn[k] = alike * drawn[k - 1] + np.sqrt(1 - alike**2) * drawn[k]
    found: np.ndarray = 3 * drawn * np.arange(1.0, trials + 1) ** power
    return found


def once(form: str, trials: int, alike: float, power: float, seed: int) -> dict[str, float]:
    """What is said of one curve without a jump, and of one with it."""
    rng = np.random.default_rng([17, seed, trials, int(10 * alike), int(-10 * power), len(form)])
    trial = np.arange(1.0, trials + 1)
    curve = 20 + 15 * np.exp(-6 * (trial - 1) / trials) if form == "exponential" else 20 + 0 * trial
    scores = curve + noise(rng, trials, alike, power)
    options = {"simulations": SIMULATIONS, "seed": seed}
    found = find_change_point(trial, scores, form=form, **options)
    spare = trials - (5 if form == "exponential" else 3)
    place = trials // 2 + 1
    height = 6 * place**power
    jumped = find_change_point(trial, scores - height * (trial >= place), form=form, **options)
    where = jumped.estimates.iloc[0]
    line = {
        "jump": float(found.p <= 0.05),
        "plain F": float(found.statistic > f.isf(0.05, 2, spare)),
        "power": float(jumped.p <= 0.05),
        "place": float(where["conf_low"] <= place <= where["conf_high"]),
    }
    if form == "exponential":
        line["doubted"] = float(fit_monotone(trial, scores, **options).p <= 0.05)
    return line


def main() -> None:
    """Add curves to every line of the file."""
    cells = [
        (
            {"form": form, "trials": trials, "neighbours": alike, "spread": power},
            means(once, form, trials, alike, power),
        )
        for form, trials, alike, power in CELLS
    ]
    grow_as_asked({FILE: cells}, goal=1000, chunk=CHUNK)


if __name__ == "__main__":
    main()
