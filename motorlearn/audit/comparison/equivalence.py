"""Assumptions of an equivalence test."""

from collections.abc import Iterator

from motorlearn import digits
from motorlearn.audit.context import Context
from motorlearn.audit.report import Check, judged
from motorlearn.compare import PhaseComparison
from motorlearn.design import SmallestEffect, smallest_effect_of
from motorlearn.linear import Equivalence


def equivalence_checks(result: Equivalence, context: Context) -> Iterator[Check]:
    """Checks of two one-sided tests."""
    yield _declared(context)
    declared = smallest_effect_of(context.design) if context.design is not None else None
    if context.design is not None and context.design.smallest_effect is not None:
        yield _same_bound(result, declared, context.design.smallest_effect, context)
    width = (result.conf_high - result.conf_low) / (result.bound_high - result.bound_low)
    yield judged(
        "the study is precise enough to show equivalence",
        f"width of the {digits.percent(1 - 2 * result.alpha)} interval over that of the bounds",
        width,
        context.guide("precise"),
        f"Interval {digits.interval(result.conf_low, result.conf_high)}, bounds "
        f"{digits.interval(result.bound_low, result.bound_high)}.",
        "An interval wider than the bounds cannot lie inside them: the verdict says nothing.",
    )


def declared_bound_checks(result: PhaseComparison, context: Context) -> Iterator[tuple[str, Check]]:
    """Check of the bounds of a comparison of phases that makes equivalence tests."""
    if len(result.equivalence):
        yield "equivalence", _declared(context)


def _declared(context: Context) -> Check:
    smallest = context.design.smallest_effect if context.design is not None else None
    reason = smallest.reason if smallest is not None else ""
    return judged(
        "the bounds were declared and justified beforehand",
        "1 where the plan gives no bound, or a bound without a reason",
        float(not reason),
        context.guide("bound_declared"),
        f"Plan: {smallest.told}; {reason or 'it gives no reason.'}"
        if smallest is not None
        else "The plan names no smallest effect of interest, or no plan was given.",
        "If it was set beforehand, say why in the plan (smallest_effect.reason); without such a "
        "bound report the interval only, and no equivalence verdict.",
    )


def _same_bound(
    result: Equivalence, declared: float | None, smallest: SmallestEffect, context: Context
) -> Check:
    sizes = {abs(result.bound_low), abs(result.bound_high)}
    same = (
        smallest.in_sd
        or declared is None
        or any(abs(size - declared) <= 1e-9 * max(1.0, declared) for size in sizes)
    )
    return judged(
        "the bounds used are those declared",
        "1 where they differ",
        float(not same),
        context.guide("bound_declared"),
        f"Used {digits.interval(result.bound_low, result.bound_high)}; declared "
        f"{smallest.told} (a standardised or logarithmic bound differs by design).",
        "Explain the difference or use the declared bound.",
    )
