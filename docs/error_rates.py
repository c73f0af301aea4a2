"""Simulate how often the default routes err, cover and find; writes error-rates-*.csv.

    .venv/bin/python docs/error_rates.py [replicates] [part ...]

The parts are scores, groups, hits, models, trials, peers and hit-peers. Studies are drawn and
fitted side by side on the kernels of the routes; tests/compare and tests/plan hold these against
``compare_phases`` and ``fit_mixed`` study by study. ``models`` goes through ``fit_mixed`` itself.
statsmodels analyses the same draws, and with Rscript on the machine error_rates_peers.R analyses
the first of them by lme4 and lmerTest.
"""

import csv
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.regression.linear_model import OLS
from statsmodels.stats.weightstats import DescrStatsW, ttest_ind

import motorlearn as ml
from motorlearn.linear.batch import ancova_batch
from motorlearn.mixed import fit_linear_many
from motorlearn.plan.power.hit_models import fit_hits
from motorlearn.plan.power.score_models import fit_scores
from motorlearn.plan.power.simulated_scores import Batch

HERE = Path(__file__).parent
CHUNK = 500
TO_R = 200
EFFECT = 0.8
"""Difference of groups where there is one, in standard deviations (scores) or logits (hits)."""
Rates = dict[str, float]


@dataclass(frozen=True)
class Cell:
    """One situation: people by group, spreads of tests, correlation, drop-out, hits out of."""

    sizes: tuple[int, ...]
    spreads: tuple[float, ...]
    r: float
    missing: float
    attempts: int = 1
    between: tuple[float, ...] = ()

    @property
    def groups(self) -> np.ndarray:
        """Group of each person."""
        return np.repeat(np.arange(len(self.sizes)), self.sizes)

    def draw(self, seed: int, count: int, effect: float = 0.0) -> Batch:
        """Scores or hits of ``count`` studies; the last group differs at the last test."""
        rng, groups, tests = np.random.default_rng(seed), self.groups, len(self.spreads)
        correlation = self.r + (1 - self.r) * np.eye(tests)
        levels = rng.normal(size=(count, len(groups), tests)) @ np.linalg.cholesky(correlation).T
        scale = np.array(self.between)[groups, None] if self.between else 1.0
        unit = 1.0 if self.attempts > 1 else self.spreads[-1]
        scores = levels * np.array(self.spreads) * scale
        scores[:, groups == len(self.sizes) - 1, -1] += effect * unit
        if self.attempts > 1:
            eta = scores - 0.4 + 0.5 * (np.arange(tests) > 0)
            scores = rng.binomial(self.attempts, 1 / (1 + np.exp(-eta))).astype(float)
        gone = rng.random(scores.shape) < self.missing
        scores[gone & (np.arange(tests) > 0)] = np.nan
        each = np.full(tests, float(self.attempts))
        return Batch(scores, groups, np.arange(len(groups)), 0, tests - 1, each)

    def named(self) -> dict[str, Any]:
        """What stands at the head of a line."""
        names: dict[str, Any] = {"people": "+".join(map(str, self.sizes))}
        if self.attempts > 1:
            names["SD between people"] = self.spreads[0]
            return names | {"drop-out": self.missing, "hits of": self.attempts}
        if not self.between:
            names["spreads"] = ":".join(f"{spread:g}" for spread in self.spreads)
        names |= {"r": self.r, "drop-out": self.missing}
        if self.between:
            names["spreads of groups"] = ":".join(f"{spread:g}" for spread in self.between)
        return names


SIZES = ((6, 6), (10, 10), (20, 20), (6, 14), (10, 30))
SCORES = [
    Cell(sizes, spreads, r, missing)
    for sizes in SIZES
    for spreads, r, missing in (
        ((1, 1, 1), 0.3, 0.15),
        ((1, 1, 3), 0.3, 0.0),
        ((1, 1, 3), 0.3, 0.15),
        ((1, 1, 3), 0.7, 0.0),
        ((1, 1, 3), 0.7, 0.15),
    )
]
GROUPS = [
    Cell(sizes, (1, 1, 1), 0.5, missing, between=between)
    for sizes, between, missing in (
        ((6, 6, 6), (1, 1, 3), 0.0),
        ((10, 10, 10), (1, 1, 3), 0.0),
        ((10, 10, 10), (1, 1, 3), 0.15),
        ((20, 20, 20), (1, 1, 3), 0.0),
        ((20, 20, 10), (1, 1, 3), 0.0),
        ((10, 10, 20), (1, 1, 3), 0.0),
        ((10, 10), (1, 3), 0.0),
        ((20, 20), (1, 3), 0.15),
        ((30, 10), (1, 3), 0.0),
        ((10, 30), (1, 3), 0.0),
    )
]
HITS = [
    Cell(sizes, (spread,) * 3, 0.5, missing, attempts)
    for sizes, attempts in (*((sizes, 20) for sizes in SIZES[:4]), ((6, 6), 10), ((10, 10), 10))
    for spread in (0.4, 1.0)
    for missing in (0.0, 0.15)
]


def chunks(cell: Cell, seed: int, replicates: int, effect: float = 0.0) -> Iterator[Batch]:
    """The studies of a cell, some hundred at a time."""
    for start in range(0, replicates, CHUNK):
        yield cell.draw(seed + start, min(CHUNK, replicates - start), effect)


def judged(found: list[Any], true: float = 0.0) -> tuple[float, float, float]:
    """Share of p below .05, coverage of the true value, median df; NaN are left out."""
    estimate, error, df = (np.concatenate([one[i] for one in found]) for i in range(3))
    known = np.isfinite(error)
    estimate, error, df = estimate[known], error[known], df[known]
    p = 2 * stats.t.sf(np.abs(estimate / error), df)
    inside = np.abs(estimate - true) < stats.t.isf(0.025, df) * error
    return float(np.mean(p < 0.05)), float(np.mean(inside)), float(np.median(df))


def ancovas(batch: Batch, contrast: np.ndarray, variance: str, covariate: bool = True) -> Any:
    """Analysis of covariance of the last test, or Welch's t without the covariate."""
    x = batch.scores[:, :, 0] if covariate else None
    found = ancova_batch(
        batch.scores[:, :, batch.primary], batch.groups, x, weights=contrast, variance=variance
    )
    return found.estimate, found.std_error, found.df


def changes(batch: Batch) -> Any:
    """Paired change of everybody from the first to the last test."""
    change = batch.scores[:, :, batch.primary] - batch.scores[:, :, 0]
    n = np.sum(~np.isnan(change), axis=1)
    error = np.nanstd(change, axis=1, ddof=1) / np.sqrt(n)
    return np.nanmean(change, axis=1), error, n - 1.0


def scores(replicates: int) -> Iterator[dict[str, Any]]:
    """Each route in each situation of two groups."""
    contrast = np.array([-1.0, 1.0])
    for cell in SCORES:
        none = list(chunks(cell, 1000, replicates))
        some = list(chunks(cell, 900_000, replicates, EFFECT))
        true = EFFECT * cell.spreads[-1]
        first, _, _ = judged([fit_scores(replace(one, primary=1), contrast) for one in none])
        last, _, df = judged([fit_scores(one, contrast) for one in none])
        power, cover, _ = judged([fit_scores(one, contrast) for one in some], true)
        line = {"mixed: second test": first, "mixed: last test": last}
        line |= {"mixed: coverage": cover, "mixed: power": power}
        line["median df"] = round(df, 1)
        for name, covariate in (("ancova", True), ("welch", False)):
            variance = "equal" if covariate else "by group"
            line[name], _, _ = judged([ancovas(o, contrast, variance, covariate) for o in none])
            again = [ancovas(o, contrast, variance, covariate) for o in some]
            line[f"{name} power"], line[f"{name} coverage"], _ = judged(again, true)
        line["paired change"], _, _ = judged([changes(one) for one in none])
        yield cell.named() | line


def groups(replicates: int) -> Iterator[dict[str, Any]]:
    """Groups that differ in spread; the widest against the first, the second against the first."""
    for cell in GROUPS:
        several = len(cell.sizes) > 2
        wide = np.array([-1.0, 0.0, 1.0] if several else [-1.0, 1.0])
        narrow = np.array([-1.0, 1.0, 0.0])
        none = list(chunks(cell, 2000, replicates))
        some = list(chunks(cell, 910_000, replicates, EFFECT))
        line = {}
        ways = {
            "welch": lambda one, c: ancovas(one, c, "by group", False),
            "ancova": lambda one, c: ancovas(one, c, "equal"),
            "ancova by group": lambda one, c: ancovas(one, c, "by group"),
            "mixed": fit_scores,
            "mixed by group": lambda one, c: fit_scores(one, c, "by group"),
        }
        for name, way in ways.items():
            line[f"{name}: wide"], _, _ = judged([way(one, wide) for one in none])
            line[f"{name}: coverage"] = judged([way(one, wide) for one in some], EFFECT)[1]
            if several:
                line[f"{name}: narrow"], _, _ = judged([way(one, narrow) for one in none])
        yield cell.named() | line


def hits(replicates: int) -> Iterator[dict[str, Any]]:
    """Odds ratio of the mixed route at the last test."""
    contrast = np.array([-1.0, 1.0])
    for cell in HITS:
        size, _, df = judged([fit_hits(o, contrast) for o in chunks(cell, 3000, replicates)])
        again = [fit_hits(o, contrast) for o in chunks(cell, 920_000, replicates, EFFECT)]
        power, cover, _ = judged(again, EFFECT)
        line = {"mixed": size, "coverage": cover, "power": power, "median df": round(df, 1)}
        yield cell.named() | line


def models(replicates: int) -> Iterator[dict[str, Any]]:
    """``fit_mixed`` of hits at two tests: group at each test's reference, interaction, anova."""
    for people in (6, 10):
        for spread in (0.4, 1.0):
            for random, step in (("1", 0.0), ("1 + phase", 0.5)):
                found = [_model(people, spread, step, random, seed) for seed in range(replicates)]
                named = {"people": f"{people}+{people}", "between people": spread, "step": step}
                yield named | {"random": random} | pd.DataFrame(found).mean().to_dict()


def _model(people: int, spread: float, step: float, random: str, seed: int) -> Rates:
    rng = np.random.default_rng(seed)
    person, late = np.repeat(np.arange(2 * people), 2), np.tile([0, 1], 2 * people)
    level, change = rng.normal(0, spread, 2 * people), rng.normal(0, step, 2 * people)
    eta = -0.2 + 0.4 * late + level[person] + change[person] * late
    table = pd.DataFrame(
        {
            "participant": person,
            "group": np.where(person % 2, "random", "blocked"),
            "phase": np.where(late, "retention", "pretest"),
            "hits": rng.binomial(20, 1 / (1 + np.exp(-eta))),
            "attempts": 20,
        }
    )
    fit = ml.fit_mixed(
        "hits ~ group * phase",
        table,
        random={"participant": random},
        family="binomial",
        attempts="attempts",
    )
    wald = np.abs(fit.params.to_numpy()) / np.sqrt(np.diag(fit.inference.joint_vcov)[:4]) > 1.96
    p, limits = fit.pvalues.to_numpy(), fit.conf_int()
    return {
        "group": float(p[1] < 0.05),
        "interaction": float(p[3] < 0.05),
        "phase: coverage": float(limits[0].iloc[2] < 0.4 < limits[1].iloc[2]),
        "group by normal test": float(wald[1]),
        "interaction by normal test": float(wald[3]),
    }


def trials(replicates: int, each: int = 10) -> Iterator[dict[str, Any]]:
    """Group by test from single trials, with and without slopes; people differ in the step."""
    for sizes in ((6, 6), (10, 10), (20, 20), (6, 14)):
        for missing in (0.0, 0.15):
            for slope in (True, False):
                rng, parts = np.random.default_rng(7), ([], [])
                for _ in range(replicates // 100):
                    found = _trials(rng, sizes, missing, slope, each)
                    parts[0].append(found[:3])
                    parts[1].append((found[0] + 2, *found[1:3]))
                size, _, df = judged(parts[0])
                power, cover, _ = judged(parts[1], 2.0)
                yield {
                    "people": "+".join(map(str, sizes)),
                    "drop-out": missing,
                    "random": "1 + phase" if slope else "1",
                    "interaction": size,
                    "coverage": cover,
                    "power": power,
                    "median df": round(df, 1),
                }


def _trials(
    rng: np.random.Generator, sizes: tuple[int, int], missing: float, slope: bool, each: int
) -> tuple[np.ndarray, ...]:
    """Interaction in a hundred studies that share who missed the later test."""
    people = sum(sizes)
    person, late = np.repeat(np.arange(people), 2 * each), np.tile(np.repeat([0, 1], each), people)
    kept = ~((rng.random(people) < missing)[person] & (late == 1))
    person, late = person[kept], late[kept]
    level, step = rng.normal(30, 3, (100, people)), rng.normal(0, 2, (100, people))
    y = level[:, person] + step[:, person] * late + rng.normal(0, 4, (100, len(person)))
    group = (person >= sizes[0]).astype(float)
    x = np.column_stack([np.ones(len(person)), group, late, group * late])
    z = np.column_stack([np.ones(len(person)), late]) if slope else None
    return fit_linear_many(x, y, person, z=z).test(np.array([0.0, 0.0, 0.0, 1.0]))


def peers(replicates: int) -> Iterator[dict[str, Any]]:
    """The same draws by statsmodels; the first of those with drop-out by lme4 and lmerTest."""
    for cell in SCORES:
        batches = list(chunks(cell, 1000, replicates))
        found = [_statsmodels(study, batches[0].groups) for b in batches for study in b.scores]
        line: Rates = pd.DataFrame(found).mean().to_dict()
        yield cell.named() | line | _by_r(cell, batches[0])


def hit_peers(replicates: int) -> Iterator[dict[str, Any]]:
    """The first of the draws of 20 hits with drop-out by lme4."""
    for cell in HITS:
        if cell.missing and cell.attempts == 20:
            yield cell.named() | _by_r(cell, cell.draw(3000, min(CHUNK, replicates)))


def _statsmodels(study: np.ndarray, groups: np.ndarray) -> Rates:
    y, x = study[:, -1], study[:, 0]
    here = ~np.isnan(y)
    y, x, g = y[here], x[here], groups[here]
    design = np.column_stack([np.ones(len(y)), g, x])
    return {
        "statsmodels ancova": float(OLS(y, design).fit().pvalues[1] < 0.05),
        "statsmodels welch": float(ttest_ind(y[g == 1], y[g == 0], usevar="unequal")[1] < 0.05),
        "statsmodels paired": float(DescrStatsW(y - x).ttest_mean()[1] < 0.05),
    }


def _by_r(cell: Cell, batch: Batch) -> dict[str, Any]:
    if shutil.which("Rscript") is None or not cell.missing:
        return {}
    scores = batch.scores[:TO_R]
    study, person, test = np.nonzero(~np.isnan(scores))
    table = pd.DataFrame({"study": study, "person": person, "test": test})
    table["group"], table["y"] = batch.groups[person], scores[study, person, test]
    table["attempts"] = cell.attempts
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "draws.csv"
        table.to_csv(source, index=False)
        command = ["Rscript", str(HERE / "error_rates_peers.R"), str(source)]
        said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    return {name: float(value) for name, value in csv.reader(said.splitlines())}


PARTS = {
    "scores": scores,
    "groups": groups,
    "hits": hits,
    "models": models,
    "trials": trials,
    "peers": peers,
    "hit-peers": hit_peers,
}


def main() -> None:
    """Run the parts asked for and write one file for each."""
    replicates = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    for name in sys.argv[2:] or PARTS:
        lines: list[dict[str, Any]] = []
        for line in PARTS[name](replicates):
            lines.append(line)
            frame = pd.DataFrame(lines).round(4)
            frame.to_csv(HERE / f"error-rates-{name}.csv", index=False)


if __name__ == "__main__":
    main()
