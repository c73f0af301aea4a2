"""Calibration of whole audits: clean studies that hold an ``act``, faulty ones that are named.

``python tests/audit/calibration.py`` writes the table that the documentation shows. A clean study
must seldom hold any ``act``; a study with a fault that moves the rate of false positives beyond
7.5 % or the coverage of a nominal 95 % interval below 92 % must have an ``act`` that names it. The
rates and coverages of the faults and of their remedies are measured by the same simulations.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

import motorlearn as ml
from motorlearn.audit.comparison.covariances import interaction_by_group
from motorlearn.audit.comparison.paired import studentised_bootstrap
from motorlearn.audit.mixed.leave_out import fit_without_each
from motorlearn.audit.mixed.model import MixedModel
from motorlearn.audit.mixed.refits import robust_conclusions, with_row_effects

TABLE = Path(__file__).parents[2] / "docs" / "calibration-of-audits.csv"
TESTS = ("pretest", "posttest", "retention")
COLUMNS = ("situation", "people", "effect", "check", "act", "studies", "false_positives",
           "coverage", "remedy", "false_positives_of_the_remedy", "replicates",
           "replicates_of_the_remedy")  # fmt: skip

Make = Callable[[np.random.Generator], pd.DataFrame]
Numbers = tuple[float, float, float, float]
"""p of the default test, whether its interval holds the truth, p of the remedy, and its own."""


# Clean studies ----------------------------------------------------------------------------------


def radial_error(rng, sizes, *, d=0.0, sds=None, r=0.6, tests=TESTS, spread=None) -> pd.DataFrame:
    """One score per person and test, centimetres; ``d`` in SDs of the last group's late tests."""
    rows = []
    spread = spread or (1.0,) * len(tests)
    for g, n in enumerate(sizes):
        sd = 6.0 if sds is None else sds[g]
        for i in range(n):
            person = rng.normal()
            for k, test in enumerate(tests):
                late = k > 0
                own = np.sqrt(r) * person + np.sqrt(1 - r) * rng.normal()
                score = 40 - 8 * late + spread[k] * sd * own - d * sd * late * (g > 0)
                rows.append((f"g{g}p{i:02d}", f"g{g}", test, score))
    return pd.DataFrame(rows, columns=["participant", "group", "phase", "radial_error"])


def hits(rng, sizes, *, d=0.0, sd=0.6, extra=0.0, level=0.4) -> pd.DataFrame:
    """Hits of 20 at each test; ``d`` in SDs between persons, ``extra`` scatter between tests."""
    rows = []
    for g, n in enumerate(sizes):
        for i in range(n):
            person = sd * rng.normal()
            for k, test in enumerate(TESTS):
                eta = person + (k > 0) * (level + d * sd * (g > 0)) + extra * rng.normal()
                rows.append((f"g{g}p{i:02d}", f"g{g}", test,
                             rng.binomial(20, 1 / (1 + np.exp(-eta))), 20))  # fmt: skip
    return pd.DataFrame(rows, columns=["participant", "group", "phase", "hits", "attempts"])


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


def whole_audit(result) -> pd.DataFrame:
    """Table of the whole audit, remedies left aside."""
    return ml.check_assumptions(result, remedies=False, simulations=399).table


def acting(table: pd.DataFrame) -> set[str]:
    """Assumptions that need action."""
    return set(table.loc[table["grade"] == "act", "assumption"])


def clean_rows(studies: int) -> list[tuple]:
    """Share of clean studies whose audit holds any ``act``, and which checks those are."""
    rows = []
    for kind, make in (("radial error", radial_error), ("hits of 20", hits)):
        for n in (12, 24, 48):
            for d in (0.0, 0.6):
                found = [
                    acting(whole_audit(compared(make(rng, (n, n), d=d))))
                    for rng in streams(studies, (n, int(10 * d), len(kind)))
                ]
                named = "; ".join(sorted(set().union(*found))) or "none"
                share = np.mean([bool(one) for one in found])
                rows.append((f"clean, {kind}", f"{n} a group", f"d = {d:g}", named, share, studies,
                             np.nan, np.nan, "", np.nan, 0, 0))  # fmt: skip
    return rows


def streams(count: int, key: tuple) -> list[np.random.Generator]:
    """Independent generators."""
    return [np.random.default_rng(one) for one in np.random.SeedSequence(key).spawn(count)]


# Faults -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Fault:
    """A fault, the check that must name it, and what its default and its remedy give."""

    name: str
    people: str
    make: Make
    result: Callable[[pd.DataFrame], object]
    check: str
    numbers: Callable[[object, np.random.Generator], Numbers]
    remedy: str


def last_contrast(result, rng) -> Numbers:
    """Ordinary adjusted contrast of the last test against that with own variances."""
    row = result.contrasts[result.contrasts["adjusted"]].iloc[-1]
    table = result.scores.rename(columns={"score": "radial_error"})
    other = compared(table, variance="by group").contrasts
    own = other[other["adjusted"]].iloc[-1]
    return row["p"], row["conf_low"] < 0 < row["conf_high"], own["p"], own["p"]


def interaction(result, rng) -> Numbers:
    """Greenhouse-Geisser test of groups by tests against that with own covariances."""
    wide = result.scores.pivot(index=["group", "participant"], columns="phase", values="score")
    codes = np.unique(wide.index.get_level_values("group"), return_inverse=True)[1]
    p = result.anova.iloc[-1]["p_gg"]
    other = interaction_by_group(wide.to_numpy(), codes).p
    return p, p > 0.05, other, other


def change_of_one_group(result, rng) -> Numbers:
    """Paired t against the studentised bootstrap; the truth is a change of zero."""
    wide = result.scores.pivot(index="participant", columns="phase", values="score")
    change = (wide["retention"] - wide["pretest"]).to_numpy()
    row = result.paired.iloc[-1]
    t = studentised_bootstrap(change, seed=int(rng.integers(1 << 30)))
    return row["p"], row["conf_low"] < 0 < row["conf_high"], t.p, t.p


def last_coefficient(other: Callable) -> Callable[[object, np.random.Generator], Numbers]:
    """Last coefficient of a mixed model against that of another fit."""

    def numbers(fit, rng) -> Numbers:
        row = fit.estimates.iloc[-1]
        p = other(fit)
        return row["p"], row["conf_low"] < 0 < row["conf_high"], p, p

    return numbers


def jackknife(fit) -> float:
    """p of the last coefficient by the jackknife over persons."""
    model = MixedModel(fit)
    return robust_conclusions(fit, [len(fit.beta) - 1], fit_without_each(model))[0].p


def with_slopes(fit) -> float:
    """p of the last coefficient with random slopes of the test."""
    return (
        ml.fit_mixed(fit.formula, TRIALS["table"], random={"participant": "1 + phase"})
        .estimates["p"]
        .iloc[-1]
    )


TRIALS: dict[str, pd.DataFrame] = {}


def mixed(table: pd.DataFrame):
    """Mixed model of scores with a random intercept."""
    TRIALS["table"] = table
    return ml.fit_mixed("radial_error ~ group * phase", table, random={"participant": "1"})


def mixed_hits(table: pd.DataFrame):
    """Binomial mixed model with a random intercept."""
    return ml.fit_mixed(
        "hits ~ group * phase", table, random={"participant": "1"}, family="binomial",
        attempts="attempts",
    )  # fmt: skip


def trials(rng, sizes, *, change=0.0, rho=0.0, count=12) -> pd.DataFrame:
    """Trials of two tests; persons differ in their change by ``change``, trials follow trials."""
    rows = []
    for g, n in enumerate(sizes):
        for i in range(n):
            person, own = 4 * rng.normal(), change * rng.normal()
            for test in ("pretest", "retention"):
                last = rng.normal()
                for _ in range(count):
                    score = 40 + person + own * (test == "retention") + 8 * last
                    rows.append((f"g{g}p{i:02d}", f"g{g}", test, score))
                    last = rho * last + np.sqrt(1 - rho**2) * rng.normal()
    return pd.DataFrame(rows, columns=["participant", "group", "phase", "radial_error"])


def skewed_changes(rng, n=48) -> pd.DataFrame:
    """One group whose changes are lognormal about a mean of zero."""
    change = rng.lognormal(0, 1.2, n) - np.exp(0.72)
    before = rng.normal(40, 3, n)
    people = [f"p{i:02d}" for i in range(n)]
    return pd.DataFrame(
        {
            "participant": people * 2,
            "phase": ["pretest"] * n + ["retention"] * n,
            "radial_error": np.concatenate([before, before + change]),
        }
    )


def one_group(table: pd.DataFrame):
    """Change of one group."""
    return ml.compare_phases(table, "radial_error", group=None, baseline="pretest")


def slip(rng, sizes) -> pd.DataFrame:
    """One score of the last group entered with a slip: 60 cm too much."""
    table = radial_error(rng, sizes)
    table.loc[table.index[-1], "radial_error"] += 60
    return table


def without_the_person(result, rng) -> Numbers:
    """Ordinary contrast with the slip against that without the person."""
    row = result.contrasts[result.contrasts["adjusted"]].iloc[-1]
    table = result.scores.rename(columns={"score": "radial_error"})
    person = table["participant"].max()
    other = compared(table[table["participant"] != person]).contrasts
    own = other[other["adjusted"]].iloc[-1]
    return row["p"], row["conf_low"] < 0 < row["conf_high"], own["p"], own["p"]


FAULTS = (
    Fault("few people scatter three times as wide", "10 and 30",
          lambda r: radial_error(r, (10, 30), sds=(6, 2)), compared, "same spread",
          last_contrast, "variance for each group"),
    Fault("few people scatter three times as wide", "12, 24 and 36",
          lambda r: radial_error(r, (12, 24, 36), sds=(6, 2, 2)), compared, "same spread",
          last_contrast, "variance for each group"),
    Fault("one group's tests scatter three times as wide", "10 and 30",
          lambda r: radial_error(r, (10, 30), sds=(6, 2)),
          lambda t: compared(t, baseline=None), "same covariances", interaction,
          "covariances for each group"),
    Fault("one score entered 60 cm too high", "12 a group", lambda r: slip(r, (12, 12)), compared,
          "no single participant", without_the_person, "without the person"),
    Fault("skewed changes of one group", "48", skewed_changes, one_group,
          "changes are roughly normal", change_of_one_group, "studentised bootstrap"),
    Fault("tests scatter 1 : 1 : 3, random intercept", "24 a group",
          lambda r: radial_error(r, (24, 24), spread=(1, 1, 3), sds=(3, 3)), mixed,
          "spread alike in every phase", last_coefficient(jackknife), "jackknife over persons"),
    Fault("persons change differently, random intercept", "16 a group",
          lambda r: trials(r, (16, 16), change=6.0), mixed, "slopes of their own",
          last_coefficient(with_slopes), "random slopes"),
    Fault("trials follow trials (.4), random intercept", "16 a group",
          lambda r: trials(r, (16, 16), rho=0.4), mixed, "the one before",
          last_coefficient(jackknife), "jackknife over persons"),
    Fault("hits scatter beyond counting (SD .7)", "24 a group",
          lambda r: hits(r, (24, 24), extra=0.7), mixed_hits, "scatter as a binomial",
          last_coefficient(lambda f: with_row_effects(f).estimates["p"].iloc[-1]),
          "random effect for every row"),
)  # fmt: skip


def fault_row(fault: Fault, studies: int, replicates: int, key: int) -> tuple:
    """Share of faulty studies in which an ``act`` names the fault; rates of default and remedy."""
    named = []
    for rng in streams(studies, (7, key)):
        found = acting(whole_audit(fault.result(fault.make(rng))))
        named.append(any(fault.check in one for one in found))
    numbers = []
    for rng in streams(replicates, (8, key)):
        numbers.append(fault.numbers(fault.result(fault.make(rng)), rng))
    p, held, other, _ = np.array(numbers, dtype=float).T
    return (fault.name, fault.people, "none", fault.check, np.mean(named), studies,
            np.mean(p < 0.05), np.mean(held), fault.remedy, np.mean(other < 0.05),
            replicates, replicates)  # fmt: skip


def fault_rows(studies: int, replicates: int, faults=FAULTS) -> list[tuple]:
    """Rows of all faults."""
    return [fault_row(fault, studies, replicates, key) for key, fault in enumerate(faults)]


def calibration(clean: int, faulty: int, replicates: int) -> pd.DataFrame:
    """The whole table."""
    rows = clean_rows(clean) + fault_rows(faulty, replicates)
    return pd.DataFrame(rows, columns=list(COLUMNS))


if __name__ == "__main__":
    found = calibration(*(int(value) for value in (sys.argv[1:4] or (200, 100, 1000))))
    found.to_csv(TABLE, index=False, float_format="%.3f", lineterminator="\n")
    print(found.to_string())
