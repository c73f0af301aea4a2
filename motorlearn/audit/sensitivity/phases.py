"""Variants of the comparison of groups at one test."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn import digits
from motorlearn.audit.comparison.binomial import marginal_conclusions
from motorlearn.audit.comparison.consequences import rate_under_spread
from motorlearn.audit.comparison.groups import studentised
from motorlearn.audit.comparison.phase_model import PhaseModel
from motorlearn.audit.comparison.resampled import bootstrapped, imputed, permuted
from motorlearn.audit.guides import GUIDES
from motorlearn.audit.report import SELDOM, Conclusion
from motorlearn.audit.sensitivity.leave_one_out import most_telling_removal, without_one
from motorlearn.compare import PhaseComparison
from motorlearn.exceptions import FitError
from motorlearn.rows import Schema
from motorlearn.tables import Column

ORIGINAL = "as analysed"
OUTLIER = 3.0
"""Studentised residual beyond which a participant is flagged (common practice, no source)."""
SHIFTED = Schema(
    (
        Column("contrast"),
        Column("shift", "shift in residual SD", "number"),
        Column("estimate", kind="significant"),
        Column("conf_low", "lower", "significant"),
        Column("conf_high", "upper", "significant"),
        Column("p", "p", "p"),
    )
)
TIPPING = Schema(
    (
        Column("contrast"),
        Column("missing", kind="count"),
        Column("shift", "shift in residual SD", "number"),
        Column("shift_in_unit", "shift in the scale of the analysis", "significant"),
        Column("null", kind="number"),
    ),
    ("contrast", "missing", "shift", "shift_in_unit"),
)
_SHIFTS = np.linspace(-4, 4, 81)


@dataclass(frozen=True)
class Variant:
    """Another way to the same conclusion; without conclusions where it was not run.

    Attributes
    ----------
    name : str
        What was done otherwise.
    n : int
        Participants, or rows of a mixed model.
    conclusions : tuple of Conclusion
        One for each contrast of the original.
    note : str
        What a reader must know, or why it was not run.
    pooled : bool
        Whether it takes one variance for all groups.
    """

    name: str
    n: int
    conclusions: tuple[Conclusion, ...] = ()
    note: str = ""
    pooled: bool = False


@dataclass(frozen=True)
class Allocation:
    """Where labels could have fallen otherwise: blocks of participants, and that in words."""

    blocks: NDArray[Any] | None
    words: str
    by_lot: bool = True


def phase_variants(
    model: PhaseModel,
    removed: pd.DataFrame,
    allocation: Allocation,
    keepers: NDArray[np.bool_] | None,
    permutations: int,
    seed: int,
) -> list[Variant]:
    """Run every variant of one test."""
    worst, note = most_telling_removal(model.conclusions(), removed, model.unit)
    fewer, pooled = len(model.complete.y) - 1, not model.by_group
    found = [
        *_variants(model, seed),
        _protocol(model, keepers),
        _permutation(model, allocation, permutations, seed),
        Variant(without_one(model.unit), fewer, worst, note, pooled),
    ]
    return _warned(found, model, seed) if pooled else found


def _warned(variants: list[Variant], model: PhaseModel, seed: int) -> list[Variant]:
    """Say where one variance for all groups moves the rate of false positives too far."""
    rate, size = rate_under_spread(model, seed), GUIDES["size"]
    if size.grade(rate.highest) != "act" or rate.chance_high >= SELDOM:
        return variants
    words = (
        "one variance for all groups, which with these spreads rejects in about "
        f"{digits.percent(rate.highest)} where nothing is there"
    )
    return [
        replace(one, note="; ".join(filter(None, (one.note, words)))) if one.pooled else one
        for one in variants
    ]


def _variants(model: PhaseModel, seed: int) -> Iterator[Variant]:
    n = len(model.complete.y)
    pooled = not model.by_group
    yield Variant(ORIGINAL, n, model.conclusions(), pooled=pooled)
    if model.positive:
        other = model.rescaled()
        yield Variant("logarithms" if other.ratio else "raw scores", n, other.conclusions())
    if model.adjusted:
        if not model.by_group:
            apart = model.conclusions(covariance="by group")
            yield Variant("a variance for each group", n, apart)
        plain = replace(model, adjusted=False, more=None)
        yield Variant("not adjusted for the baseline", len(plain.complete.y), plain.conclusions())
    drawn = bootstrapped(model, resamples=1999, seed=seed)
    yield Variant("residuals resampled", n, drawn, "studentised, within groups, 1999 resamples")
    yield _without_outliers(model)
    lost = model.participants[~model.used]
    if model.adjusted and np.isfinite(model.x[~model.used]).any():
        filled = tuple(imputed(model, pair, np.zeros(1), seed=seed)[0] for pair in model.pairs)
        note = f"{len(lost)} missing"
        yield Variant("missing scores imputed", n + len(lost), filled, note, pooled)


def _without_outliers(model: PhaseModel) -> Variant:
    name, whole = "without flagged outliers", model.complete
    flagged = np.abs(studentised(model.fit())) > OUTLIER
    pooled = not model.by_group
    if not flagged.any():
        return Variant(
            name, len(whole.y), model.conclusions(), f"no {model.unit} is beyond 3 SD", pooled
        )
    kept = whole.subset(~flagged)
    names = ", ".join(str(one) for one in whole.participants[flagged])
    return Variant(name, len(kept.y), kept.conclusions(), f"without {names}", pooled)


def _protocol(model: PhaseModel, keepers: NDArray[np.bool_] | None) -> Variant:
    if keepers is None:
        return Variant("per protocol", 0, note="not run: nothing says who kept to the protocol")
    kept = model.subset(keepers)
    left = int((~keepers & model.used).sum())
    return Variant("per protocol", len(kept.complete.y), kept.conclusions(), f"{left} left out")


def _permutation(
    model: PhaseModel, allocation: Allocation, permutations: int, seed: int
) -> Variant:
    if not allocation.by_lot:
        return Variant("permutation test", 0, note=allocation.words)
    found = permuted(model, blocks=allocation.blocks, permutations=permutations, seed=seed)
    note = f"{permutations} permutations, {allocation.words}"
    return Variant("permutation test", len(model.complete.y), found, note)


def tipping_points(model: PhaseModel, seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Find the smallest shift of missing scores that changes each conclusion.

    Missing scores of the first group of a contrast (of the second where only it lacks scores) are
    imputed from the baseline and moved by up to four residual standard deviations either way, with
    the same draws for every shift. A contrast of groups that lack nobody has no row.
    """
    missing = (~model.used) & (np.isfinite(model.x) if model.adjusted else True)
    if not missing.any() or not model.adjusted:
        return SHIFTED.frame(), TIPPING.frame()
    paths, tips = [], []
    sd = float(np.sqrt(model.fit().variance))
    for pair, before in zip(model.pairs, model.conclusions()):
        moved = model.moved(pair, missing)
        if not moved.any():
            continue
        shifts = _SHIFTS * np.sign(moved.sum())
        found = imputed(model, pair, _SHIFTS * sd, seed=seed)
        paths += [
            SHIFTED.row(
                contrast=before.label, shift=shift, estimate=c.estimate, conf_low=c.conf_low,
                conf_high=c.conf_high, p=c.p,
            )
            for shift, c in zip(shifts, found)
        ]  # fmt: skip
        changed = [shift for shift, c in zip(shifts, found) if c.direction != before.direction]
        tip = min(changed, key=abs) if changed else np.nan
        count = int((moved != 0).sum())
        tips.append(
            TIPPING.row(contrast=before.label, missing=count, shift=tip, shift_in_unit=tip * sd,
                        null=before.null)
        )  # fmt: skip
    return SHIFTED.frame(paths), TIPPING.frame(tips)


BY_EQUATIONS = "odds of hits by estimating equations"


def hit_variants(result: PhaseComparison, model: PhaseModel) -> list[Variant]:
    """Odds ratios of hits beside differences of rates; none where the outcome is no rate.

    Where classes and not people were allocated there is none either.
    """
    if not model.counted or model.unit != "participant":
        return []
    try:
        found = marginal_conclusions(result, model)
    except FitError as problem:
        return [Variant(BY_EQUATIONS, 0, note=f"not run: {problem}")]
    note = "GEE, covariance corrected for few people (Mancl and DeRouen); another scale"
    return [Variant(BY_EQUATIONS, len(model.complete.y), found, note)]
