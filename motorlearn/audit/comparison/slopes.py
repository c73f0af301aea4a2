"""Whether the baseline works alike in all groups, graded by how far the difference moves."""

from dataclasses import replace

import numpy as np

from motorlearn import digits
from motorlearn.audit.comparison.phase_model import PhaseModel
from motorlearn.audit.comparison.resampled import at_baseline
from motorlearn.audit.context import Context
from motorlearn.audit.report import Check, Conclusion, Remedy, Step, judged
from motorlearn.linear import fit_least_squares

LOW, HIGH = 0.1, 0.9
"""Quantiles of the baseline between which the difference is followed."""

ASSUMPTION = "the baseline works alike in all groups (parallel slopes)"


def slopes_check(model: PhaseModel, context: Context) -> Check:
    """How far the differences move over the baseline, and whether any turns its direction."""
    analysis = model.analysis()
    test = analysis.slopes_test if analysis is not None else None
    diagnostic = "half the change of a difference from low to high baseline, in residual SDs"
    advice = "Report the difference at several baseline values instead of one."
    if test is None:
        finding = "Too few participants to fit a slope for each group."
        return judged(ASSUMPTION, diagnostic, np.nan, context.guide("slopes"), finding, advice)
    value, crossing = _moves(model)
    ends = tuple(at_baseline(model, q) for q in (LOW, HIGH))
    turned = [
        low.label for low, high in zip(*ends, strict=True) if low.direction * high.direction < 0
    ]
    finding = f"Group by baseline: {digits.p_clause(test.p)}."
    if crossing:
        finding += f" Lines cross inside the baseline range: {'; '.join(crossing)}."
    if turned:
        finding += f" The difference turns its direction, beyond chance: {'; '.join(turned)}."
    check = judged(
        ASSUMPTION,
        f"{diagnostic} (figure: score against baseline by group)",
        value,
        context.guide("slopes"),
        finding,
        advice,
        chance=float(test.p),
        remedy=_remedy(model, ends, bool(turned)) if context.remedies else None,
    )
    matters = context.guide("slopes").grade(value) != "fine"
    return replace(check, grade="act") if turned and matters else check


def _remedy(model: PhaseModel, ends: tuple[tuple[Conclusion, ...], ...], turned: bool) -> Remedy:
    """Own slopes at three baselines; the ends decide where they point against each other."""
    low, high = ends
    return Remedy(
        model.conclusions(),
        (
            Step("own slopes, at a low baseline", low, turned),
            Step("own slopes, at the median baseline", at_baseline(model, 0.5)),
            Step("own slopes, at a high baseline", high, turned),
        ),
    )


def _moves(model: PhaseModel) -> tuple[float, list[str]]:
    """Largest move of a difference in residual SDs, and where lines cross."""
    whole = model.complete
    unit = np.eye(len(model.groups))[whole.codes]
    here = unit.any(axis=0)
    fit = fit_least_squares(np.hstack([unit[:, here], unit[:, here] * whole.x[:, None]]), whole.y)
    places = [int(place) for place in np.flatnonzero(here)]
    lines = dict(zip(places, fit.coefficients.reshape(2, -1).T, strict=True))
    low, high = np.quantile(whole.x, [LOW, HIGH])
    sd, largest, found = float(np.sqrt(fit.variance)), 0.0, []
    for pair in model.pairs:
        weights = model.weights(pair)
        level, slope = sum(weights[place] * line for place, line in lines.items())
        if sd > 0:
            largest = max(largest, abs(slope) * (high - low) / 2 / sd)
        if slope != 0 and low < -level / slope < high:
            shown = float(np.exp(-level / slope)) if model.ratio else float(-level / slope)
            names = " and ".join(str(model.groups[i]) for i in np.flatnonzero(weights))
            found.append(f"{names} at {digits.significant(shown)}")
    return float(largest), found
