"""Assumptions of a population curve."""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn import digits
from motorlearn.audit.context import Context
from motorlearn.audit.general import settled_check
from motorlearn.audit.report import Check, Conclusion, Remedy, Step, judged
from motorlearn.curves import PopulationCurve, fit_population_curve, named_form
from motorlearn.exceptions import MotorlearnError

_RIVAL = "exponential"


def population_checks(result: PopulationCurve, context: Context) -> Iterator[Check]:
    """Checks of one population curve."""
    residuals = population_residuals(result)
    yield _settled(result, context)
    yield _identified(result, context)
    yield _seen(result, context)
    yield _normal(result, residuals, context)
    yield _spread_over_practice(result, residuals, context)
    if len(result.groups) > 1:
        yield _spread_between_groups(residuals, context)
    yield _serial(residuals, context)
    yield _learners(result, context)
    yield from _variances(result, context)
    if result.family == "gaussian" and context.remedies:
        yield _form(result, context)


def population_residuals(result: PopulationCurve) -> pd.DataFrame:
    """Standardised residuals in the order of practice within each learner."""
    rows = result.residuals
    scale = result.residual_sd
    if not np.isfinite(scale):
        scale = float(rows["residual"].std(ddof=0))
    shown = pd.DataFrame(
        {
            "analysis": "population curve",
            "participant": rows["participant"].astype(str),
            "group": rows["group"].astype(str),
            "phase": "",
            "fitted": rows["fitted"],
            "residual": result.standard if len(result.standard) else rows["residual"] / scale,
            "practice": rows["practice"],
        }
    )
    return shown.sort_values(["participant", "practice"], kind="stable", ignore_index=True)


def _settled(result: PopulationCurve, context: Context) -> Check:
    finding = (
        f"{result.recipe.message} Quadrature changed the log likelihood by "
        f"{digits.significant(abs(result.quadrature_gap))} when its nodes were doubled."
    )
    advice = "Let fewer parameters vary between learners."
    return settled_check(result.converged, context, finding.strip(), advice)


def _identified(result: PopulationCurve, context: Context) -> Check:
    return judged(
        "the population's curve is pinned down by the data",
        "1 where it is not identified or at a bound",
        float(result.status != "ok"),
        context.guide("unidentified"),
        f"Status: {result.status}. {result.meaning}",
        "Fix the asymptote, or practise longer.",
    )


def _seen(result: PopulationCurve, context: Context) -> Check:
    form = named_form(result.form)
    practice = result.residuals["practice"]
    ends = np.array([practice.min(), practice.max()], dtype=float)
    drops = [
        form.log_basis(ends, form.shared.rates(rate, *result.second), result.first)
        for rate in np.exp(result.cells()[:, 2])
    ]
    progress = float(min(drop[0] - drop[1] for drop in drops))
    return judged(
        "practice went on long enough to see the curve flatten",
        "rate times length of practice, slowest group",
        progress,
        context.guide("seen"),
        f"{result.n} outcomes of {len(result.participants)} learners.",
        "Treat the asymptote as an extrapolation.",
    )


def _normal(result: PopulationCurve, residuals: pd.DataFrame, context: Context) -> Check:
    values = residuals["residual"].to_numpy()
    skew = float(stats.skew(values))
    chance = float(stats.skewtest(values).pvalue) if len(values) > 7 else np.nan
    return judged(
        "residuals are roughly normal",
        "skewness of residuals about each learner's curve (figure: normal quantiles)",
        abs(skew),
        context.guide("skewness"),
        f"{len(values)} residuals.",
        "Fit logarithms.",
        chance=chance,
        remedy=_on_logarithms(result, context),
    )


def _spread_over_practice(
    result: PopulationCurve, residuals: pd.DataFrame, context: Context
) -> Check:
    high = residuals["fitted"] > residuals["fitted"].median()
    parts = [residuals.loc[where, "residual"].to_numpy() for where in (high, ~high)]
    enough = min(map(len, parts)) > 2
    sds = [float(np.std(part)) if enough else 0.0 for part in parts]
    usable = min(sds) > 0
    p = float(stats.levene(*parts).pvalue) if usable else np.nan
    return judged(
        "scores scatter alike early and late",
        "SD of residuals, larger over smaller half of the fitted scores",
        max(sds) / min(sds) if usable else np.nan,
        context.guide("sd_ratio"),
        f"Brown-Forsythe {digits.p_clause(p)}.",
        "Let the spread be estimated (variance='practice' or 'mean'), or fit logarithms.",
        chance=p,
        remedy=_on_logarithms(result, context),
    )


def _spread_between_groups(residuals: pd.DataFrame, context: Context) -> Check:
    parts = {name: own["residual"].to_numpy() for name, own in residuals.groupby("group")}
    sds = {name: float(np.std(part)) for name, part in parts.items()}
    p = float(stats.levene(*parts.values()).pvalue)
    smallest = min(sds.values())
    return judged(
        "residuals spread alike in every group",
        "largest over smallest SD of residuals by group (figure)",
        max(sds.values()) / smallest if smallest > 0 else np.nan,
        context.guide("sd_ratio"),
        ", ".join(f"{name} {digits.number(sd)}" for name, sd in sds.items()) + ".",
        "Fit the groups apart, or logarithms.",
        chance=p,
    )


def _serial(residuals: pd.DataFrame, context: Context) -> Check:
    values = residuals["residual"].to_numpy()
    person = residuals["participant"].to_numpy()
    same = person[1:] == person[:-1]
    before, after = values[:-1][same], values[1:][same]
    r1 = float(before @ after / np.sqrt((before @ before) * (after @ after)))
    chance = float(2 * stats.norm.sf(abs(r1) * np.sqrt(max(len(before), 1))))
    return judged(
        "residuals along practice are independent",
        "lag-1 correlation of residuals within learners",
        abs(r1),
        context.guide("serial_curve"),
        f"r1 = {digits.number(r1)} over {len(before)} pairs.",
        "Let the correlation be estimated (correlation='ar1'), fit block means, or add a restart "
        "for each session.",
        chance=chance,
    )


def _learners(result: PopulationCurve, context: Context) -> Check:
    worst, where, chance = 0.0, "", 1.0
    tried = 0
    for place in range(3):
        name, values = (
            ("asymptote", result.amount, "log_rate")[place],
            result.learner_cells[:, place],
        )
        groups = result.participants["group"].astype(str)
        values = values - pd.Series(values).groupby(groups.to_numpy()).transform("mean").to_numpy()
        if np.ptp(values) < 1e-9 * max(1.0, np.abs(values).max()):
            continue
        tried += 1
        skew = abs(float(stats.skew(values)))
        if skew > worst:
            worst, where = skew, name
            chance = float(stats.skewtest(values).pvalue) if len(values) > 7 else np.nan
    return judged(
        "learners' parameters are roughly normal",
        "largest skewness of learners' own parameters (shrunk: a weak test)",
        worst,
        context.guide("effects"),
        f"Largest for {where}." if where else "No parameter varies between learners.",
        "Look at the learners; the rate is on its log scale already.",
        chance=min(1.0, chance * max(tried, 1)),
    )


def _variances(result: PopulationCurve, context: Context) -> Iterator[Check]:
    rows = result.variances
    sds = rows.loc[rows["sd"].notna()]
    if sds.empty:
        return
    reach = {"asymptote": 1.0, result.amount: 1.0, "log_rate": _reach_of_rate(result)}
    noise = result.residual_sd if np.isfinite(result.residual_sd) else 1.0
    ratios = [float(row.sd) * reach.get(row.term, 1.0) / noise for row in sds.itertuples()]
    yield judged(
        "no variance between learners is zero",
        "smallest SD between learners over the residual SD, in the unit of the scores",
        min(ratios),
        context.guide("near_zero"),
        "",
        "Take that parameter out of vary.",
    )
    linked = rows["correlation"].abs().dropna()
    if len(linked):
        yield judged(
            "learners' parameters are not perfectly correlated",
            "largest absolute correlation between learners' parameters",
            float(linked.max()),
            context.guide("correlation"),
            "",
            "Let fewer parameters vary.",
        )


def _reach_of_rate(result: PopulationCurve) -> float:
    """Most by which scores move with the log rate: the amount times the largest x exp(-x)."""
    return float(np.abs(result.learner_cells[:, 1]).mean() * np.exp(-1))


def _again(result: PopulationCurve, **changes: Any) -> PopulationCurve | None:
    options = result.recipe.options
    table = result.residuals.copy()
    table["outcome"] = changes.pop("outcome", table["outcome"])
    noise = ("errors", "variance", "correlation", "covariance", "restart")
    given = (
        {name: options[name] for name in noise if name in options}
        | {
            "form": result.form,
            "vary": options["vary"],
            "session": "session" if "session" in table else None,
            "amount": result.amount,
            "first": result.first,
            "group": "group" if len(result.groups) > 1 else None,
            "tests": False,
        }
        | changes
    )
    try:
        return fit_population_curve(
            table, "outcome", practice="practice", participant="participant", **given
        )
    except MotorlearnError:
        return None


def _conclusions(result: PopulationCurve, note: str = "") -> tuple[Conclusion, ...]:
    rows = result.estimates
    words = {"log_rate": "log rate"} | {f"log_rate[{g}]": f"log rate: {g}" for g in result.groups}
    chosen = rows[rows["term"].isin(words)]
    return tuple(
        Conclusion(
            f"{words[row.term]}{note}",
            float(row.estimate),
            float(row.conf_low),
            float(row.conf_high),
            float(row.p),
        )
        for row in chosen.itertuples()
    )


def _on_logarithms(result: PopulationCurve, context: Context) -> Remedy | None:
    outcome = result.residuals["outcome"]
    options = result.recipe.options
    logs = options.get("errors") == "lognormal" or options.get("variance") == "mean"
    if not context.remedies or result.family != "gaussian" or outcome.min() <= 0 or logs:
        return None
    other = _again(result, outcome=np.log(outcome))
    if other is None:
        return None
    return Remedy(
        _conclusions(result), (Step("logarithms", _conclusions(other, " of logarithms")),)
    )


def _form(result: PopulationCurve, context: Context) -> Check:
    other = _again(result, form="power" if result.form == _RIVAL else _RIVAL)
    gap = float(other.aic - result.aic) if other is not None else np.nan
    return judged(
        "the form of the curve is preferred over its rival",
        "lead in AIC (negative: the rival fits better)",
        gap,
        context.guide("form"),
        f"AIC {digits.number(result.aic, 1)} against "
        f"{digits.number(other.aic, 1)} of the {other.form} form."
        if other is not None
        else "The rival form could not be fitted.",
        "Report both forms; claim none.",
    )
