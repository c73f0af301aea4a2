"""How often checks flag clean data and data with one fault: simulated studies and their rates.

``python tests/audit/flagging.py`` writes the table of rates that the documentation shows.
"""

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pandas as pd

import motorlearn as ml

GROUPS = ("blocked", "random", "serial")
CLEAN, FAULTY = 200, 50
TABLE = Path(__file__).parents[2] / "docs" / "flagging-rates.csv"

Make = Callable[[np.random.Generator], object]


def comparison(rng, n=24, spread=(1, 1, 1), slope=(0.6, 0.6, 0.6), shape=None, lost=(0, 0, 0),
               growing=1.0, apart=0.0):  # fmt: skip
    """Three groups, pretest, posttest, retention; radial error in centimetres."""
    rows = []
    for g, group in enumerate(GROUPS):
        for i in range(n):
            person, pre, level = f"{group}{i}", rng.normal(38, 5), rng.normal(0, 2)
            rows.append((person, group, "pretest", pre))
            for k, phase in enumerate(("posttest", "retention")):
                e = rng.normal() if shape is None else shape(rng)
                e *= 4 * spread[g] * (growing if phase == "retention" else 1.0)
                e += apart * 4 * rng.normal() * (g == 2) * (k == 1)
                score = 40 + level + slope[g] * (pre - 38) + e
                if phase == "posttest" or rng.random() >= lost[g]:
                    rows.append((person, group, phase, score))
    table = pd.DataFrame(rows, columns=["participant", "group", "phase", "radial_error"])
    return ml.compare_phases(table, "radial_error", group="group", baseline="pretest")


def hits_compared(rng, level=0.4, n=24):
    """Three groups, hits of 20 at pretest and retention."""
    rows = []
    for group in GROUPS:
        for i in range(n):
            own = 0.6 * rng.normal()
            for phase, shift in (("pretest", 0.0), ("retention", level)):
                p = 1 / (1 + np.exp(-(own + shift)))
                rows.append((f"{group}{i}", group, phase, rng.binomial(20, p), 20))
    columns = ["participant", "group", "phase", "hits", "attempts"]
    table = pd.DataFrame(rows, columns=columns)
    return ml.compare_phases(table, "hits", group="group", baseline="pretest", attempts="attempts")


def hits(rng, n=24, extra=0.0, effects=None, never=0.0):
    """Binomial mixed model of hits of 20 at two tests, three groups."""
    rows = []
    for group in GROUPS:
        for i in range(n):
            own = 0.7 * (rng.normal() if effects is None else effects(rng))
            for phase, shift in (("pretest", -0.5), ("retention", 0.3)):
                p = 1 / (1 + np.exp(-(own + shift + extra * rng.normal())))
                k = 0 if rng.random() < never else rng.binomial(20, p)
                rows.append((f"{group}{i}", group, phase, k, 20))
    columns = ["participant", "group", "phase", "hits", "attempts"]
    return ml.fit_mixed(
        "hits ~ group * phase", pd.DataFrame(rows, columns=columns), family="binomial",
        random={"participant": "1"}, attempts="attempts",
    )  # fmt: skip


def errors(rng, n=12, trials=10, spread=(1, 1, 1), rho=0.0, shape=None, effects=None):
    """Linear mixed model of trial errors at two tests, three groups."""
    rows = []
    for g, group in enumerate(GROUPS):
        for i in range(n):
            own = 3 * (rng.normal() if effects is None else effects(rng))
            for phase, shift in (("pretest", 0.0), ("retention", -4.0)):
                last = 0.0
                for _ in range(trials):
                    fresh = rng.normal() if shape is None else shape(rng)
                    last = rho * last + np.sqrt(1 - rho**2) * fresh
                    rows.append(
                        (f"{group}{i}", group, phase, 30 + own + shift + 6 * spread[g] * last)
                    )
    table = pd.DataFrame(rows, columns=["participant", "group", "phase", "radial_error"])
    return ml.fit_mixed("radial_error ~ group * phase", table, random={"participant": "1"})


def curve(rng, trials=72, rate=0.08, noise=None, onset=1):
    """One learner's exponential curve, which may begin late."""
    n = np.arange(1, trials + 1)
    scatter = rng.normal(0, 3, trials) if noise is None else noise(rng, n)
    return ml.fit_curve(n, 20 + 15 * np.exp(-rate * np.maximum(n - onset, 0)) + scatter)


def raters(rng, n=60, drift=0.0, tilt=0.0):
    """Two raters of 60 clips."""
    true = rng.normal(5, 1.5, n)
    rows = []
    for name, change, slope in (("A", 0, 0), ("B", drift, tilt)):
        order = rng.permutation(n)
        score = true + slope * (true - 5) + change * order / n + rng.normal(0, 0.6, n)
        rows.append(pd.DataFrame({"clip": range(n), "rater": name, "score": score, "seen": order}))
    return ml.rater_agreement(
        pd.concat(rows), item="clip", rater="rater", score="score", kind="continuous", order="seen"
    )


def skewed(rng):
    """Standardised, skewness about 4."""
    return (np.exp(0.9 * rng.normal()) - np.exp(0.405)) / 1.75


def heavy(rng):
    """Skewness beyond 10 and three times as wide: far from what real scores show."""
    return (np.exp(1.4 * rng.normal()) - np.exp(0.98)) / 2.2


def exponential(rng):
    """Standardised, skewness 2."""
    return rng.exponential() - 1


def serial_noise(rng, n):
    """Autoregressive scatter, lag-1 correlation .6."""
    e = np.zeros(len(n))
    for i in range(len(n)):
        e[i] = 0.6 * e[i - 1] + 2.4 * rng.normal()
    return e


FAULTS: tuple[tuple[str, str, str, Make, Make], ...] = (
    ("covariance analysis, 24 per group", "one group's SD 2.5 times that of the others",
     "groups have the same spread", comparison, lambda r: comparison(r, spread=(1, 1, 2.5))),
    ("covariance analysis, 12 per group", "one group's SD 2.5 times that of the others",
     "groups have the same spread", lambda r: comparison(r, n=12),
     lambda r: comparison(r, n=12, spread=(1, 1, 2.5))),
    ("covariance analysis, 24 per group", "heavily skewed residuals",
     "residuals are roughly normal", comparison, lambda r: comparison(r, shape=heavy)),
    ("covariance analysis, 24 per group", "slopes .1, .6 and 1.1",
     "parallel slopes", comparison, lambda r: comparison(r, slope=(0.1, 0.6, 1.1))),
    ("covariance analysis, 24 per group", "35 % missing in one group",
     "missing scores", comparison, lambda r: comparison(r, lost=(0, 0, 0.35))),
    ("mixed analysis of variance, 24 per group", "retention scatters 4 times as wide",
     "sphericity", comparison, lambda r: comparison(r, growing=4.0)),
    ("mixed analysis of variance, 24 per group", "one group's retention scatters wider",
     "same covariances", comparison, lambda r: comparison(r, apart=3.0)),
    ("hits of 20 compared, 24 per group", "ceiling: log odds 3.2 at retention",
     "floor or ceiling", hits_compared, lambda r: hits_compared(r, level=3.2)),
    ("binomial mixed model, 24 per group", "overdispersion: SD .7 between rows",
     "scatter as a binomial", hits, lambda r: hits(r, extra=0.7)),
    ("binomial mixed model, 24 per group", "15 % of tests without any hit",
     "residuals are uniform", hits, lambda r: hits(r, never=0.15)),
    ("binomial mixed model, 24 per group", "15 % of tests without any hit",
     "scores of zero", hits, lambda r: hits(r, never=0.15)),
    ("binomial mixed model, 24 per group", "exponential random effects",
     "random effects are roughly normal", hits, lambda r: hits(r, effects=exponential)),
    ("linear mixed model, 12 per group", "group SDs 1, 1 and 2.5",
     "alike in every group", errors, lambda r: errors(r, spread=(1, 1, 2.5))),
    ("linear mixed model, 12 per group", "lag-1 correlation .5",
     "the one before", errors, lambda r: errors(r, rho=0.5)),
    ("linear mixed model, 12 per group", "skewed residuals",
     "residuals are roughly normal", errors, lambda r: errors(r, shape=skewed)),
    ("linear mixed model, 12 per group", "exponential random effects",
     "random effects are roughly normal", errors, lambda r: errors(r, effects=exponential)),
    ("one learner's curve, 72 trials", "lag-1 correlation .6",
     "residuals along practice", curve, lambda r: curve(r, noise=serial_noise)),
    ("one learner's curve, 72 trials", "scatter 4 times as wide early",
     "early and late", curve,
     lambda r: curve(r, noise=lambda g, n: g.normal(0, 1, len(n)) * np.where(n < 30, 8, 2))),
    ("one learner's curve, 72 trials", "practice stopped before the curve flattened",
     "pinned down", curve, lambda r: curve(r, rate=0.006)),
    ("one learner's curve, 72 trials", "nothing learned before trial 25",
     "monotone curve", curve, lambda r: curve(r, onset=25)),
    ("two raters, 60 clips", "one rater drifts by 1 point (SEM .6)",
     "no rater drifts", raters, lambda r: raters(r, drift=1.0)),
    ("two raters, 60 clips", "differences grow with the score, slope .3",
     "whole range", raters, lambda r: raters(r, tilt=0.35)),
)  # fmt: skip


def audits(make: Make, count: int, seed: int) -> pd.DataFrame:
    """Whether each check flagged each of so many simulated studies."""
    streams = np.random.SeedSequence(seed).spawn(count)
    rows = []
    for stream in streams:
        result = make(np.random.default_rng(stream))
        options = {"phases": ["retention"]} if hasattr(result, "contrasts") else {}
        table = ml.check_assumptions(result, remedies=False, simulations=199, **options).table
        rows.append(table.groupby("assumption")["grade"].agg(lambda g: bool((g != "fine").any())))
    return pd.DataFrame(rows)


COLUMNS = ["analysis", "fault", "check", "flagged_clean", "clean_studies", "flagged_faulty",
           "faulty_studies"]  # fmt: skip


def rows(clean: int, faulty: int, faults=FAULTS) -> Iterator[tuple]:
    """Rows of the table one by one; clean studies of one kind are audited once."""
    cache: dict[object, pd.DataFrame] = {}
    for number, (analysis, fault, words, good, bad) in enumerate(faults):
        key = analysis.removeprefix("mixed analysis of variance").removeprefix(
            "covariance analysis"
        )
        if key not in cache:
            cache[key] = audits(good, clean, seed=1000)
        flagged = audits(bad, faulty, seed=2000 + number)
        column = next(name for name in flagged if words in name)
        yield (analysis, fault, column, cache[key][column].mean(), clean,
               flagged[column].mean(), faulty)  # fmt: skip


def rates(clean: int = CLEAN, faulty: int = FAULTY, faults=FAULTS) -> pd.DataFrame:
    """Share of clean and of faulty studies that each check flags (look or act)."""
    return pd.DataFrame(rows(clean, faulty, faults), columns=COLUMNS)


if __name__ == "__main__":
    kept: list[tuple] = []
    for line in rows(*(int(value) for value in (sys.argv[1:3] or (CLEAN, FAULTY)))):
        kept.append(line)
        print(line, flush=True)
        pd.DataFrame(kept, columns=COLUMNS).to_csv(
            sys.argv[3] if sys.argv[3:] else TABLE, index=False, float_format="%.3f",
            lineterminator="\n",
        )  # fmt: skip
