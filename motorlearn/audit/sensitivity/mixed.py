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
from motorlearn.audit.sensitivity.leave_one_out import most_telling_removal
from motorlearn.audit.sensitivity.phases import ORIGINAL, Row
from motorlearn.mixed import MixedFit


def mixed_rows(fit: MixedFit) -> tuple[list[Row], pd.DataFrame]:
    """Run every variant of a mixed model; also give the removals of participants."""
    model = MixedModel(fit)
    focus = model.focus()
    removed = fit_without_each(model)
    original = conclusions(fit, focus)
    robust = robust_conclusions(fit, focus, removed)
    rows: list[Row] = [
        (ORIGINAL, fit.n, original, ""),
        (
            "jackknife over participants",
            fit.n,
            robust,
            "allows any variance and correlation inside a participant",
        ),
        *(_counts(model, focus) if model.binomial else _scales(fit, focus)),
    ]
    worst, note = most_telling_removal(original, removed)
    rows.append(("without the participant who matters most", fit.n, worst, note))
    return rows, removed


def _counts(model: MixedModel, focus: list[int]) -> list[Row]:
    fit, rows = model.fit, []
    if (model.weight > 1).any():
        rough = conclusions(with_row_effects(fit), focus)
        rows.append(("random effect for every row", fit.n, rough, "takes up overdispersion"))
    if len(fit.design.random) == 1 and len(fit.design.random[0].terms) <= 2:
        finer = conclusions(refit(fit, quadrature=15), focus)
        rows.append(("15 quadrature points", fit.n, finer, ""))
    return rows


def _scales(fit: MixedFit, focus: list[int]) -> list[Row]:
    other = on_logarithms(fit)
    if other is None:
        return []
    name = "raw scores" if fit.formula.lstrip().startswith("log") else "logarithms"
    return [(name, fit.n, conclusions(other, focus), "")]
