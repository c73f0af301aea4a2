"""Assumptions where classes were allocated as a whole: how many there are, and what they cost."""

from collections.abc import Iterator

import numpy as np

from motorlearn import digits
from motorlearn.audit.context import Context
from motorlearn.audit.report import Check, judged
from motorlearn.compare import PhaseComparison


def cluster_checks(result: PhaseComparison, context: Context) -> Iterator[Check]:
    """Give the checks of a comparison of class means; none where people were allocated."""
    if result.clusters.empty:
        return
    unit = result.recipe.options["unit"]
    counts = result.scores.groupby("group")["participant"].nunique()
    told = ", ".join(f"{group} {counts.get(group, 0)}" for group in result.recipe.options["groups"])
    yield judged(
        "there are enough allocated classes",
        "fewest classes in a group",
        float(counts.min()),
        context.guide("few clusters"),
        f"Allocated as a whole ({unit}): {told}. Intervals and p values hold for class "
        "means of about one spread that are roughly normal; so few of them cannot show either.",
        "Describe what was seen; allocate more of them, not more people in each.",
    )
    row = result.clusters.iloc[-1]
    phase = context.name_of(row["phase"])
    yield judged(
        "people of one class resemble one another",
        f"design effect at {phase}",
        float(row["design_effect"]) if np.isfinite(row["design_effect"]) else 1.0,
        context.guide("design effect"),
        f"ICC {digits.number(row['icc'])} [{digits.number(row['icc_low'])}, "
        f"{digits.number(row['icc_high'])}], {row['smallest']} to {row['largest']} people in a "
        f"{unit}: {row['people']} people count as about {digits.number(row['counts_as'], 0)}; a "
        f"5 % test of people would reject in about {digits.percent(row['false_positives'])} of "
        "studies without a difference. Class means were compared.",
        "Nothing: the unit analysed is the unit allocated.",
    )
