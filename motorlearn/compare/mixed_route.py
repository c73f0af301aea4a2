"""The same contrasts from a mixed model, which uses every available test."""

from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from motorlearn.compare.between import NAN, Comparing, contrast_frame
from motorlearn.compare.participants import Columns, usable_rows
from motorlearn.exceptions import FitError, InputError
from motorlearn.measures.effect_sizes import adjusted_g, d_from_log_odds
from motorlearn.mixed.fit import fit_mixed
from motorlearn.mixed.means import contrasts
from motorlearn.mixed.result import MixedFit
from motorlearn.vocabulary import PRACTICE_PHASE

WHEN_WHICH = (
    "The analysis of covariance answers whether groups that started alike differ at one test, "
    "among the participants who have both scores; the mixed analysis of variance whether groups "
    "change differently over all phases, among those who miss none; the mixed model answers the "
    "first question from every test there is, provided that scores are missing at random."
)
START = "c00_00"


@dataclass(frozen=True)
class MixedRoute:
    """Contrasts of a mixed model and what its fit said."""

    frame: pd.DataFrame
    message: str
    converged: bool


def mixed_contrasts(
    table: pd.DataFrame,
    columns: Columns,
    comparing: Comparing,
    *,
    adjust_by: str,
    family: Iterable[Hashable] | None,
) -> MixedRoute:
    """Compare groups at every test by one mixed model of all tests.

    The fixed part has one mean per group and test. Where a baseline is named the groups share its
    mean, as allocation by chance implies, so that later differences are adjusted for the start.
    Participants have a random intercept and, where a test has several trials, a level of their own
    at every test, because people and not trials were allocated: freely correlated levels for
    continuous scores, one variance within participants for hits and in small studies. Trials of a
    continuous score scatter as much as they do at their test. Practice itself is left out: its
    trials change systematically. Ratios use the logarithms of participants' scores.
    """
    tests = [phase for phase in comparing.data.phases if phase != PRACTICE_PHASE]
    if not comparing.pairs or not set(tests) - {comparing.baseline}:
        return MixedRoute(contrast_frame([], adjust_by="none", family=None), "", True)
    rows, binomial = _model_rows(table, columns, comparing, tests)
    flat = _without_misses_or_hits(rows, comparing) if binomial else ()
    rows = rows[~rows["phase"].isin(flat)]
    wanted = [phase for phase in tests if phase != comparing.baseline]
    try:
        fit = _fit(rows, binomial)
    except (FitError, InputError) as problem:
        empty = _not_computed(comparing, wanted, f"not computed: {problem}")
        return MixedRoute(contrast_frame(empty, adjust_by="none", family=None), str(problem), False)
    found = _contrast_rows(fit, comparing, wanted, binomial)
    # An odds ratio and its difference of probabilities are one test told twice.
    frames = [
        contrast_frame(part, adjust_by=adjust_by, family=family) for part in found.values() if part
    ]
    message = " ".join(fit.warnings)
    return MixedRoute(pd.concat(frames, ignore_index=True), message, bool(fit.converged))


def _model_rows(
    table: pd.DataFrame, columns: Columns, comparing: Comparing, tests: list[Hashable]
) -> tuple[pd.DataFrame, bool]:
    data = comparing.data
    if comparing.effect == "ratio":
        tidy = data.tidy()
        rows = tidy.assign(score=np.log(tidy["score"]), attempts=1.0)
        binomial = False
    else:
        rows = usable_rows(table, columns, phases=data.phases, groups=data.groups)
        binomial = columns.attempts is not None or bool(rows["score"].isin([0.0, 1.0]).all())
    rows = rows[rows["phase"].isin(tests)].reset_index(drop=True)
    phase = pd.Index(data.phases).get_indexer(rows["phase"])
    group = pd.Index(data.groups).get_indexer(rows["group"])
    cell = pd.Series([_cell(p, g) for p, g in zip(phase, group)], dtype="str")
    if comparing.baseline is not None:
        cell[(rows["phase"] == comparing.baseline).to_numpy()] = START
    rows = rows.assign(cell=cell, phase=[str(data.phases[p]) for p in phase])
    if not binomial:
        return rows, False
    keys = ["participant", "phase", "cell"]
    return rows.groupby(keys, as_index=False, observed=True)[["score", "attempts"]].sum(), True


def _without_misses_or_hits(rows: pd.DataFrame, comparing: Comparing) -> tuple[str, ...]:
    """Tests at which a whole group hit, or missed, every time: the odds there are not finite."""
    cells = rows.groupby(["phase", "cell"])[["score", "attempts"]].sum().reset_index()
    extreme = (cells["score"] == 0) | (cells["score"] == cells["attempts"])
    return tuple(set(cells["phase"][extreme]) - {str(comparing.baseline)})


def _cell(phase: int, group: int) -> str:
    return f"c{phase + 1:02d}_{group + 1:02d}"


def _fit(rows: pd.DataFrame, binomial: bool) -> MixedFit:
    formula = "score ~ cell" if rows["cell"].nunique() > 1 else "score ~ 1"
    several = (
        rows["attempts"].max() > 1 if binomial else rows.duplicated(["participant", "phase"]).any()
    )
    tests = rows["phase"].nunique()
    if binomial:
        random = {"participant/phase" if several and tests > 1 else "participant": "1"}
        return fit_mixed(formula, rows, random=random, family="binomial", attempts="attempts")
    if not several or tests == 1:
        return fit_mixed(formula, rows, random={"participant": "1"})
    rows = rows.assign(weight=_steadiness(rows))
    # Freely correlated levels need more people than they have variances and correlations.
    if rows["participant"].nunique() > tests * (tests + 1):
        free = fit_mixed(formula, rows, random={"participant": "1 + phase"}, weights="weight")
        if free.converged:
            return free
    return fit_mixed(formula, rows, random={"participant/phase": "1"}, weights="weight")


def _steadiness(rows: pd.DataFrame) -> pd.Series:
    """Inverse variance of single trials at each test, relative to all tests together."""
    cells = rows.groupby(["participant", "phase"], observed=True)["score"]
    square = (rows["score"] - cells.transform("mean")) ** 2
    spare = 1 - 1 / cells.transform("size")
    by_test = square.groupby(rows["phase"]).sum() / spare.groupby(rows["phase"]).sum()
    if not (by_test > 0).all():
        return pd.Series(1.0, index=rows.index)
    return (square.sum() / spare.sum()) / rows["phase"].map(by_test).astype(float)


def _contrast_rows(
    fit: MixedFit, comparing: Comparing, tests: list[Hashable], binomial: bool
) -> dict[str, list[tuple]]:
    cells = sorted(fit.design.fixed.levels.get("cell", ()))
    places = {pair: i for i, pair in enumerate(combinations(cells, 2))}
    scales = {"link": "odds ratio" if binomial else comparing.effect}
    if binomial:
        scales["average"] = "difference"
    rows: dict[str, list[tuple]] = {}
    for scale, effect in scales.items():
        every = (
            contrasts(fit, "cell", adjust="none", scale=scale, level=comparing.level)
            if places
            else pd.DataFrame()
        )
        rows[scale] = [
            _one_row(fit, comparing, every, places, (phase, *pair), effect)
            for phase in tests
            for pair in comparing.pairs
        ]
    return rows


def _one_row(
    fit: MixedFit,
    comparing: Comparing,
    every: pd.DataFrame,
    places: dict[tuple[str, str], int],
    key: tuple[Hashable, Hashable, Hashable],
    effect: str,
) -> tuple:
    phase, group, reference = key
    data = comparing.data
    at = data.phases.index(phase)
    one, other = (_cell(at, data.groups.index(name)) for name in (group, reference))
    sizes = tuple(comparing.of(name, comparing.at(phase)).size for name in (group, reference))
    turn = 1.0 if (other, one) in places else -1.0
    place = places.get((other, one), places.get((one, other)))
    if place is None:
        reason = "not computed: a group has no score at this test, or only hits or only misses"
        return _tuple(comparing, key, effect, (NAN,) * 7, (NAN,) * 3, sizes, reason)
    found = every.iloc[place]
    ends = sorted((turn * found["conf_low"], turn * found["conf_high"]))
    estimate, error, df = turn * found["estimate"], found["std_error"], found["df"]
    shown = np.exp if effect in ("ratio", "odds ratio") else float
    numbers = (shown(estimate), error, df, turn * found["statistic"], found["p"], *map(shown, ends))
    g = _standardised(comparing, phase, effect, (estimate, error, df, *ends))
    return _tuple(comparing, key, effect, numbers, g, sizes, _method(fit, comparing, effect))


def _standardised(
    comparing: Comparing, phase: Hashable, effect: str, numbers: tuple[float, ...]
) -> tuple[float, float, float]:
    estimate, error, df, low, high = numbers
    if effect == "odds ratio":
        return tuple(d_from_log_odds(value) for value in (estimate, low, high))  # type: ignore[return-value]
    if not np.isfinite(df):
        return (NAN,) * 3
    sd, sd_df = comparing.spread(phase)
    found = adjusted_g(estimate, error, sd, min(df, sd_df), level=comparing.level)
    return found.g, found.conf_low, found.conf_high


def _method(fit: MixedFit, comparing: Comparing, effect: str) -> str:
    terms = [f"{name} ({term})" if term != "1" else name for name, term in fit.random.items()]
    levels = " and ".join(terms)
    start = f", groups alike at {comparing.baseline}" if comparing.baseline is not None else ""
    if fit.family == "gaussian":
        by_test = ", variance of trials by test" if fit.recipe.columns.get("weights") else ""
        return (
            f"linear mixed model, Satterthwaite df, {levels} random{by_test}"
            f"{comparing.suffix}{start}"
        )
    what = "odds ratio for one participant" if effect == "odds ratio" else "average probabilities"
    return f"binomial mixed model (Laplace), {what}, {levels} random{start}"


def _not_computed(comparing: Comparing, tests: list[Hashable], reason: str) -> list[tuple]:
    return [
        _tuple(comparing, (phase, *pair), comparing.effect, (NAN,) * 7, (NAN,) * 3, (0, 0), reason)
        for phase in tests
        for pair in comparing.pairs
    ]


def _tuple(comparing, key, effect, numbers, g, sizes, method) -> tuple:
    estimate, error, df, statistic, p, low, high = numbers
    adjusted = comparing.baseline is not None
    head = (*key, effect, adjusted, estimate, error, df, statistic, p, NAN)
    return (*head, low, high, *g, *sizes, method)
