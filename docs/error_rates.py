"""Simulate how often the default routes err without an effect; writes error-rates-*.csv.

    .venv/bin/python docs/error_rates.py [replicates] [scores] [hits] [trials]

Scores are fitted side by side on the kernels of the mixed route; hits and trials go through the
front door.
"""

import csv
import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import stats

import motorlearn as ml
from motorlearn.mixed.inference.kenward_roger import adjust
from motorlearn.mixed.solve.covariance import Structure
from motorlearn.mixed.solve.dense import DenseModel
from motorlearn.mixed.solve.engine import Cells, working
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.optimise import minimise
from motorlearn.mixed.solve.residual import ResidualShape
from motorlearn.mixed.solve.search_dense import Residuals, first_guess, padded

HERE = Path(__file__).parent
TESTS = ("pretest", "retention", "transfer")
COLUMNS = ("people", "spreads", "drop-out", "retention", "transfer", "median df", "studies")
BATCH = 100
SCORES = [
    (sizes, spreads, missing)
    for sizes in ((6, 6), (10, 10), (20, 20), (6, 14))
    for spreads in ((3, 3, 9), (3, 3, 3))
    for missing in (0.0, 0.15)
]
HITS = [((n, n), (s, s, s)) for n in (6, 10) for s in (0.4, 1.0)]


def levels(rng, sizes, spreads, count):
    """Normal levels (count, people, 3) that correlate by .5 between tests."""
    covariance = 0.5 * (np.ones((3, 3)) + np.eye(3)) * np.outer(spreads, spreads)
    return rng.normal(size=(count, sum(sizes), 3)) @ np.linalg.cholesky(covariance).T


def rejected(rng, sizes, spreads, missing):
    """Kenward-Roger p and df (studies, 2) of one batch that shares its pattern of missing tests."""
    people = sum(sizes)
    gone = np.zeros((people, 3), bool)
    if missing:
        gone[:, 1:] = rng.random((people, 2)) < missing
    person, test = np.nonzero(~gone)
    group = (person >= sizes[0]).astype(int)
    x = np.zeros((len(person), 5))
    x[test == 0, 0] = 1
    for later in (1, 2):
        for one in (0, 1):
            x[(test == later) & (group == one), 2 * later - 1 + one] = 1
    y = levels(rng, sizes, np.array(spreads, float), BATCH)[:, person, test]
    factor = Factor(person, np.zeros((len(x), 0)), Structure(()), people)
    work, ones = working(x, [factor]), np.ones(len(x))
    rest = y - (y @ work.x / len(x)) @ work.x.T
    base, unit = y @ work.x / len(x), np.sqrt(np.mean(rest**2, axis=1))
    cells = Cells(y[0], ones, len(x), rows=ones, within_cell=np.zeros(len(x)))
    shape = ResidualShape("free", 3)
    data = padded(work, rest / unit[:, None], cells, Residuals(test, shape), np.zeros((BATCH, 3)))
    model = DenseModel(data, shape, True)
    here = model.at(minimise(model.objective, first_guess(model), longest=2.0).x, np.arange(BATCH))
    crosses, seconds, traces = model.products(here)
    adjusted, _, w = adjust(here.phi, crosses, seconds, traces)
    found = []
    for later in (1, 2):
        contrast = np.zeros(5)
        contrast[2 * later - 1], contrast[2 * later] = -1, 1
        line = contrast @ work.back
        estimate = base @ line / unit + here.beta @ line
        error = np.sqrt(np.einsum("i,kij,j->k", line, adjusted, line))
        half = here.phi @ line
        pull = np.einsum("ki,krij,kj->kr", half, crosses, half) / (half @ line)[:, None]
        df = 2 / np.einsum("kr,krs,ks->k", pull, w, pull)
        found.append((2 * stats.t.sf(np.abs(estimate / error), df), df))
    return found


def scores(replicates):
    """One line for each case."""
    for sizes, spreads, missing in SCORES:
        rng = np.random.default_rng(1)
        parts = [rejected(rng, sizes, spreads, missing) for _ in range(replicates // BATCH)]
        p = np.array([[one[0] for one in part] for part in parts])
        df = np.median([[one[1] for one in part] for part in parts])
        size = np.mean(p < 0.05, axis=(0, 2)).round(4)
        yield (*_names(sizes, spreads), missing, *size, round(float(df), 1), replicates)


def _names(sizes, spreads):
    return "+".join(map(str, sizes)), ":".join(map(str, spreads))


def hits(replicates):
    """Hits of 20 through the mixed route, one line for each case."""
    for sizes, spreads in HITS:
        rng = np.random.default_rng(3)
        people = sum(sizes)
        table = pd.DataFrame(
            {
                "participant": np.repeat(np.arange(people), 3),
                "group": np.repeat(["blocked", "random"], [3 * size for size in sizes]),
                "phase": np.tile(TESTS, people),
                "attempts": 20,
            }
        )
        late = (table["phase"] != "pretest").to_numpy()
        found = []
        for _ in range(replicates):
            eta = -0.4 + 0.5 * late + levels(rng, sizes, np.array(spreads), 1).ravel()
            table["hits"] = rng.binomial(20, 1 / (1 + np.exp(-eta)))
            options = {"group": "group", "baseline": "pretest", "route": "mixed"}
            mixed = ml.compare_phases(table, "hits", attempts="attempts", **options).mixed
            found.append(mixed[mixed["effect"] == "odds ratio"][["p", "df"]].to_numpy())
        values = np.array(found)
        size = np.mean(values[:, :, 0] < 0.05, axis=0).round(4)
        df = round(float(np.median(values[:, :, 1])), 1)
        yield (*_names(sizes, spreads), 0.0, *size, df, replicates)


def trials(replicates, people=20, each=10):
    """Group by test from single trials, with and without slopes; people differ in the step."""
    for random in ("1 + phase", "1"):
        rng, p = np.random.default_rng(7), []
        person = np.repeat(np.arange(people), 2 * each)
        late = np.tile(np.repeat([0, 1], each), people)
        for _ in range(replicates):
            level, step = rng.normal(30, 3, people), rng.normal(0, 2, people)
            table = pd.DataFrame(
                {
                    "participant": person,
                    "group": np.where(person % 2, "random", "blocked"),
                    "phase": np.where(late, "retention", "pretest"),
                    "score": level[person] + step[person] * late + rng.normal(0, 4, len(person)),
                }
            )
            fit = ml.fit_mixed("score ~ group * phase", table, random={"participant": random})
            p.append(fit.estimates["p"].iloc[3])
        yield (
            f"10+10, {random}",
            "",
            0.0,
            round(float(np.mean(np.array(p) < 0.05)), 4),
            "",
            "",
            replicates,
        )


def main() -> None:
    """Run the parts asked for and write one file for each."""
    replicates = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    for name in sys.argv[2:] or ["scores", "hits", "trials"]:
        part = {"scores": scores, "hits": hits, "trials": trials}[name]
        with (HERE / f"error-rates-{name}.csv").open("w", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(COLUMNS)
            for line in part(replicates):
                writer.writerow(line)
                file.flush()


if __name__ == "__main__":
    main()
