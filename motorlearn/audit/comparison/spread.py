"""Shape and spread of the residuals of a comparison of groups, graded by the rate they lead to."""

from dataclasses import replace

import numpy as np
from scipy import stats

from motorlearn import digits
from motorlearn.audit.comparison.consequences import (
    rate_under_shape,
    rate_under_spread,
    residuals_apart,
)
from motorlearn.audit.comparison.phase_model import PhaseModel
from motorlearn.audit.comparison.resampled import permuted
from motorlearn.audit.context import Context
from motorlearn.audit.report import Check, Remedy, Step, gravest, judged, remedied

TOO_STRICT = 0.025
"""Rate below which a nominal 5 % test misses too much (Bradley 1978, the liberal criterion)."""


def normality_check(model: PhaseModel, context: Context) -> Check:
    """Skewness of residuals, and the rate of false positives that their shape leads to."""
    residual = residuals_apart(model.fit())
    skew = float(stats.skew(residual, bias=False)) if len(residual) > 2 else np.nan
    kurtosis = float(stats.kurtosis(residual, bias=False)) if len(residual) > 3 else np.nan
    p = float(stats.shapiro(residual).pvalue) if len(residual) > 3 else np.nan
    rate = rate_under_shape(model, resamples=max(context.simulations, 1000), seed=context.seed)
    finding = (
        f"Skewness {digits.number(skew)}, excess kurtosis {digits.number(kurtosis)} of "
        f"{len(residual)} residuals; Shapiro {digits.p_clause(p)}. A 5 % test of such residuals "
        f"rejects in about {digits.percent(rate, 1)}."
    )
    assumption, advice = "residuals are roughly normal", "Look at the figure; permute the groups."
    remedy = remedied(lambda: _shape_remedy(model, context))
    return gravest(
        judged(
            assumption,
            "skewness of residuals (figure: normal quantiles)",
            abs(skew),
            context.guide("skewness"),
            finding,
            advice,
            chance=p,
            remedy=remedy,
        ),
        judged(
            assumption,
            "rate of false positives of the nominal 5 % test, for residuals of this shape",
            rate,
            replace(context.guide("size"), look=context.guide("size").act),
            finding,
            advice,
            chance=p,
            remedy=remedy,
        ),
    )


def _shape_remedy(model: PhaseModel, context: Context) -> Remedy | None:
    if not context.remedies:
        return None
    steps = [Step("groups permuted", permuted(model, permutations=1999, seed=context.seed))]
    if model.positive and not model.counted:
        other = model.rescaled()
        name = "logarithms" if other.ratio else "raw scores"
        steps.append(Step(f"{name} (another question)", other.conclusions(), decides=False))
    return Remedy(model.conclusions(), tuple(steps))


def variance_check(model: PhaseModel, context: Context) -> Check:
    """Rate of false positives under the groups' own variances; shuffling can only excuse it."""
    parts, names = _parts(model)
    sds = np.array([np.std(part, ddof=1) if len(part) > 1 else np.nan for part in parts])
    usable = np.isfinite(sds).sum() > 1 and np.nanmin(sds) > 0
    ratio = float(np.nanmax(sds) / np.nanmin(sds)) if usable else np.nan
    large = [part for part in parts if len(part) > 2]
    p = float(stats.levene(*large, center="median").pvalue) if len(large) > 1 else np.nan
    spread = ", ".join(f"{name} {digits.significant(sd)}" for name, sd in zip(names, sds))
    finding = (
        f"SD of residuals: {spread}, largest over smallest {digits.number(ratio)}; Brown-Forsythe "
        f"{digits.p_clause(p)}."
    )
    own = context.guide("sd_ratio")
    shown = own if own.own else replace(own, look=None, act=None)
    plain = judged(
        "groups have the same spread",
        "largest over smallest SD of residuals (figure: residuals by group)",
        ratio,
        shown,
        f"{finding} The contrasts give each group its own variance, which holds the rate.",
        "Nothing: unequal spread is allowed for.",
        chance=p if own.own else None,
    )
    return plain if model.by_group else _rated(model, context, finding, plain)


def _parts(model: PhaseModel) -> tuple[list[np.ndarray], list[str]]:
    residual, codes = residuals_apart(model.fit()), model.complete.codes
    present = np.unique(codes)
    names = [str(model.groups[code]) for code in present]
    return [residual[codes == code] for code in present], names


def _rated(model: PhaseModel, context: Context, finding: str, plain: Check) -> Check:
    rate, guide = rate_under_spread(model, context.seed), context.guide("size")
    lowest, highest = digits.percent(rate.lowest, 1), digits.percent(rate.highest, 1)
    reach = highest if lowest == highest else f"{lowest} to {highest}"
    sizes = np.bincount(model.places())
    finding = (
        f"{finding} With {', '.join(map(str, sizes))} people and these SDs a 5 % test with one "
        f"variance rejects in about {reach}."
    )
    remedy = remedied(lambda: _own_variances(model)) if context.remedies else None
    advice = (
        'Read the contrast with a variance for each group beside it; a plan can choose it by '
        'primary.variance = "by group".'
    )  # fmt: skip
    assumption = "groups have the same spread"
    set_by_study = [replace(plain, advice=advice, finding=finding, remedy=remedy)]
    return gravest(
        *(set_by_study if plain.guide.own else ()),
        judged(
            assumption,
            "rate of false positives of the nominal 5 % test, with these sizes and SDs",
            rate.highest,
            guide,
            finding,
            advice,
            chance=rate.chance_high,
            estimated=True,
            remedy=remedy,
        ),
        judged(
            assumption,
            "lowest rate of false positives of the nominal 5 % test (effects are missed)",
            rate.lowest,
            replace(guide, look=TOO_STRICT, act=None, high_is_bad=False),
            finding,
            advice,
            chance=rate.chance_low,
            remedy=remedy,
        ),
    )


def _own_variances(model: PhaseModel) -> Remedy:
    after = model.conclusions(covariance="by group")
    return Remedy(model.conclusions(), (Step("a variance for each group", after),))
