"""Simulate how often intervals of learning curves hold the truth; writes ``curve-coverage.csv``.

    python docs/curve_coverage.py [SECONDS] [CASE ...]

adds studies to every case of the file, or to those named, until the time has come; seeds start at
the number of intervals already counted, so that none is counted twice. Population curves of 12 to
40 learners with 40 blocks, and one learner with 60 or 200 trials; neighbours correlated at .4 and
an SD that falls with practice (power -.3 of the block in populations, power 1.5 of the curve for
one learner) where the case says so. Lognormal errors have an SD of .1 of the logarithm, t errors 4
degrees of freedom. S-shaped and two-process learners have plain noise and each a tempo of its own;
*own onset* gives each S-shaped learner also a delay of its own (SD .3 of the logarithm), which the
model shares; one learner of these forms alone is the typical one. With *sessions* .15 of the gain
is lost at the start of the second and third session and comes back at a rate of .6 a block.
``known`` counts fits that give an interval, ``coverage`` is the share of those that hold the truth,
``error`` its standard error.
"""

import itertools
import sys
import time
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
import pandas as pd

import motorlearn as ml
from motorlearn.curves import FORMS, curve_quantities

FILE = Path(__file__).with_name("curve-coverage.csv")
CHUNK = 3
TRUTH = {"asymptote": 20.0, "gain": 12.0}
SPREAD = {"asymptote": 2.0, "gain": 1.5, "log_rate": 0.4}
MODEL = {"variance": "practice", "correlation": "ar1"}
ALONE = {"variance": "mean", "correlation": "ar1"}
POPULATIONS = {
    "12 learners, plain noise": (12, False, {}),
    "12 learners, real noise, modelled": (12, True, MODEL),
    "24 learners, real noise, modelled": (24, True, MODEL),
    "40 learners, real noise, modelled": (40, True, MODEL),
    "24 learners, real noise, ignored": (24, True, {}),
    "40 learners, real noise, sandwich": (40, True, {"interval": "sandwich"}),
    "12 learners, 60 blocks, real noise, modelled": (12, True, MODEL | {"blocks": 60}),
    "12 learners, lognormal errors": (12, "lognormal", {"errors": "lognormal"}),
    "12 learners, t errors": (12, "t", {"errors": "t"}),
    "24 learners, lognormal errors": (24, "lognormal", {"errors": "lognormal"}),
    "24 learners, t errors": (24, "t", {"errors": "t"}),
    **{
        f"{count} learners, {form.title}": (count, False, {"form": form.name})
        for form in (FORMS["s_shaped"], FORMS["two_processes"])
        for count in (12, 24, 40)
    },
    "24 learners, S-shaped, own onset": (24, False, {"form": "s_shaped", "onset": 0.3}),
    **{
        f"24 learners, {form.title}, sessions": (
            24,
            False,
            {"form": form.name, "blocks": 60, "sessions": 3},
        )
        for form in (FORMS["s_shaped"], FORMS["two_processes"])
    },
}
RESTART = {"warm_up": 0.15, "restart_rate": 0.6}
"""Share of the gain that is lost where a session begins, and the rate at which it comes back."""
SHAPES = {"exponential": (0.2, ()), "s_shaped": (0.3, (4.0,)), "two_processes": (0.5, (0.12, 0.5))}
"""Typical rate of each form, and what its learners share."""
LEARNERS = {
    "one learner, 60 trials, real noise, modelled": (60, 0.1, ALONE),
    "one learner, 200 trials, real noise, modelled": (200, 0.05, ALONE),
    "one learner, 60 trials, real noise, ignored": (60, 0.1, {}),
    "one learner, 200 trials, real noise, ignored": (200, 0.05, {}),
    **{
        f"one learner, 60 trials, {form.title}": (60, 0.0, {"form": form.name})
        for form in (FORMS["s_shaped"], FORMS["two_processes"])
    },
}
ORDER = [*POPULATIONS, *LEARNERS]
Interval = tuple[str, float, float, float]


def neighbours(rng: np.random.Generator, count: int) -> np.ndarray:
    """Noise of SD 1 whose neighbours are correlated at .4."""
    noise = rng.normal(size=count)
    for k in range(1, count):
        noise[k] = 0.4 * noise[k - 1] + np.sqrt(1 - 0.16) * noise[k]
    return noise


def scattered(rng: np.random.Generator, curve: np.ndarray, kind: bool | str) -> np.ndarray:
    """Scores about a curve: plain, real, lognormal or t noise."""
    blocks, count = np.arange(1.0, len(curve) + 1), len(curve)
    if kind == "lognormal":
        return curve * np.exp(0.1 * rng.normal(size=count))
    if kind == "t":
        return curve + rng.standard_t(4, count)
    if kind:
        return curve + neighbours(rng, count) * 2 * blocks**-0.3
    return curve + rng.normal(size=count)


def learners(
    rng: np.random.Generator,
    count: int,
    kind: bool | str,
    most: int = 40,
    form: str = "exponential",
    onset: float = 0.0,
    sessions: int = 1,
) -> pd.DataFrame:
    """Rows of some learners; ``onset`` is how the logarithm of what they share scatters."""
    parts, blocks = [], np.arange(1.0, most + 1)
    session, since = np.divmod(np.arange(most), -(-most // sessions))
    cold = RESTART["warm_up"] * np.exp(-RESTART["restart_rate"] * since) * (session > 0)
    (rate, shared), shape = SHAPES[form], FORMS[form]
    typical = TRUTH | {"log_rate": float(np.log(rate))}
    for who in range(count):
        own = {term: value + SPREAD[term] * rng.normal() for term, value in typical.items()}
        apart = [value * np.exp(onset * rng.normal()) for value in shared] if onset else shared
        rates = shape.shared.rates(np.exp(own["log_rate"]), *apart)
        curve = shape.curve(blocks, own["asymptote"], own["gain"], rates)
        y = scattered(rng, curve + own["gain"] * cold, kind)
        here = {"participant": who, "session": session, "block": blocks, "y": y}
        parts.append(pd.DataFrame(here))
    return pd.concat(parts, ignore_index=True)


def of_population(name: str, seed: int) -> Iterator[Interval]:
    """Truth and limits of each term of one population."""
    count, kind, asked = POPULATIONS[name]
    options = dict(asked)
    rng = np.random.default_rng([seed, count, int(bool(kind))])
    form = options.get("form", "exponential")
    most, onset = options.pop("blocks", 40), options.pop("onset", 0.0)
    sessions = options.pop("sessions", 1)
    table = learners(rng, count, kind, most, form, onset, sessions)
    if sessions > 1:
        options["session"] = "session"
    fit = ml.fit_population_curve(table, "y", practice="block", **options)
    rows = fit.estimates.set_index("term")
    rate, shared = SHAPES[form]
    for term, truth in (TRUTH | {"log_rate": float(np.log(rate))}).items():
        yield term, truth, rows.at[term, "conf_low"], rows.at[term, "conf_high"]
    half = curve_quantities(fit).estimates.iloc[0]
    shape = FORMS[form]
    truth = float(shape.half_life(shape.shared.rates(rate, *shared), 1.0))
    yield "half_life", truth, half["conf_low"], half["conf_high"]
    known = dict(zip(shape.shared.names, shared)) | RESTART | {"tail": 4.0}
    for row in fit.common[fit.common["term"].isin(known)].itertuples():
        yield row.term, known[row.term], row.conf_low, row.conf_high


def of_learner(name: str, seed: int) -> Iterator[Interval]:
    """Truth and limits of each term of one learner."""
    count, rate, options = LEARNERS[name]
    trial, rng = np.arange(1.0, count + 1), np.random.default_rng([seed, count])
    if "form" in options:
        shape, (rate, shared) = FORMS[options["form"]], SHAPES[options["form"]]
        rates = shape.shared.rates(rate, *shared)
        curve = shape.curve(trial, 20.0, 15.0, rates)
        scores = curve + rng.normal(size=count)
        truths = dict(zip(shape.rates, rates)) | {"half_life": float(shape.half_life(rates, 1.0))}
    else:
        curve = 20 + 15 * np.exp(-rate * (trial - 1))
        scores = curve + 2 * (curve / 20) ** 1.5 * neighbours(rng, count)
        truths = {"rate": rate, "half_life": np.log(2) / rate}
    rows = ml.fit_curve(trial, scores, **options).estimates.set_index("term")
    for term, truth in ({"asymptote": 20.0, "gain": 15.0} | truths).items():
        yield term, truth, rows.at[term, "conf_low"], rows.at[term, "conf_high"]


def covered(name: str, seeds: Iterable[int]) -> pd.DataFrame:
    """How many intervals of each term of one case are known, and how many hold the truth."""
    of_one = of_population if name in POPULATIONS else of_learner
    rows = pd.DataFrame(
        [row for seed in seeds for row in of_one(name, seed)],
        columns=["term", "truth", "low", "high"],
    )
    rows = rows[rows["low"].notna()]
    held = ((rows["low"] < rows["truth"]) & (rows["truth"] < rows["high"])).groupby(
        rows["term"], sort=False
    )
    return held.agg(known="size", held="sum").reset_index().assign(case=name)


def together(before: pd.DataFrame, found: pd.DataFrame) -> pd.DataFrame:
    """A table of coverage and what was counted since."""
    counted = before.assign(held=(before["coverage"] * before["known"]).round())
    both = pd.concat([counted, found]).groupby(["case", "term"], sort=False)
    rows = both[["known", "held"]].sum().astype(int).reset_index()
    share = rows["held"] / rows["known"]
    error = np.sqrt(share * (1 - share) / rows["known"])
    rows = rows.assign(coverage=share.round(4), error=error.round(4)).drop(columns="held")
    return rows.sort_values("case", key=lambda cases: cases.map(ORDER.index), kind="stable")


def main(wanted: list[str]) -> None:
    """Add studies to all cases in turn, or to one."""
    seconds = float(wanted[0]) if wanted else 3600.0
    until = time.monotonic() + seconds
    table = pd.read_csv(FILE)
    counted = table.groupby("case")["known"].sum()
    for done in itertools.count(step=CHUNK):
        for name in wanted[1:] or ORDER:
            if time.monotonic() > until:
                return
            start = int(counted.get(name, 0)) + done
            table = together(table, covered(name, range(start, start + CHUNK)))
            table.to_csv(FILE, index=False)


if __name__ == "__main__":
    main(sys.argv[1:])
