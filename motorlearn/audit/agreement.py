"""Assumptions of rater agreement."""

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import replace
from typing import Any, Final

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn import digits
from motorlearn.audit.context import Context
from motorlearn.audit.report import Check, Conclusion, Remedy, Step, judged
from motorlearn.measures import Agreement
from motorlearn.measures.agreement.frames import AGAINST_BASIS

_GUIDES: Final = {"icc": "icc", "alpha": "alpha"}
"""Guide of each family of coefficients; that of kappa for all others."""


def agreement_checks(result: Agreement, context: Context) -> Iterator[Check]:
    """Checks of agreement between raters."""
    yield _form(result, context)
    if len(result.limits):
        yield _spread(result, context)
        if result.limits["slope"].notna().any():
            yield _proportional(result, context)
        yield _normal_differences(result, context)
    if len(result.pairs):
        yield _prevalence(result, context)
        yield _bias(result, context)
    if len(result.limits):
        yield _drift(result, context)
    yield _double_rated(result, context)


def _applying(result: Agreement) -> pd.Series:
    return result.estimates[result.estimates["applies"]].iloc[0]


def _conclusion(row: Mapping[Hashable, Any] | pd.Series, label: str = "") -> Conclusion:
    """An agreement coefficient with the p of its own test, NaN where there is none."""
    return Conclusion(
        label or str(row["term"]),
        float(row["estimate"]),
        float(row["conf_low"]),
        float(row["conf_high"]),
        float(row["p"]),
    )


def _form(result: Agreement, context: Context) -> Check:
    """The lower limit is judged, so that few clips prove nothing."""
    row = _applying(result)
    icc = row["family"] == "icc"
    guide = context.guide(_GUIDES.get(row["family"], "kappa"))
    check = judged(
        "the coefficient fits the score the study uses, and is high enough",
        f"lower limit of {row['term']}",
        float(row["conf_low"]),
        guide,
        result.advice[0],
        "Train the raters, clarify the items, or average several raters' scores.",
        remedy=_averaging(result) if context.remedies and icc else None,
    )
    if icc or check.grade != "act" or guide.grade(float(row["estimate"])) == "act":
        return check
    finding = (
        f"{check.finding} {row['term']} is {digits.number(float(row['estimate']))}; only its "
        "interval reaches so low, so that more clips may settle it."
    )
    return replace(check, grade="look", finding=finding)


def _averaging(result: Agreement) -> Remedy | None:
    row = _applying(result)
    rows = result.estimates.set_index("term")
    if "ICC(A,k)" not in rows.index or row["term"] == "ICC(A,k)":
        return None
    after = _conclusion(rows.loc["ICC(A,k)"], "ICC(A,k)")
    step = Step("mean of all raters for every clip", (after,), decides=False)
    return Remedy((_conclusion(row),), (step,))


def _spread(result: Agreement, context: Context) -> Check:
    rows = result.estimates.set_index("term")
    share = float(rows.loc["ICC(A,1)", "estimate"]) if "ICC(A,1)" in rows.index else np.nan
    items = result.scores.groupby("item")["score"].mean()
    return judged(
        "items differ enough for an ICC to mean something",
        "variance between items as a share of all variance",
        share,
        context.guide("spread"),
        f"SD between items {digits.significant(float(items.std(ddof=1)))}.",
        "Read the measurement error in the unit of the score; a low ICC may come from clips that "
        "hardly differ.",
    )


def _proportional(result: Agreement, context: Context) -> Check:
    worst = result.limits.loc[result.limits["slope"].abs().idxmax()]
    chance = min(1.0, float(worst["slope_p"]) * len(result.limits))
    return judged(
        "raters differ alike over the whole range of scores",
        "largest slope of difference on mean (figure: Bland-Altman)",
        abs(float(worst["slope"])),
        context.guide("proportional"),
        f"Raters {worst['first']} and {worst['second']}: slope "
        f"{digits.number(float(worst['slope']))}, {digits.p_clause(float(worst['slope_p']))}.",
        "Give limits that change with the score, or limits on logarithms.",
        chance=chance,
    )


def _normal_differences(result: Agreement, context: Context) -> Check:
    wide = result.scores.pivot(index="item", columns="rater", values="score")
    skews, ps = [], []
    for row in result.limits.itertuples():
        gap = (wide[row.first] - wide[row.second]).dropna().to_numpy()
        if len(gap) > 7 and np.ptp(gap) > 0:
            skews.append(abs(float(stats.skew(gap, bias=False))))
            ps.append(float(stats.skewtest(gap).pvalue))
    return judged(
        "differences between raters are roughly normal",
        "largest skewness of the differences of a pair",
        max(skews, default=np.nan),
        context.guide("skewness"),
        "" if skews else "Not judged: no pair shares eight items whose differences vary.",
        "Read the limits as percentiles of the differences instead.",
        chance=min(1.0, min(ps) * len(ps)) if ps else None,
    )


def _prevalence(result: Agreement, context: Context) -> Check:
    worst = result.pairs.loc[result.pairs["prevalence"].idxmax()]
    rows = result.estimates.set_index("term")
    remedy = None
    if context.remedies and "Gwet's AC1" in rows.index:
        row = _applying(result)
        after = _conclusion(rows.loc["Gwet's AC1"], "AC1")
        step = Step("AC1, which a rare category does not pull down", (after,), decides=False)
        remedy = Remedy((_conclusion(row),), (step,))
    return judged(
        "no category is so rare that kappa collapses",
        "prevalence index",
        float(worst["prevalence"]),
        context.guide("prevalence"),
        f"Raters {worst['first']} and {worst['second']} agree on "
        f"{digits.percent(float(worst['agreement']))} with kappa "
        f"{digits.number(float(worst['kappa']))}.",
        "Report percentage agreement and AC1 beside kappa.",
        remedy=remedy,
    )


def _bias(result: Agreement, context: Context) -> Check:
    worst = result.pairs.loc[result.pairs["bias"].idxmax()]
    return judged(
        "raters use the categories equally often",
        "bias index",
        float(worst["bias"]),
        context.guide("rater_bias"),
        f"Raters {worst['first']} and {worst['second']}; largest kappa their margins allow "
        f"{digits.number(float(worst['kappa_maximum']))}.",
        "Calibrate the raters on common clips.",
    )


_DRIFT = (
    "no rater drifts over the clips",
    "half the largest change from first to last clip, in SDs between clips (figure)",
)


def _drift(result: Agreement, context: Context) -> Check:
    """How far drift moves early against late clips; without an order nothing can be said."""
    guide, advice = context.guide("drift"), "Rate again in another order; calibrate half-way."
    own = result.drift
    if len(own) and (own["basis"] == AGAINST_BASIS).any():
        against = own[own["basis"] == AGAINST_BASIS]
        own = against if against["change"].notna().any() else own
    if not len(own) or not own["change"].notna().any():
        ordered = result.recipe.options["order"]
        why = "too few clips are in order" if ordered else "no column tells their order"
        finding = f"Not judged: {why}."
        return judged(
            *_DRIFT, np.nan, guide, finding, "Keep the order in which each rater saw the clips."
        )
    worst = own.loc[own["change"].abs().idxmax()]
    spread = float(result.scores.groupby("item")["score"].mean().std(ddof=1))
    return judged(
        *_DRIFT,
        abs(float(worst["change"])) / 2 / spread if spread > 0 else np.nan,
        guide,
        f"Rater {worst['rater']}: change {digits.number(float(worst['change']))} "
        f"({digits.interval(worst['change_low'], worst['change_high'])}); groups or tests that "
        "were rated early and late would differ by half of it.",
        advice,
        chance=min(1.0, float(worst["p"]) * len(own)),
        estimated=True,
    )


def _double_rated(result: Agreement, context: Context) -> Check:
    raters = result.scores.groupby("item")["rater"].nunique()
    share = float((raters >= 2).mean())
    return judged(
        "enough items are rated twice",
        "share of items with two raters or more",
        share,
        context.guide("double_rated"),
        f"{result.recipe.n} items with two raters.",
        "Let a second rater score at least a fifth of the clips, drawn at random.",
    )
