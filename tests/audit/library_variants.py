"""Rates of the rows that statsmodels gives ``sensitivity``, where nothing is there.

``python tests/audit/library_variants.py hits STUDIES`` and ``... chained STUDIES`` write the two
tables of the page of rates.
"""

import sys
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pandas as pd

import motorlearn as ml
from motorlearn.audit.comparison.binomial import binomial_conclusions, marginal_conclusions
from motorlearn.audit.comparison.phase_model import PhaseModel, phase_model
from motorlearn.audit.comparison.resampled import imputed
from motorlearn.audit.sensitivity.chained import chained_conclusions
from motorlearn.compare import PhaseComparison
from motorlearn.exceptions import FitError

DOCS = Path(__file__).parents[2] / "docs"
HITS = tuple(
    (people, attempts, level)
    for people in ((6, 6), (12, 12), (24, 24), (12, 24))
    for attempts, level in ((20, 0.5), (20, 0.9), (10, 0.5))
)
"""People in each group, attempts at a test, mean rate of hits."""

CHAINED = tuple(
    (people, lost, depends)
    for people in ((12, 12), (24, 24))
    for lost, depends in ((0.15, False), (0.3, False), (0.3, True))
)
"""People in each group, share without the last test, whether it depends on the test before."""
IMPUTATIONS = 10


def hit_study(rng: np.random.Generator, sizes, attempts, level) -> tuple:
    """Hits at two tests of people whose rates scatter; attempts of a person correlate by .1."""
    n, spread = sum(sizes), 9.0
    able = rng.beta(level * spread, (1 - level) * spread, n)
    table = pd.DataFrame(
        {
            "participant": np.repeat(np.arange(n), 2),
            "group": np.repeat(np.repeat(["blocked", "random"], sizes), 2),
            "phase": ["pretest", "retention"] * n,
            "hits": rng.binomial(attempts, np.repeat(able, 2)),
            "attempts": attempts,
        }
    )
    names = {"group": "group", "phase": "phase", "baseline": "pretest"}
    found = ml.compare_phases(table, "hits", attempts="attempts", **names)
    return found, phase_model(found, "retention")


def score_study(rng: np.random.Generator, sizes, lost, depends) -> tuple:
    """Scores at three tests that correlate by .6; some people do not come to the last one.

    The kernels of the front door are given what it would give them; a test holds both together.
    """
    n = sum(sizes)
    codes = np.repeat(np.arange(2), sizes)
    person = np.sqrt(0.6) * rng.normal(size=(n, 1))
    scores = 30 + 4 * (person + np.sqrt(0.4) * rng.normal(size=(n, 3)))
    away = scores[:, 1] * np.where(codes == 1, 1, -1) if depends else rng.random(n)
    scores[np.argsort(-away)[: round(lost * n)], 2] = np.nan
    x, y = scores[:, 0], scores[:, 2]
    people = np.arange(n)
    groups, pairs = ("blocked", "random"), ((1, 0),)
    model = PhaseModel("retention", people, y, x, codes, groups, pairs, False, True)
    wide = pd.DataFrame(scores, columns=["s0", "s1", "s2"]).assign(g1=codes.astype(float))
    return model, wide


def hit_ps(result: PhaseComparison, model: PhaseModel, seed: int) -> dict[str, float]:
    """Give p of the two models of odds; none where a group is at a bound."""
    try:
        (gee,), (binomial,) = (
            f(result, model) for f in (marginal_conclusions, binomial_conclusions)
        )
    except FitError:
        return {}
    return {"estimating equations": gee.p, "binomial model": binomial.p}


def chained_ps(model: PhaseModel, wide: pd.DataFrame, seed: int) -> dict[str, float]:
    """Give p as analysed, imputed from group and baseline, and by chained equations."""
    (chained,) = chained_conclusions(model, wide, ("s2", "s0"), imputations=IMPUTATIONS, seed=seed)
    (plain,) = model.conclusions()
    (filled,) = imputed(model, (1, 0), np.zeros(1), seed=seed)
    return {
        "people with both tests": plain.p,
        "imputed from group and baseline": filled.p,
        "chained equations": chained.p,
    }


def studied(draw: Callable, judge: Callable, cells, cell: int, studies: range) -> pd.DataFrame:
    """Give p of every row in some studies of one cell; each study has a seed of its own."""
    sizes, *rest = cells[cell]
    found = []
    for study in studies:
        rng = np.random.default_rng((77, cell, study))
        found.append(judge(*draw(rng, sizes, *rest), study))
    return pd.DataFrame(found).dropna()


def rates(draw: Callable, judge: Callable, cells, names, studies: int) -> Iterator[dict]:
    """Share of studies in which each row rejects, one row a cell."""
    for cell, (sizes, *rest) in enumerate(cells):
        ps = studied(draw, judge, cells, cell, range(studies))
        yield row_of(sizes, dict(zip(names, rest, strict=True)), ps)


def row_of(sizes, where: dict, ps: pd.DataFrame) -> dict:
    """One row of a table of rates."""
    people = {"people": " and ".join(map(str, sizes))}
    return people | where | (ps <= 0.05).mean().to_dict() | {"studies": len(ps)}


WHICH = {
    "hits": (hit_study, hit_ps, HITS, ("attempts", "rate of hits"), "equations"),
    "chained": (
        score_study,
        chained_ps,
        CHAINED,
        ("missing", "depends on the test before"),
        "chained",
    ),
}


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    *asked, name = WHICH[sys.argv[1]]
    path, made = DOCS / f"error-rates-{name}.csv", []
    for row in rates(*asked, int(sys.argv[2])):
        made.append(row)
        print(row, flush=True)
        pd.DataFrame(made).to_csv(path, index=False, float_format="%.3f", lineterminator="\n")
