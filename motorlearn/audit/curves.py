"""Assumptions of learning curves: one learner, and many learners."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import stats

from motorlearn import digits
from motorlearn.audit.context import Context
from motorlearn.audit.report import Check, Conclusion, Remedy, Step, gravest, judged, no_conclusion
from motorlearn.curves import CurveFit, CurveFits, fit_curve, fit_monotone, named_form
from motorlearn.exceptions import MotorlearnError

_RIVAL = {"exponential": "power"}
_TOO_FEW_FOR_AICC = "There are too few scores for AICc to compare forms."
MONOTONE_COUNTS, MONOTONE_SIMULATIONS = 10, 199


def curve_checks(result: CurveFit, context: Context) -> Iterator[Check]:
    """Checks of one learner's curve."""
    yield _identified(result, context)
    yield _seen(result, context)
    residual = np.asarray(result.residuals, dtype=float)
    if np.isfinite(residual).sum() < 5 or not residual @ residual > 0:
        return
    yield _serial(result, context)
    yield _runs(result, context)
    yield _spread(result, context)
    yield _form(result, context)
    if _plain_scores(result):
        yield _without_a_form(result, context)


def _plain_scores(result: CurveFit) -> bool:
    """Whether these are scores at enough practice counts, fitted without anything held or added."""
    rates = named_form(result.form).rates
    bare = set(result.curve) == {"asymptote", "gain", "start", *rates}
    counts, free = np.unique(result.practice), not (result.fixed or result.noise)
    return bool(
        result.family == "gaussian"
        and bare
        and free
        and len(counts) >= MONOTONE_COUNTS
        and counts.min() > 0
        and np.ptp(result.outcome) > 0
    )


def many_curves_checks(result: CurveFits, context: Context) -> Iterator[Check]:
    """Checks of the curves of many learners."""
    table, best = result.table, result.preferred
    learners = len(best)
    good = table[table["status"] == "ok"].drop_duplicates(list(result.by))
    share = 1 - len(good) / learners
    counts = table.groupby("form")["status"].value_counts()
    shown = "; ".join(f"{form}: {status} {n}" for (form, status), n in counts.items())
    yield judged(
        "every learner's curve is pinned down by the data",
        "share of learners without an identified curve in any form",
        share,
        context.guide("unidentified"),
        shown,
        "Practise longer, fix the asymptote, or fit a population curve; do not average the "
        "parameters of unidentified curves.",
    )
    yield judged(
        "curves are fitted to learners, not to their average",
        "1 where curves were fitted to means of groups",
        float(bool(result.pooled)),
        context.guide("averaged"),
        f"{learners} learners by {', '.join(result.by)}. {' '.join(result.warnings)}".strip(),
        "Fit each learner: the average of curves of one form has another form.",
    )
    if len(result.forms) > 1:
        yield _majority(result, context)


def curve_residuals(result: CurveFit) -> pd.DataFrame:
    """Standardised residuals of one curve, for the diagnostic figure."""
    residual = _standardised(result)
    blank = np.full(len(residual), "", dtype=object)
    return pd.DataFrame(
        {
            "analysis": f"{result.form} curve",
            "participant": blank,
            "group": blank,
            "phase": blank,
            "fitted": result.fitted,
            "residual": residual,
        }
    )


def _conclusion(fit: CurveFit, term: str) -> Conclusion:
    rows = fit.estimates.set_index("term")
    if term not in rows.index:
        return no_conclusion(f"{term}, {fit.form}")
    row = rows.loc[term]
    error = float(row["std_error"])
    z = abs(float(row["estimate"])) / error if error > 0 else np.nan
    return Conclusion(
        f"{term}, {fit.form}",
        float(row["estimate"]),
        float(row["conf_low"]),
        float(row["conf_high"]),
        float(2 * stats.norm.sf(z)),
    )


def _identified(result: CurveFit, context: Context) -> Check:
    errors = result.estimates["std_error"].to_numpy(dtype=float)
    unknown = result.estimates["term"][~np.isfinite(errors)].tolist()
    fails = float(result.status != "ok")
    return judged(
        "the curve is pinned down by the data",
        "1 where asymptote, gain or rate is not identified or at a bound",
        fails,
        context.guide("unidentified"),
        f"Status: {result.status}. {result.meaning}"
        + (f" No standard error: {', '.join(unknown)}." if unknown else ""),
        "Fix the asymptote, practise longer, or share strength in a population curve.",
    )


def _seen(result: CurveFit, context: Context) -> Check:
    return judged(
        "practice went on long enough to see the curve flatten",
        "rate times length of practice",
        float(result.progress),
        context.guide("seen"),
        f"{result.n} outcomes.",
        "Treat the asymptote as an extrapolation.",
    )


def _serial(result: CurveFit, context: Context) -> Check:
    residual = _standardised(result)
    order = np.argsort(result.practice, kind="stable")
    residual = residual[order]
    r1 = float(residual[:-1] @ residual[1:] / (residual @ residual))
    n = len(residual)
    chance = float(2 * stats.norm.sf(abs(r1 + 1 / n) * np.sqrt(n)))
    remedy = None
    if context.remedies and r1 > 0 and result.status == "ok":
        factor = np.sqrt((1 + r1) / (1 - r1)) if r1 < 1 else np.inf
        before = _conclusion(result, "rate")
        middle, reach = before.estimate, (before.conf_high - before.conf_low) / 2 * factor
        z = abs(middle) / (reach / stats.norm.isf(0.025))
        after = Conclusion(
            before.label, middle, middle - reach, middle + reach, float(2 * stats.norm.sf(z))
        )
        name = "interval widened for the serial correlation, sqrt((1 + r)/(1 − r))"
        remedy = Remedy((before,), (Step(name, (after,)),))
    return judged(
        "residuals along practice are independent",
        "lag-1 correlation of residuals (figure: residuals over practice)",
        abs(r1),
        context.guide("serial_curve"),
        f"r1 = {digits.number(r1)} over {n} residuals.",
        "Let the correlation be estimated (correlation='ar1'), add a restart term for each "
        "session, fit block means, or widen the interval.",
        chance=chance,
        remedy=remedy,
    )


def _runs(result: CurveFit, context: Context) -> Check:
    residual = _standardised(result)
    signs = residual[np.argsort(result.practice, kind="stable")] > 0
    p, implied = runs_test(signs), runs_correlation(signs)
    check = judged(
        "the curve follows the scores everywhere (no stretches above or below)",
        "lag-1 correlation that so few runs of signs stand for",
        implied,
        context.guide("serial_curve"),
        f"{int(signs.sum())} above, {int((~signs).sum())} below, "
        f"{1 + int(np.sum(signs[1:] != signs[:-1]))} runs; {digits.p_clause(p)}.",
        "Try another form, or a restart term where a session begins.",
        chance=p,
    )
    own = context.guide("runs")
    if not own.own:
        return check
    return gravest(
        replace(check, diagnostic=own.words, value=p, guide=own, grade=own.grade(p)), check
    )


def runs_correlation(signs: ArrayLike) -> float:
    """Lag-1 correlation of normal residuals whose signs would change as seldom as these.

    Signs of neighbours with correlation ρ differ with probability ``arccos(ρ) / π`` (the arcsine
    law); here it is the observed number of changes over that expected of independent signs, times
    a half.

    Examples
    --------
    >>> round(runs_correlation([True, True, False, False] * 10), 2), round(
    ...     runs_correlation([True] * 10 + [False] * 10), 2)
    (0.08, 0.99)
    """
    signs = np.asarray(signs, dtype=bool)
    above, below = int(signs.sum()), int((~signs).sum())
    if min(above, below) == 0:
        return float("nan")
    changes, expected = int(np.sum(signs[1:] != signs[:-1])), 2 * above * below / len(signs)
    return float(np.cos(np.pi * min(changes / expected / 2, 1.0)))


def runs_test(signs: ArrayLike) -> float:
    """Two-sided p of the number of runs of signs (Wald and Wolfowitz, normal approximation).

    References
    ----------
    Wald, A. and Wolfowitz, J. (1940). Annals of Mathematical Statistics, 11, 147-162.
    doi:10.1214/aoms/1177731909.

    Examples
    --------
    >>> round(runs_test([True] * 10 + [False] * 10), 5)
    4e-05
    """
    signs = np.asarray(signs, dtype=bool)
    above, below = int(signs.sum()), int((~signs).sum())
    n = above + below
    if min(above, below) == 0:
        return float("nan")
    runs = 1 + int(np.sum(signs[1:] != signs[:-1]))
    expected = 2 * above * below / n + 1
    variance = (expected - 1) * (expected - 2) / (n - 1)
    return float(2 * stats.norm.sf(abs(runs - expected) / np.sqrt(variance)))


def _spread(result: CurveFit, context: Context) -> Check:
    residual = _standardised(result)
    half = result.fitted > np.median(result.fitted)
    sds = [float(np.std(residual[part], ddof=1)) for part in (half, ~half) if part.sum() > 2]
    usable = len(sds) == 2 and min(sds) > 0
    ratio = max(sds) / min(sds) if usable else np.nan
    p = float(stats.levene(residual[half], residual[~half]).pvalue) if usable else np.nan
    return judged(
        "scores scatter alike early and late",
        "SD of residuals, upper over lower half of the curve",
        ratio,
        context.guide("sd_ratio"),
        f"Brown-Forsythe {digits.p_clause(p)}." if usable else "",
        "Let the spread be estimated (variance='mean' or 'practice'), fit logarithms, or weight by "
        "precision.",
        chance=p,
        remedy=_on_logarithms(result, context),
    )


def _on_logarithms(result: CurveFit, context: Context) -> Remedy | None:
    options = result.recipe.options
    logs = options.get("errors") == "lognormal" or options.get("variance") == "mean"
    positive = result.family == "gaussian" and np.nanmin(result.outcome) > 0 and not logs
    if not (context.remedies and positive and result.status == "ok") or result.fixed:
        return None
    try:
        other = fit_curve(
            result.practice, np.log(result.outcome), form=result.form, first=result.first
        )
    except MotorlearnError:
        return None
    return Remedy(
        (_conclusion(result, "rate"),), (Step("logarithms", (_conclusion(other, "rate"),)),)
    )


def _form(result: CurveFit, context: Context) -> Check:
    other, gap = _rival(result), np.nan
    finding = "No other form could be fitted."
    remedy = None
    if other is not None:
        finding = _TOO_FEW_FOR_AICC
        if np.isfinite(other.aicc) and np.isfinite(result.aicc):
            gap = float(other.aicc - result.aicc)
            finding = (
                f"AICc {digits.number(result.aicc, 1)} against {digits.number(other.aicc, 1)} of "
                f"the {other.form} form."
            )
        if context.remedies:
            remedy = Remedy(
                (_conclusion(result, "asymptote"),),
                (Step(f"{other.form} form", (_conclusion(other, "asymptote"),), decides=False),),
            )
    return judged(
        "the form of the curve is preferred over its rival",
        "lead in AICc (negative: the rival fits better)",
        gap,
        context.guide("form"),
        finding,
        "Report both forms; claim none.",
        remedy=remedy,
    )


def _without_a_form(result: CurveFit, context: Context) -> Check:
    """Whether a smooth curve that only falls or only rises bends elsewhere than the form does."""
    found = fit_monotone(
        result.practice,
        result.outcome,
        form=result.form,
        first=result.first,
        simulations=MONOTONE_SIMULATIONS,
    )
    return judged(
        "the form follows a monotone curve without a form",
        "share of the squares the form leaves that such a curve explains",
        found.statistic,
        context.guide("monotone"),
        f"Simulated curves of the {result.form} form: {digits.p_clause(found.p)}.",
        "Look at the figure; try another form, or report the monotone curve.",
        chance=found.p,
    )


def _rival(result: CurveFit) -> CurveFit | None:
    form = _RIVAL.get(result.form, "exponential")
    attempts = result.attempts if result.family == "binomial" else None
    outcome = result.outcome
    options = result.recipe.options
    noise = ("errors", "variance", "correlation", "restart")
    given = {name: options[name] for name in noise if name in options}
    begins = sorted({*result.begins.values(), *result.saved.values()})
    if begins:
        given["session"] = np.searchsorted(begins, result.practice, side="right")
    try:
        return fit_curve(
            result.practice, outcome, form=form, first=result.first, attempts=attempts, **given
        )
    except MotorlearnError:
        return None


def _majority(result: CurveFits, context: Context) -> Check:
    best = result.preferred
    counts = best["form"].value_counts()
    _, nobody = result.too_few_for_aicc()
    lead = float(best["lead"].replace(np.inf, np.nan).median())
    return judged(
        "the form of the curve is preferred over its rivals",
        "median lead in AICc of each learner's best form",
        lead,
        context.guide("form"),
        _TOO_FEW_FOR_AICC if nobody else "; ".join(f"{form} {n}" for form, n in counts.items()),
        "Report the share of learners per form; claim no form for all.",
    )


def _standardised(result: CurveFit) -> np.ndarray:
    residual = np.asarray(result.residuals, dtype=float)
    if len(result.standard):
        residual = result.standard
    if result.family == "binomial":
        share = np.clip(result.fitted / result.attempts, 1e-9, 1 - 1e-9)
        pearson: np.ndarray = residual / np.sqrt(result.attempts * share * (1 - share))
        return pearson
    spare = max(len(residual) - 3, 1)
    scale = float(np.sqrt(residual @ residual / spare))
    return residual / scale if scale > 0 else residual
