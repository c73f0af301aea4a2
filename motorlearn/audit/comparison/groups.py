"""Assumptions of a comparison of groups at each test: covariance analysis, or Welch."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd

from motorlearn import digits
from motorlearn.audit.comparison.influence import influence_check
from motorlearn.audit.comparison.phase_model import Pair, PhaseModel, effects_of
from motorlearn.audit.comparison.slopes import ASSUMPTION, slopes_check
from motorlearn.audit.comparison.spread import normality_check, variance_check
from motorlearn.audit.context import Context
from motorlearn.audit.general import (
    bound_check,
    family_check,
    missing_check,
    unit_check,
)
from motorlearn.audit.report import RESIDUALS, Check, attempted, judged
from motorlearn.compare import PhaseComparison
from motorlearn.compare.crossing import INTERACTION, MAIN, SIMPLE, CellContrast
from motorlearn.design import Primary
from motorlearn.linear.least_squares import LeastSquares


def comparison_checks(
    result: PhaseComparison, context: Context, models: Iterable[PhaseModel]
) -> Iterator[tuple[str, Check]]:
    """Give every check of the chosen tests, one analysis after the other."""
    whole = "all phases"
    yield whole, unit_check(context, (result.recipe.options["unit"],))
    for check in cluster_checks(result, context):
        yield whole, check
    yield whole, family_check(result, context)
    effects = effects_of(result)
    for model in (focused(one, context, effects) for one in models):
        adjusted = ", adjusted for the baseline" if model.adjusted else ""
        name = context.name_of(model.phase) + adjusted
        for check in test_checks(result, model, context):
            yield name, check


def test_checks(result: PhaseComparison, model: PhaseModel, context: Context) -> Iterator[Check]:
    """Checks of one test."""
    yield bound_check(result, model, context)
    yield missing_check(model, context)
    if not model.pairs:
        return
    yield from _of_contrasts(result, model, context)


def _of_contrasts(result: PhaseComparison, model: PhaseModel, context: Context) -> Iterator[Check]:
    """Checks that need contrasts between groups; too few people make a row, not an end."""
    wanted = [
        ("residuals are roughly normal", "skewness", normality_check),
        ("groups have the same spread", "size", variance_check),
        (f"no single {model.unit} decides", "moved", influence_check),
    ]
    if model.adjusted:
        wanted[2:2] = [
            (ASSUMPTION, "slopes", slopes_check),
            ("groups overlap at the baseline", "overlap", overlap_check),
        ]
    for words, guide, check in wanted:
        yield attempted(words, context.guide(guide), partial(check, model, context))
    if model.adjusted and model.unit == "participant":
        yield from reliability_checks(result, model, context)


def focused(
    model: PhaseModel, context: Context, effects: Sequence[CellContrast] = ()
) -> PhaseModel:
    """The model with only the planned pair of groups, or effect, where the plan names one."""
    primary = context.primary
    if primary is None or not model.pairs:
        return model
    if primary.factors:
        chosen = _planned_effect(primary, context, effects) or model.pairs
        return replace(model, pairs=tuple(_as_read(pair, context) for pair in chosen))
    named = set(primary.groups)
    planned = [
        pair for pair in model.pairs if named == {str(model.groups[i]) for i in places_of(pair)}
    ]
    return replace(model, pairs=tuple(planned)) if planned else model


def _as_read(pair: Pair, context: Context) -> Pair:
    """A contrast of cells with the factor it is averaged over as a reader calls it."""
    if not isinstance(pair, CellContrast):
        return pair
    return replace(pair, factor=context.words_of(pair.factor))


def places_of(pair: Pair) -> tuple[int, ...]:
    """Groups that a contrast weighs."""
    if isinstance(pair, CellContrast):
        return tuple(int(i) for i in np.flatnonzero(pair.weights))
    return pair


def _planned_effect(
    primary: Primary, context: Context, effects: Sequence[CellContrast]
) -> tuple[CellContrast, ...]:
    """The main effect or interaction that the plan declares, the way round it declares it."""
    if context.joint_term:
        return tuple(
            one for one in effects if one.term == context.joint_term and one.kind != SIMPLE
        )
    if len(primary.factors) == 2:
        return tuple(one for one in effects if one.kind == INTERACTION)
    pair = context.primary_levels
    for one in effects:
        if one.kind != MAIN or one.term != primary.factors[0]:
            continue
        if (one.group, one.reference) == pair:
            return (one,)
        if (one.reference, one.group) == pair:
            turned = tuple(-weight for weight in one.weights)
            return (replace(one, group=pair[0], reference=pair[1], weights=turned),)
    return ()


def comparison_residuals(models: Iterable[PhaseModel], context: Context) -> pd.DataFrame:
    """Standardised residuals of every chosen test, for the diagnostic figure."""
    frames = []
    for model in models:
        if not model.pairs:
            continue
        fit, whole = model.fit(), model.complete
        frames.append(
            pd.DataFrame(
                {
                    "analysis": context.name_of(model.phase),
                    "participant": whole.participants,
                    "group": [str(model.groups[code]) for code in whole.codes],
                    "phase": str(model.phase),
                    "fitted": fit.fitted,
                    "residual": studentised(fit),
                }
            )
        )
    return pd.concat(frames, ignore_index=True) if frames else RESIDUALS.frame()


def studentised(fit: LeastSquares) -> np.ndarray:
    """Residuals divided by their own standard deviation."""
    spread = np.sqrt(fit.variance * np.maximum(1 - fit.leverage, 1e-12))
    return np.asarray(fit.residuals / spread, dtype=float)


def overlap_check(model: PhaseModel, context: Context) -> Check:
    """Share of participants inside the range of baselines that every group has."""
    whole = model.complete
    parts = [whole.x[whole.codes == code] for code in np.unique(whole.codes)]
    low, high = max(part.min() for part in parts), min(part.max() for part in parts)
    share = float(np.mean((whole.x >= low) & (whole.x <= high)))
    gaps = [
        abs(parts[i].mean() - parts[j].mean()) / np.sqrt((parts[i].var() + parts[j].var()) / 2)
        for i in range(len(parts))
        for j in range(i)
        if parts[i].var() + parts[j].var() > 0
    ]
    gap = max(gaps, default=np.nan)
    return judged(
        "groups overlap at the baseline",
        "share inside the common range of the baseline",
        share,
        context.guide("overlap"),
        f"Largest standardised baseline difference {digits.number(gap)} "
        "(a description; no test of baseline differences is made).",
        "Do not compare outside the common range; say so.",
    )


def reliability_checks(
    result: PhaseComparison, model: PhaseModel, context: Context
) -> Iterator[Check]:
    """Reliability of the baseline score from its own trials, where the trials are at hand."""
    columns, options = result.recipe.columns, result.recipe.options
    table = context.study.trials.table if context.study is not None else None
    needed = [columns["outcome"], columns["participant"], columns["phase"]]
    if table is None or "attempts" in columns or not set(needed) <= set(table.columns):
        return
    own = table[(table[columns["phase"]] == options["baseline"]) & table[needed[0]].notna()]
    value = pd.to_numeric(own[needed[0]], errors="coerce").astype(float)
    value = np.log(value.clip(lower=value[value > 0].min())) if model.ratio else value
    reliability, trials = _mean_reliability(value, own[columns["participant"]])
    yield judged(
        "the baseline is measured reliably",
        "reliability of the baseline mean, ICC(k) over its trials",
        reliability,
        context.guide("reliability"),
        f"About {digits.number(trials, 1)} trials per participant.",
        "Give more pretest trials; an unreliable baseline adjusts too little.",
    )


def _mean_reliability(value: pd.Series, person: pd.Series) -> tuple[float, float]:
    groups = value.groupby(person)
    counts = groups.count()
    within = float(groups.var(ddof=1).mul(counts - 1).sum() / (counts - 1).sum())
    trials = float((counts.sum() - (counts**2).sum() / counts.sum()) / (len(counts) - 1))
    between = float((counts * (groups.mean() - value.mean()) ** 2).sum() / (len(counts) - 1))
    return 1 - within / between, trials


def cluster_checks(result: PhaseComparison, context: Context) -> Iterator[Check]:
    """Give the checks of a comparison of class means; none where people were allocated."""
    if result.clusters.empty:
        return
    unit = result.recipe.options["unit"]
    counts = result.scores.groupby("group")["participant"].nunique()
    told = ", ".join(f"{group} {counts.get(group, 0)}" for group in result.recipe.options["groups"])
    yield judged(
        "there are enough allocated classes",
        "fewest classes in a group",
        float(counts.min()),
        context.guide("few clusters"),
        f"Allocated as a whole ({unit}): {told}. Intervals and p values hold for class "
        "means of about one spread that are roughly normal; so few of them cannot show either.",
        "Describe what was seen; allocate more of them, not more people in each.",
    )
    row = result.clusters.iloc[-1]
    phase = context.name_of(row["phase"])
    yield judged(
        "people of one class resemble one another",
        f"design effect at {phase}",
        float(row["design_effect"]) if np.isfinite(row["design_effect"]) else 1.0,
        context.guide("design effect"),
        f"ICC {digits.number(row['icc'])} [{digits.number(row['icc_low'])}, "
        f"{digits.number(row['icc_high'])}], {row['smallest']} to {row['largest']} people in a "
        f"{unit}: {row['people']} people count as about {digits.number(row['counts_as'], 0)}; a "
        f"5 % test of people would reject in about {digits.percent(row['false_positives'])} of "
        "studies without a difference. Class means were compared.",
        "Nothing: the unit analysed is the unit allocated.",
    )
