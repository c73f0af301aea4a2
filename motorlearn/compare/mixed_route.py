"""The same contrasts from a mixed model, which uses every available test."""

from collections.abc import Hashable, Iterable
from dataclasses import asdict, dataclass

import numpy as np
import pandas as pd

from motorlearn.compare.between import Comparing, contrast_frame, standardised
from motorlearn.compare.cell_contrasts import CellContrasts
from motorlearn.compare.comparison import CONTRAST, how
from motorlearn.compare.mixed_by_group import OwnErrors
from motorlearn.compare.participants import Columns, usable_rows
from motorlearn.exceptions import FitError, InputError
from motorlearn.linear.hypotheses import Estimate
from motorlearn.measures.effect_sizes import adjusted_g, d_from_log_odds
from motorlearn.mixed.fit import fit_mixed
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.solve.covariance import carries_free_covariance
from motorlearn.rows import Row
from motorlearn.vocabulary import PRACTICE_PHASE

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
    Each participant has one score at each test. Scores of one participant covary freely between
    tests, each test with a spread of its own, and tests use Kenward-Roger df; for hits this holds
    on the logit scale, and their tests are those of :mod:`motorlearn.mixed.inference.pseudo`.
    Where there are too few people for that, each test is compared with the baseline alone. With a
    variance for each group the errors of scores come from :mod:`motorlearn.compare.mixed_by_group`.
    Practice itself is left out: its trials change systematically. Ratios use the logarithms of
    participants' scores.
    """
    tests = [phase for phase in comparing.data.phases if phase != PRACTICE_PHASE]
    if not comparing.pairs or not set(tests) - {comparing.baseline}:
        return MixedRoute(contrast_frame([], adjust_by="none", family=None), "", True)
    rows, binomial = _model_rows(table, columns, comparing, tests)
    flat = _without_misses_or_hits(rows, comparing) if binomial else ()
    rows = rows[~rows["phase"].isin(flat)]
    wanted = [phase for phase in tests if phase != comparing.baseline]
    answers = [
        answer
        for asked in _askings(rows, comparing, wanted)
        for answer in _answers(rows, comparing, asked, binomial)
    ]
    scales = dict.fromkeys(scale for answer in answers for scale in answer.rows)
    # An odds ratio and its difference of probabilities are one test told twice.
    frames = [
        contrast_frame(
            [line for answer in answers for line in answer.rows.get(scale, ())],
            adjust_by=adjust_by,
            family=family,
        )
        for scale in scales
    ]
    message = " ".join(dict.fromkeys(word for answer in answers for word in answer.messages))
    converged = all(answer.converged for answer in answers)
    return MixedRoute(pd.concat(frames, ignore_index=True), message, converged)


@dataclass(frozen=True)
class _Answer:
    """Rows by effect from one model, and what its fit said."""

    rows: dict[str, list[Row]]
    messages: tuple[str, ...]
    converged: bool


def _answers(
    rows: pd.DataFrame, comparing: Comparing, asked: list[Hashable], binomial: bool
) -> list[_Answer]:
    """Fit one model of these tests; where its covariance has no root, each test by its own."""
    named = [str(phase) for phase in (*asked, comparing.baseline)]
    used = rows[rows["phase"].isin(named)]
    try:
        fit = _fit(used, binomial)
    except (FitError, InputError) as problem:
        if len(asked) > 1:
            return _each(rows, comparing, asked, binomial)
        empty = _not_computed(comparing, asked, str(problem))
        return [_Answer({comparing.effect: empty}, (str(problem),), False)]
    if len(asked) > 1 and not np.isfinite(fit.estimates["std_error"]).all():
        return _each(rows, comparing, asked, binomial)
    own = None
    if comparing.variance == "by group" and not binomial:
        own = OwnErrors.of(fit, used, comparing.level)
    found = _contrast_rows(fit, comparing, asked, own)
    return [_Answer(found, fit.warnings, bool(fit.converged))]


def _each(
    rows: pd.DataFrame, comparing: Comparing, asked: list[Hashable], binomial: bool
) -> list[_Answer]:
    each = [_answers(rows, comparing, [phase], binomial) for phase in asked]
    return [answer for answers in each for answer in answers]


def _askings(
    rows: pd.DataFrame, comparing: Comparing, wanted: list[Hashable]
) -> list[list[Hashable]]:
    """Tests answered by one model: all, or each by its own where people are few."""
    people, tests = rows["participant"].nunique(), rows["phase"].nunique()
    enough = carries_free_covariance(people, len(comparing.data.groups), tests)
    return [wanted] if enough else [[phase] for phase in wanted]


def _model_rows(
    table: pd.DataFrame, columns: Columns, comparing: Comparing, tests: list[Hashable]
) -> tuple[pd.DataFrame, bool]:
    data = comparing.data
    rows = usable_rows(table, columns, phases=data.phases, groups=data.groups)
    binomial = columns.attempts is not None or bool(rows["score"].isin([0.0, 1.0]).all())
    if comparing.effect == "ratio" or not binomial:
        rows, binomial = data.tidy().assign(attempts=1.0), False
        if comparing.effect == "ratio":
            rows["score"] = np.log(rows["score"])
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
    if not binomial:
        return fit_mixed(
            formula,
            rows,
            random={"participant": "0"},
            variance="phase",
            correlation="unstructured",
            within="phase",
            df="kenward-roger",
        )
    free = "0 + phase" if rows["phase"].nunique() > 1 and rows["attempts"].max() > 1 else "1"
    return fit_mixed(
        formula, rows, random={"participant": free}, family="binomial", attempts="attempts"
    )


def _contrast_rows(
    fit: MixedFit, comparing: Comparing, tests: list[Hashable], own: OwnErrors | None
) -> dict[str, list[Row]]:
    binomial = fit.family == "binomial"
    cells = fit.design.fixed.levels.get("cell", ())
    scales = {"link": "odds ratio" if binomial else comparing.effect}
    if binomial:
        scales["average"] = "difference"
    rows: dict[str, list[Row]] = {}
    for scale, effect in scales.items():
        found = _Found(CellContrasts.of(fit, cells, level=comparing.level, scale=scale), own)
        rows[effect] = [
            _one_row(fit, comparing, found, (phase, *pair), effect)
            for phase in tests
            for pair in comparing.pairs
        ]
    return rows


@dataclass(frozen=True)
class _Found:
    """Every contrast of two cells, and errors of the groups' own spread."""

    contrasts: CellContrasts
    own: OwnErrors | None

    def difference(self, one: str, other: str) -> Estimate | None:
        """A cell minus another, or None where one of them holds no score."""
        found = self.contrasts.difference(one, other)
        if found is None or self.own is None:
            return found
        return self.own.difference(one, other, found.std_error)


def _one_row(
    fit: MixedFit,
    comparing: Comparing,
    found: _Found,
    key: tuple[Hashable, Hashable, Hashable],
    effect: str,
) -> Row:
    phase, group, reference = key
    at = comparing.data.phases.index(phase)
    one, other = (_cell(at, comparing.data.groups.index(name)) for name in (group, reference))
    named = _named(comparing, key, effect) | {
        "n_group": comparing.of(group, comparing.at(phase)).size,
        "n_reference": comparing.of(reference, comparing.at(phase)).size,
    }
    result = found.difference(one, other)
    if result is None:
        reason = "a group has no score at this test, or only hits or only misses"
        return CONTRAST.row(**named, **how("", reason))
    if found.own is not None and not np.isfinite(result.std_error):
        reason = "a group has a single participant at a test, so its own spread cannot be told"
        return CONTRAST.row(**named, **how("", reason))
    return CONTRAST.row(
        **named,
        **_told(result, effect),
        **_standardised(comparing, phase, effect, result, hits=fit.family == "binomial"),
        method=_method(fit, comparing, effect),
    )


def _named(comparing: Comparing, key: tuple[Hashable, Hashable, Hashable], effect: str) -> Row:
    names = dict(zip(("phase", "group", "reference"), key, strict=True))
    return names | {"effect": effect, "adjusted": comparing.baseline is not None}


def _told(result: Estimate, effect: str) -> Row:
    """Give an estimate by name; ratios are told as such and their errors on the log scale."""
    told = asdict(result)
    if effect in ("ratio", "odds ratio"):
        for name in ("estimate", "conf_low", "conf_high"):
            told[name] = np.exp(told[name])
    return told


def _standardised(
    comparing: Comparing, phase: Hashable, effect: str, result: Estimate, *, hits: bool
) -> Row:
    if effect == "odds ratio":
        return {
            "g": d_from_log_odds(result.estimate),
            "g_low": d_from_log_odds(result.conf_low),
            "g_high": d_from_log_odds(result.conf_high),
        }
    if not np.isfinite(result.df) or hits:
        return {}
    sd, sd_df = comparing.spread(phase)
    df = min(result.df, sd_df)
    found = adjusted_g(result.estimate, result.std_error, sd, df, level=comparing.level)
    return standardised(found)


def _method(fit: MixedFit, comparing: Comparing, effect: str) -> str:
    start = f", groups alike at {comparing.baseline}" if comparing.baseline is not None else ""
    if fit.family == "gaussian":
        test = "Kenward-Roger df"
        if comparing.variance == "by group":
            test = "a variance for each group (jackknife over participants)"
        return (
            f"linear mixed model, {test}, scores of a participant covary freely between "
            f"tests{comparing.suffix}{start}"
        )
    what = "odds ratio for one participant" if effect == "odds ratio" else "average probabilities"
    random = "levels of a participant at each test" if fit.random["participant"] != "1" else "level"
    return f"binomial mixed model (Laplace), {what}, {random} random, {_df_in_words(fit)}{start}"


def _df_in_words(fit: MixedFit) -> str:
    few = fit.inference.method == "kenward-roger"
    return "Kenward-Roger df of pseudo-data" if few else "normal distribution"


def _not_computed(comparing: Comparing, tests: list[Hashable], reason: str) -> list[Row]:
    return [
        CONTRAST.row(**_named(comparing, (phase, *pair), comparing.effect), **how("", reason))
        for phase in tests
        for pair in comparing.pairs
    ]
