"""What the fits of a batch can claim, and what is therefore missing from the table."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from motorlearn.curves.batch.closely import MEANS
from motorlearn.curves.batch.padded import Padded, for_counts, profile_loss
from motorlearn.curves.forms import FORMS, Form
from motorlearn.curves.status import (
    CURVE,
    ERRORS,
    FLAT,
    RATES,
    UNSETTLED,
    adrift,
    grade,
    losses,
    not_rejected,
)
from motorlearn.curves.steps import best_step

Values = Any
"""A number or an array of them, one per fit."""
INTERNAL = ("lost", "level", "level_error", "start_lost", "gain_lost")
"""Columns of a fit that only say what to leave out of the table."""


def claims(
    *,
    best: Values,
    flat: Values,
    line: Values,
    step: Values,
    n: Values,
    wanted: int,
    rates: int,
    at_bound: Values,
    progress: Values,
    error: Values,
    change: Values,
    **more: Any,
) -> dict[str, Values]:
    """Status, what is lost, and whether the start is lost too, of many fits of one form.

    ``best, flat, line, step`` are losses of the curve, the flat line, the straight line and the
    step; ``more`` holds ``binomial``, ``seen`` (progress with extremes taken out), ``origin``,
    ``first``, and where the form has one ``stuck`` (its tail at the lowest) or ``anywhere`` (loss
    of the best step, of a form whose middle is a rate).
    """
    binomial = more["binomial"]

    def as_good(loss: Values, extra: int) -> Any:
        return not_rejected(best, loss, n, wanted, extra, binomial=binomial)

    line_open, step_open = as_good(line, rates), as_good(step, rates)
    if "anywhere" in more:
        step_open = step_open | as_good(more["anywhere"], 1)
    status = grade(
        enough=True,
        flat=as_good(flat, rates + 1),
        at_bound=at_bound,
        progress=more["seen"],
        asymptote_error=error,
        change=change,
        open_shape=line_open | step_open,
    )
    stepped = (progress > 1.0) & (more["origin"] == more["first"]) & (rates == 1)
    far = adrift(
        progress=progress, error=error, change=change, rates=rates, stuck=more.get("stuck", False)
    )
    lost = losses(status, progress=progress, line_open=line_open, step=stepped, adrift=far)
    return {
        "status": status,
        "lost": lost,
        "start_lost": (lost == CURVE) & (more["first"] < more["origin"]),
    }


def end_losses(data: Padded) -> tuple[np.ndarray, np.ndarray]:
    """Losses of the straight line and of the step for every learner."""
    ends = for_counts(data, data.form.extremes)
    return profile_loss(data, ends[:, 0]), profile_loss(data, ends[:, 1])


def steps_anywhere(
    form: Form, n: np.ndarray, y: np.ndarray, weights: np.ndarray, *, binomial: bool = False
) -> dict[str, np.ndarray]:
    """Loss of the best step, where the form can turn into one anywhere."""
    return {} if form.middle is None else {"anywhere": best_step(n, y, weights, binomial=binomial)}


def shown(found: Mapping[str, np.ndarray], forms: Sequence[str]) -> dict[str, np.ndarray]:
    """Columns of the table: what is not estimated is missing."""
    lost, values = found["lost"], dict(found)
    rates = list(dict.fromkeys(rate for form in forms for rate in FORMS[form].rates))
    no_rate = (lost == RATES) | (lost == CURVE) | (lost == FLAT)
    no_curve, flat = lost == CURVE, lost == FLAT
    no_error = no_rate | (lost == ERRORS)
    for rate in rates:
        stuck = no_rate | np.isnan(found[f"se_{rate}"]) & (found["status"] != UNSETTLED)
        values[rate] = np.where(stuck, np.nan, found[rate])
        values[f"se_{rate}"] = np.where(no_error, np.nan, found[f"se_{rate}"])
    for name in (*MEANS, "restart_rate"):
        if name in found:
            values[name] = np.where(no_curve | flat, np.nan, found[name])
        if f"se_{name}" in found:
            values[f"se_{name}"] = np.where(no_curve | flat | no_error, np.nan, found[f"se_{name}"])
    level, error = found["level"], found["level_error"]
    values["asymptote"] = np.where(flat, level, np.where(no_curve, np.nan, found["asymptote"]))
    hidden = no_curve | (lost == ERRORS)
    values["se_asymptote"] = np.where(flat, error, np.where(hidden, np.nan, found["se_asymptote"]))
    far = found["gain_lost"] > 0
    no_gain = no_curve | far | (flat & (found["gain"] != 0))
    values["gain"] = np.where(no_gain, np.nan, found["gain"])
    values["se_gain"] = np.where(hidden | flat | far, np.nan, found["se_gain"])
    start = np.where(found["start_lost"] > 0, np.nan, found["start"])
    values["start"] = np.where(flat, level, start)
    for name in ("gain", "start"):
        # Far from the first trial a quick curve has none that a float can hold.
        values[name] = np.where(np.isinf(values[name]), np.nan, values[name])
    return {name: column for name, column in values.items() if name not in INTERNAL}
