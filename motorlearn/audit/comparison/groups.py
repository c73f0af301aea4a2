"""Assumptions of a comparison of groups at each test: covariance analysis, or Welch."""

from collections.abc import Hashable, Iterator
from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn import digits
from motorlearn.audit.comparison.phase_model import (
    PhaseModel,
    at_baseline,
    bootstrapped,
    phase_model,
)
from motorlearn.audit.context import Context
from motorlearn.audit.general import (
    bound_check,
    family_check,
    missing_check,
    unit_check,
)
from motorlearn.audit.report import (
    Check,
    Remedy,
    Step,
    attempted,
    judged,
    no_residuals,
    remedied,
)
from motorlearn.audit.sensitivity.leave_one_out import without_each
from motorlearn.compare import PhaseComparison


def comparison_checks(
    result: PhaseComparison, context: Context, phases: tuple[Hashable, ...]
) -> Iterator[tuple[str, Check]]:
    """Give every check of the chosen tests, one analysis after the other."""
    whole = "all phases"
    yield whole, unit_check(result.recipe, context)
    yield whole, family_check(result, context)
    for phase in phases:
        model = focused(phase_model(result, phase), context)
        name = f"{phase}, adjusted for the baseline" if model.adjusted else str(phase)
        for check in test_checks(result, model, context):
            yield name, check


def test_checks(result: PhaseComparison, model: PhaseModel, context: Context) -> Iterator[Check]:
    """Checks of one test."""
    yield bound_check(result, model, context)
    yield missing_check(result, model, context)
    if not model.pairs:
        return
    yield from _of_contrasts(result, model, context)


def _of_contrasts(result: PhaseComparison, model: PhaseModel, context: Context) -> Iterator[Check]:
    """Checks that need contrasts between groups; too few people make a row, not an end."""
    wanted = [
        ("residuals are roughly normal", "skewness", normality_check),
        ("groups have the same spread", "sd_ratio", variance_check),
        ("no single participant decides", "flips", influence_check),
    ]
    if model.adjusted:
        wanted[2:2] = [
            ("the baseline works alike in all groups (parallel slopes)", "slopes", slopes_check),
            ("groups overlap at the baseline", "overlap", overlap_check),
        ]
    for words, guide, check in wanted:
        yield attempted(words, "", context.guide(guide), partial(check, model, context))
    if model.adjusted:
        yield from reliability_checks(result, model, context)


def focused(model: PhaseModel, context: Context) -> PhaseModel:
    """The model with only the planned pair of groups, where the plan names one."""
    primary = context.design.primary if context.design is not None else None
    if primary is None or not primary.groups:
        return model
    planned = [
        pair for pair in model.pairs if {str(model.groups[i]) for i in pair} == set(primary.groups)
    ]
    return replace(model, pairs=tuple(planned)) if planned else model


def comparison_residuals(result: PhaseComparison, phases: tuple[Hashable, ...]) -> pd.DataFrame:
    """Standardised residuals of every chosen test, for the diagnostic figure."""
    frames = []
    for phase in phases:
        model = phase_model(result, phase)
        if not model.pairs:
            continue
        fit, whole = model.fit(), model.complete
        frames.append(
            pd.DataFrame(
                {
                    "analysis": str(phase),
                    "participant": whole.participants,
                    "group": [str(model.groups[code]) for code in whole.codes],
                    "phase": str(phase),
                    "fitted": fit.fitted,
                    "residual": studentised(fit),
                }
            )
        )
    return pd.concat(frames, ignore_index=True) if frames else no_residuals()


def studentised(fit) -> np.ndarray:
    """Residuals divided by their own standard deviation."""
    return fit.residuals / np.sqrt(fit.variance * np.maximum(1 - fit.leverage, 1e-12))


def normality_check(model: PhaseModel, context: Context) -> Check:
    """Skewness of residuals; Shapiro's test can only excuse it."""
    residual = studentised(model.fit())
    skew = float(stats.skew(residual, bias=False)) if len(residual) > 2 else np.nan
    kurtosis = float(stats.kurtosis(residual, bias=False)) if len(residual) > 3 else np.nan
    p = float(stats.shapiro(residual).pvalue) if len(residual) > 3 else np.nan
    finding = (
        f"Skewness {digits.number(skew)}, excess kurtosis {digits.number(kurtosis)} of "
        f"{len(residual)} residuals; Shapiro {digits.p_clause(p)}."
    )
    return judged(
        "residuals are roughly normal",
        "skewness of residuals (figure: normal quantiles)",
        abs(skew),
        context.guide("skewness"),
        finding,
        "Look at the figure; analyse logarithms, resample, or permute.",
        chance=p,
        remedy=remedied(lambda: _shape_remedy(model, context)),
    )


def _shape_remedy(model: PhaseModel, context: Context) -> Remedy | None:
    if not context.remedies:
        return None
    resampled = bootstrapped(model, resamples=context.simulations, seed=context.seed)
    steps = [Step("participants resampled within groups", resampled)]
    if model.positive:
        other = model.rescaled()
        steps.append(Step("logarithms" if other.ratio else "raw scores", other.conclusions()))
    return Remedy(model.conclusions(), tuple(steps))


def variance_check(model: PhaseModel, context: Context) -> Check:
    """Ratio of the groups' standard deviations; Brown and Forsythe's test can only excuse it."""
    fit, codes = model.fit(), model.complete.codes
    parts = [fit.residuals[codes == code] for code in np.unique(codes)]
    sds = np.array([np.std(part, ddof=1) if len(part) > 1 else np.nan for part in parts])
    usable = np.isfinite(sds).sum() > 1 and np.nanmin(sds) > 0
    ratio = float(np.nanmax(sds) / np.nanmin(sds)) if usable else np.nan
    large = [part for part in parts if len(part) > 2]
    p = float(stats.levene(*large, center="median").pvalue) if len(large) > 1 else np.nan
    groups = [str(model.groups[code]) for code in np.unique(codes)]
    spread = ", ".join(f"{name} {digits.significant(sd)}" for name, sd in zip(groups, sds))
    remedy = None
    if context.remedies and model.adjusted:
        robust = model.conclusions(covariance="HC3")
        remedy = Remedy(model.conclusions(), (Step("HC3 standard errors", robust),))
    advice = (
        "Read the HC3 result beside the ordinary one."
        if model.adjusted
        else "The contrast is Welch's already, which allows unequal spread."
    )
    return judged(
        "groups have the same spread",
        "largest over smallest SD of residuals (figure: residuals by group)",
        ratio,
        context.guide("sd_ratio"),
        f"SD of residuals: {spread}; Brown-Forsythe {digits.p_clause(p)}.",
        advice,
        chance=p,
        remedy=remedy,
    )


def slopes_check(model: PhaseModel, context: Context) -> Check:
    """p of group by baseline, and whether the groups' lines cross inside the data."""
    analysis = model.analysis()
    test = analysis.slopes_test if analysis is not None else None
    p = test.p if test is not None else np.nan
    crossing = _crossings(model)
    finding = (
        f"Group by baseline: {digits.p_clause(p)}."
        if test is not None
        else "Too few participants to fit a slope for each group."
    )
    if crossing:
        finding += f" Lines cross inside the baseline range: {'; '.join(crossing)}."
    remedy = None
    if context.remedies and test is not None:
        steps = tuple(
            Step(f"own slopes, at {name} baseline", at_baseline(model, q), decides=q == 0.5)
            for q, name in ((0.1, "a low"), (0.5, "the median"), (0.9, "a high"))
        )
        remedy = Remedy(model.conclusions(), steps)
    return judged(
        "the baseline works alike in all groups (parallel slopes)",
        "p of group by baseline (figure: score against baseline by group)",
        p,
        context.guide("slopes"),
        finding,
        "Report the difference at several baseline values instead of one.",
        remedy=remedy,
    )


def _crossings(model: PhaseModel) -> list[str]:
    whole = model.complete
    found: list[str] = []
    for first, second in model.pairs:
        lines = []
        for code in (first, second):
            own = whole.codes == code
            if own.sum() < 3 or np.ptp(whole.x[own]) == 0:
                return found
            lines.append(np.polyfit(whole.x[own], whole.y[own], 1))
        (slope_a, level_a), (slope_b, level_b) = lines
        if slope_a == slope_b:
            continue
        where = (level_b - level_a) / (slope_a - slope_b)
        if np.quantile(whole.x, 0.1) < where < np.quantile(whole.x, 0.9):
            shown = float(np.exp(where)) if model.ratio else float(where)
            names = f"{model.groups[first]} and {model.groups[second]}"
            found.append(f"{names} at {digits.significant(shown)}")
    return found


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


def influence_check(model: PhaseModel, context: Context) -> Check:
    """Whether the conclusion hangs on one participant, with Cook's distance beside it."""
    fit, whole = model.fit(), model.complete
    cook = studentised(fit) ** 2 * fit.leverage / np.maximum(1 - fit.leverage, 1e-12)
    cook /= fit.design.shape[1]
    table = without_each(model)
    flips = sorted(table.loc[table["changes"], "participant"].astype(str).unique())
    marked = whole.participants[cook > 4 / len(cook)]
    finding = (
        f"Largest Cook's distance {digits.number(float(cook.max()))} "
        f"({whole.participants[int(cook.argmax())]}); {len(marked)} of {len(cook)} above 4/n. "
        + (f"The conclusion changes without: {', '.join(flips)}." if flips else "")
        + (" So many: p lies so close to .05 that almost anyone tips it." if len(flips) > 5 else "")
    )
    guide = context.guide("flips")
    by_cook = context.guide("cook").grade(float(cook.max()))
    grade = guide.grade(len(flips))
    return Check(
        "no single participant decides",
        "participants whose removal changes the conclusion",
        float(len(flips)),
        guide,
        grade if grade != "fine" else by_cook,
        finding.strip(),
        "Report the result with and without the participants named; leave nobody out for it.",
        remedied(lambda: _worst_removal(model, table)) if context.remedies else None,
    )


def _worst_removal(model: PhaseModel, table: pd.DataFrame) -> Remedy | None:
    if table.empty:
        return None
    before = {conclusion.label: conclusion for conclusion in model.conclusions()}
    moved = [
        abs(np.log(max(p, 1e-300)) - np.log(max(before[label].p, 1e-300)))
        for label, p in zip(table["contrast"], table["p"])
    ]
    person = table.iloc[int(np.argmax(moved))]["participant"]
    after = model.subset(model.participants != person).conclusions()
    return Remedy(model.conclusions(), (Step(f"without {person}", after),))
