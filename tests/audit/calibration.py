"""Calibration of whole audits: clean studies that hold an ``act``, faulty ones that are named.

``python tests/audit/calibration.py [studies] [replicates] [row ...]`` writes the table that the
documentation shows, or some of its rows by number. A clean study must seldom hold any ``act``; a
study with a fault that moves the rate of false positives beyond 7.5 % or the coverage of a nominal
95 % interval below 92 % must have an ``act`` that names it. Audits go through the front door, one
study at a time; rates of the default test and of its remedy are measured side by side on the
kernels of both, in studies drawn by the same function.
"""

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

import motorlearn as ml
from motorlearn.audit.comparison.covariances import interaction_by_group
from motorlearn.audit.comparison.paired import studentised_bootstrap
from motorlearn.audit.mixed.refits import with_row_effects
from motorlearn.linear import ancova_batch, repeated_anova
from motorlearn.mixed import fit_linear_many

TABLE = Path(__file__).parents[2] / "docs" / "calibration-of-audits.csv"
TESTS = ("pretest", "posttest", "retention")
KEY = ["situation", "people", "effect"]
COLUMNS = (*KEY, "check", "act", "studies", "false_positives", "coverage", "remedy",
           "false_positives_of_the_remedy", "replicates")  # fmt: skip

Floats = NDArray[np.float64]
Make = Callable[[np.random.Generator], pd.DataFrame]
Rates = tuple[Floats, Floats, Floats]
"""In each study: p of the default test, whether its interval holds the truth, p of the remedy."""


# Studies ----------------------------------------------------------------------------------------


def drawn_scores(rng, studies, sizes, *, d=0.0, sds=None, r=0.6, spread=(1, 1, 1)) -> Floats:
    """Scores (studies, people, tests); ``d`` in SDs of the last groups' late tests."""
    group = np.repeat(np.arange(len(sizes)), sizes)
    shape = (studies, len(group), len(TESTS))
    own = np.sqrt(r) * rng.normal(size=(*shape[:2], 1)) + np.sqrt(1 - r) * rng.normal(size=shape)
    sd = (np.full(len(sizes), 6.0) if sds is None else np.array(sds, dtype=float))[group][:, None]
    late = np.arange(len(TESTS)) > 0
    return 40 - 8 * late + np.array(spread) * sd * own - d * sd * late * (group > 0)[:, None]


def long_table(scores: Floats, sizes, tests=TESTS) -> pd.DataFrame:
    """One study (people, tests) or (people, tests, trials) as rows."""
    group = np.repeat(np.arange(len(sizes)), sizes)
    name = np.array([f"g{g}p{i:03d}" for i, g in enumerate(group)])
    person, test = (place.ravel() for place in np.indices(scores.shape)[:2])
    columns = {"participant": name[person], "group": [f"g{g}" for g in group[person]]}
    columns |= {"phase": np.array(tests)[test], "radial_error": scores.ravel()}
    return pd.DataFrame(columns)


def radial_error(rng, sizes, **options) -> pd.DataFrame:
    """One score per person and test, centimetres."""
    return long_table(drawn_scores(rng, 1, sizes, **options)[0], sizes)


def hits(rng, sizes, *, d=0.0, sd=0.6, extra=0.0, level=0.4) -> pd.DataFrame:
    """Hits of 20 at each test; ``d`` in SDs between persons, ``extra`` scatter between tests."""
    group, late = np.repeat(np.arange(len(sizes)), sizes), np.arange(len(TESTS)) > 0
    eta = sd * rng.normal(size=(len(group), 1)) + extra * rng.normal(size=(len(group), len(TESTS)))
    eta = eta + late * (level + d * sd * (group > 0)[:, None])
    table = long_table(rng.binomial(20, 1 / (1 + np.exp(-eta))), sizes)
    return table.rename(columns={"radial_error": "hits"}).assign(attempts=20)


def drawn_trials(rng, studies, sizes, *, change=0.0, rho=0.0, count=12) -> Floats:
    """Trials (studies, people, two tests, trials); people differ in their change, trials follow."""
    shape = (studies, sum(sizes), 2, count)
    own = np.stack([np.zeros(shape[:2]), change * rng.normal(size=shape[:2])], axis=2)
    noise = rng.normal(size=shape)
    last = rng.normal(size=shape[:3])
    for trial in range(count):
        last = rho * last + np.sqrt(1 - rho**2) * noise[..., trial]
        noise[..., trial] = last
    return 40 + (4 * rng.normal(size=(*shape[:2], 1)) + own)[..., None] + 8 * noise


def trials(rng, sizes, **options) -> pd.DataFrame:
    """Single trials of a pretest and a retention test."""
    scores = drawn_trials(rng, 1, sizes, **options)[0]
    return long_table(scores, sizes, ("pretest", "retention"))


def drawn_changes(rng, studies, n=48) -> Floats:
    """Changes of one group, lognormal about a mean of zero."""
    return rng.lognormal(0, 1.2, (studies, n)) - np.exp(0.72)


def skewed_changes(rng, n=48) -> pd.DataFrame:
    """One group whose changes are skewed."""
    before = rng.normal(40, 3, n)
    scores = np.stack([before, before + drawn_changes(rng, 1, n)[0]], axis=1)
    return long_table(scores, (n,), ("pretest", "retention")).drop(columns="group")


def slip(rng, sizes) -> pd.DataFrame:
    """One score of the last group entered with a slip: 60 cm too much."""
    table = radial_error(rng, sizes)
    table.loc[table.index[-1], "radial_error"] += 60
    return table


# Results and their audits -----------------------------------------------------------------------


def compared(table: pd.DataFrame, **options):
    """The default comparison of a table of either kind."""
    counted = "hits" in table
    options = {"group": "group", "baseline": "pretest"} | options
    return ml.compare_phases(
        table,
        "hits" if counted else "radial_error",
        attempts="attempts" if counted else None,
        **options,
    )


def one_group(table: pd.DataFrame):
    """Change of one group."""
    return compared(table, group=None)


def mixed(table: pd.DataFrame):
    """Mixed model of scores with a random intercept."""
    return ml.fit_mixed("radial_error ~ group * phase", table, random={"participant": "1"})


def mixed_hits(table: pd.DataFrame):
    """Binomial mixed model with a random intercept."""
    return ml.fit_mixed(
        "hits ~ group * phase", table, random={"participant": "1"}, family="binomial",
        attempts="attempts",
    )  # fmt: skip


def whole_audit(result) -> pd.DataFrame:
    """Table of the whole audit, remedies left aside."""
    return ml.check_assumptions(result, remedies=False, simulations=399).table


def acting(table: pd.DataFrame) -> set[str]:
    """Assumptions that need action."""
    return set(table.loc[table["grade"] == "act", "assumption"])


def streams(count: int, key: tuple) -> list[np.random.Generator]:
    """Independent generators."""
    return [np.random.default_rng(one) for one in np.random.SeedSequence(key).spawn(count)]


# Rates of the default test and of its remedy ----------------------------------------------------


def told(estimate: Floats, error: Floats, df: Floats) -> tuple[Floats, Floats]:
    """p of a t test, and whether its 95 % interval holds a true value of zero."""
    p = 2 * stats.t.sf(np.abs(estimate / error), df)
    return p, np.abs(estimate) < stats.t.isf(0.025, df) * error


def codes_of(sizes) -> NDArray[np.intp]:
    """Group of each person."""
    return np.repeat(np.arange(len(sizes)), sizes)


def last_contrast(sizes, sds) -> Callable[..., Rates]:
    """Adjusted contrast of the last group at the last test, one variance against one for each."""

    def rates(rng, replicates: int) -> Rates:
        y = drawn_scores(rng, replicates, sizes, sds=sds)
        weights = np.zeros(len(sizes))
        weights[[0, -1]] = -1, 1
        one, own = (
            ancova_batch(y[:, :, -1], codes_of(sizes), y[:, :, 0], weights=weights, variance=kind)
            for kind in ("equal", "by group")
        )
        return *told(one.estimate, one.std_error, one.df), own.p

    return rates


def interaction(sizes, sds) -> Callable[..., Rates]:
    """Greenhouse-Geisser test of groups by tests against that with own covariances."""

    def rates(rng, replicates: int) -> Rates:
        codes, found = codes_of(sizes), []
        for y in drawn_scores(rng, replicates, sizes, sds=sds):
            usual = repeated_anova(y, codes, within=[("phase", len(TESTS))])[-1].p_gg
            found.append((usual, interaction_by_group(y, codes).p))
        p, other = np.array(found).T
        return p, p > 0.05, other

    return rates


def with_a_slip(sizes) -> Callable[..., Rates]:
    """Adjusted contrast with the slip against that without the person."""

    def rates(rng, replicates: int) -> Rates:
        y, codes = drawn_scores(rng, replicates, sizes), codes_of(sizes)
        y[:, -1, -1] += 60
        one = ancova_batch(y[:, :, -1], codes, y[:, :, 0])
        other = ancova_batch(y[:, :-1, -1], codes[:-1], y[:, :-1, 0])
        return *told(one.estimate, one.std_error, one.df), other.p

    return rates


def of_skewed_changes(rng, replicates: int) -> Rates:
    """Paired t against the studentised bootstrap."""
    change = drawn_changes(rng, replicates)
    n = change.shape[1]
    error, df = change.std(axis=1, ddof=1) / np.sqrt(n), np.full(replicates, n - 1.0)
    other = [studentised_bootstrap(one, seed=seed).p for seed, one in enumerate(change)]
    return *told(change.mean(axis=1), error, df), np.array(other)


def jackknife(change: Floats, codes: NDArray[np.intp]) -> Floats:
    """p of two groups' difference in change by the jackknife over people, complete studies.

    Without a person only the mean change of the own group moves; each group has its own part of
    the variance and its own degrees of freedom, as in ``robust_conclusions``.
    """
    people, parts, means, df = len(codes), [], [], []
    for group in (0, 1):
        own = change[:, codes == group]
        n = own.shape[1]
        means.append(own.mean(axis=1))
        parts.append((people - 1) / people * own.var(axis=1) * n / (n - 1) ** 2)
        df.append(n - 1)
    variance = parts[0] + parts[1]
    freedom = variance**2 / (parts[0] ** 2 / df[0] + parts[1] ** 2 / df[1])
    return 2 * stats.t.sf(np.abs(means[1] - means[0]) / np.sqrt(variance), freedom)


def of_models(draw: Callable, sizes, *, slopes: bool = False) -> Callable[..., Rates]:
    """Interaction with the last test under a random intercept against slopes or the jackknife."""

    def rates(rng, replicates: int) -> Rates:
        y, codes = draw(rng, replicates), codes_of(sizes)
        y = y if y.ndim == 4 else y[..., None]
        person, test = (place.ravel() for place in np.indices(y.shape[1:])[:2])
        late = (test[:, None] == np.arange(1, y.shape[2])).astype(float)
        group = codes[person][:, None].astype(float)
        x = np.hstack([np.ones_like(group), group, late, group * late])
        rows, last = y.reshape(replicates, -1), np.eye(x.shape[1])[-1]
        estimate, error, df, _ = fit_linear_many(x, rows, person).test(last)
        if slopes:
            z = np.hstack([np.ones_like(group), late])
            other = fit_linear_many(x, rows, person, z=z).test(last)[3]
        else:
            means = y.mean(axis=3)
            other = jackknife(means[:, :, -1] - means[:, :, 0], codes)
        return *told(estimate, error, df), other

    return rates


def of_hits(rng, replicates: int) -> Rates:
    """Binomial model against that with a random effect for every row, through the front door."""
    found = []
    for stream in rng.spawn(replicates):
        fit = mixed_hits(hits(stream, (24, 24), extra=0.7))
        row = fit.estimates.iloc[-1]
        held = row["conf_low"] < 0 < row["conf_high"]
        found.append((row["p"], held, with_row_effects(fit).estimates["p"].iloc[-1]))
    p, held, other = np.array(found, dtype=float).T
    return p, held, other


# Rows of the table ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Fault:
    """A fault, the check that must name it, and what its default and its remedy give."""

    name: str
    people: str
    make: Make
    result: Callable[[pd.DataFrame], object]
    check: str
    rates: Callable[..., Rates]
    remedy: str


FAULTS = (
    Fault("few people scatter three times as wide", "10 and 30",
          lambda r: radial_error(r, (10, 30), sds=(6, 2)), compared, "same spread",
          last_contrast((10, 30), (6, 2)), "variance for each group"),
    Fault("few people scatter three times as wide", "12, 24 and 36",
          lambda r: radial_error(r, (12, 24, 36), sds=(6, 2, 2)), compared, "same spread",
          last_contrast((12, 24, 36), (6, 2, 2)), "variance for each group"),
    Fault("one group's tests scatter three times as wide", "10 and 30",
          lambda r: radial_error(r, (10, 30), sds=(6, 2)),
          lambda t: compared(t, baseline=None), "same covariances",
          interaction((10, 30), (6, 2)), "covariances for each group"),
    Fault("one score entered 60 cm too high", "12 a group", lambda r: slip(r, (12, 12)), compared,
          "no single participant", with_a_slip((12, 12)), "without the person"),
    Fault("skewed changes of one group", "48", skewed_changes, one_group,
          "changes are roughly normal", of_skewed_changes, "studentised bootstrap"),
    Fault("tests scatter 1 : 1 : 3, random intercept", "24 a group",
          lambda r: radial_error(r, (24, 24), spread=(1, 1, 3), sds=(3, 3)), mixed,
          "spread alike in every phase",
          of_models(lambda r, n: drawn_scores(r, n, (24, 24), spread=(1, 1, 3), sds=(3, 3)),
                    (24, 24)), "jackknife over persons"),
    Fault("persons change differently, random intercept", "16 a group",
          lambda r: trials(r, (16, 16), change=6.0), mixed, "slopes of their own",
          of_models(lambda r, n: drawn_trials(r, n, (16, 16), change=6.0), (16, 16), slopes=True),
          "random slopes"),
    Fault("trials follow trials (.4), random intercept", "16 a group",
          lambda r: trials(r, (16, 16), rho=0.4), mixed, "the one before",
          of_models(lambda r, n: drawn_trials(r, n, (16, 16), rho=0.4), (16, 16)),
          "jackknife over persons"),
    Fault("hits scatter beyond counting (SD .7)", "24 a group",
          lambda r: hits(r, (24, 24), extra=0.7), mixed_hits, "scatter as a binomial",
          of_hits, "random effect for every row"),
)  # fmt: skip
CLEAN = tuple(
    (kind, make, n, d)
    for kind, make in (("radial error", radial_error), ("hits of 20", hits))
    for n in (12, 24, 48)
    for d in (0.0, 0.6)
)


def clean_row(place: int, studies: int) -> dict[str, object]:
    """Share of clean studies whose audit holds any ``act``, and which checks those are."""
    kind, make, n, d = CLEAN[place]
    found = [
        acting(whole_audit(compared(make(rng, (n, n), d=d))))
        for rng in streams(studies, (6, place))
    ]
    return {
        "situation": f"clean, {kind}",
        "people": f"{n} a group",
        "effect": f"d = {d:g}",
        "check": "; ".join(sorted(set().union(*found))) or "none",
        "act": np.mean([bool(one) for one in found]),
        "studies": studies,
    }


def fault_row(place: int, studies: int, replicates: int) -> dict[str, object]:
    """Share of faulty studies in which an ``act`` names the fault; rates of default and remedy."""
    fault = FAULTS[place]
    named = []
    for rng in streams(studies, (7, place)):
        found = acting(whole_audit(fault.result(fault.make(rng))))
        named.append(any(fault.check in one for one in found))
    p, held, other = fault.rates(np.random.default_rng((8, place)), replicates)
    return {
        "situation": fault.name,
        "people": fault.people,
        "effect": "none",
        "check": fault.check,
        "act": np.mean(named),
        "studies": studies,
        "false_positives": np.mean(p < 0.05),
        "coverage": np.mean(held),
        "remedy": fault.remedy,
        "false_positives_of_the_remedy": np.mean(other < 0.05),
        "replicates": replicates,
    }


def rows(studies: int, replicates: int, places=None) -> Iterator[dict[str, object]]:
    """Rows of the table by number, the clean ones first."""
    for place in range(len(CLEAN) + len(FAULTS)) if places is None else places:
        if place < len(CLEAN):
            yield clean_row(place, studies)
        else:
            yield fault_row(place - len(CLEAN), studies, replicates)


def keep(row: dict[str, object], place: int) -> None:
    """Write one row in its place in the table."""
    table = pd.read_csv(TABLE, dtype=str, keep_default_na=False)
    shown = {name: row.get(name, "") for name in COLUMNS}
    shown = {n: f"{v:.4f}" if isinstance(v, float) else str(v) for n, v in shown.items()}
    lines = table.reindex(columns=COLUMNS, fill_value="").to_dict("records")
    lines[place] = shown
    pd.DataFrame(lines, columns=list(COLUMNS)).to_csv(TABLE, index=False, lineterminator="\n")


if __name__ == "__main__":
    studies, replicates = (int(value) for value in (sys.argv[1:3] or (200, 2000)))
    every = range(len(CLEAN) + len(FAULTS))
    for place in [int(value) for value in sys.argv[3:]] or every:
        for line in rows(studies, replicates, [place]):
            keep(line, place)
            print(line, flush=True)
