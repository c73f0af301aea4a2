"""Variants of a mixed model."""

import pandas as pd

from motorlearn.audit.mixed.leave_out import fit_without_each
from motorlearn.audit.mixed.model import MixedModel
from motorlearn.audit.mixed.refits import (
    conclusions,
    on_logarithms,
    refit,
    robust_conclusions,
    with_row_effects,
)
from motorlearn.audit.sensitivity.leave_one_out import most_telling_removal, without_one
from motorlearn.audit.sensitivity.phases import ORIGINAL, Variant
from motorlearn.mixed import MixedFit


def mixed_variants(fit: MixedFit) -> tuple[list[Variant], pd.DataFrame]:
    """Run every variant of a mixed model; also give the removals of participants."""
    model = MixedModel(fit)
    focus = model.focus()
    removed = fit_without_each(model)
    original = conclusions(fit, focus)
    robust = robust_conclusions(fit, focus, removed)
    words = "allows any variance and correlation inside a participant"
    worst, note = most_telling_removal(original, removed)
    return [
        Variant(ORIGINAL, fit.n, original),
        Variant("jackknife over participants", fit.n, robust, words),
        *(_counts(model, focus) if model.binomial else _scales(fit, focus)),
        Variant(without_one(), fit.n, worst, note),
    ], removed


def _counts(model: MixedModel, focus: list[int]) -> list[Variant]:
    fit, found = model.fit, []
    if (model.weight > 1).any():
        rough = conclusions(with_row_effects(fit), focus)
        note = "takes up overdispersion"
        found.append(Variant("random effect for every row", fit.n, rough, note))
    if len(fit.design.random) == 1 and len(fit.design.random[0].terms) <= 2:
        finer = conclusions(refit(fit, quadrature=15), focus)
        found.append(Variant("15 quadrature points", fit.n, finer))
    return found


def _scales(fit: MixedFit, focus: list[int]) -> list[Variant]:
    other = on_logarithms(fit)
    if other is None:
        return []
    return [Variant(other.scale, fit.n, conclusions(other.fit, focus))]
