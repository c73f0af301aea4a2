"""Variants of the comparison of groups at one test."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.audit.comparison.groups import studentised
from motorlearn.audit.comparison.phase_model import PhaseModel, bootstrapped, imputed, permuted
from motorlearn.audit.report import Conclusion
from motorlearn.audit.sensitivity.leave_one_out import most_telling_removal

ORIGINAL = "as analysed"
OUTLIER = 3.0
"""Studentised residual beyond which a participant is flagged (common practice, no source)."""
SHIFT_COLUMNS = ("contrast", "shift", "estimate", "conf_low", "conf_high", "p")
TIPPING_COLUMNS = ("contrast", "missing", "shift", "shift_in_unit", "null")
_SHIFTS = np.linspace(-4, 4, 81)

Row = tuple[str, int, tuple[Conclusion, ...], str]
"""Name of a variant, participants or rows in it, its conclusions, a note."""


@dataclass(frozen=True)
class Allocation:
    """Where labels could have fallen otherwise: blocks of participants, and that in words."""

    blocks: NDArray[Any] | None
    words: str
    by_lot: bool = True


def phase_rows(
    model: PhaseModel,
    removed: pd.DataFrame,
    allocation: Allocation,
    keepers: NDArray[np.bool_] | None,
    permutations: int,
    seed: int,
) -> list[Row]:
    """Run every variant of one test."""
    rows = [*_variants(model, seed), *_protocol(model, keepers)]
    rows += _permutation(model, allocation, permutations, seed)
    worst, note = most_telling_removal(model.conclusions(), removed)
    rows.append(
        ("without the participant who matters most", len(model.complete.y) - 1, worst, note)
    )
    return rows


def _variants(model: PhaseModel, seed: int) -> Iterator[Row]:
    n = len(model.complete.y)
    yield ORIGINAL, n, model.conclusions(), ""
    if model.positive:
        other = model.rescaled()
        yield "logarithms" if other.ratio else "raw scores", n, other.conclusions(), ""
    if model.adjusted:
        yield "HC3 standard errors", n, model.conclusions(covariance="HC3"), ""
        plain = replace(model, adjusted=False)
        yield "not adjusted for the baseline", len(plain.complete.y), plain.conclusions(), ""
    drawn = bootstrapped(model, resamples=2000, seed=seed)
    yield "participants resampled", n, drawn, "percentile interval, 2000 resamples"
    whole = model.complete
    flagged = np.abs(studentised(model.fit())) > OUTLIER
    if flagged.any():
        kept = whole.subset(~flagged)
        names = ", ".join(str(name) for name in whole.participants[flagged])
        yield "without flagged outliers", len(kept.y), kept.conclusions(), f"without {names}"
    else:
        yield "without flagged outliers", n, model.conclusions(), "nobody is beyond 3 SD"
    lost = model.participants[~model.used]
    if model.adjusted and np.isfinite(model.x[~model.used]).any():
        filled = tuple(imputed(model, pair, np.zeros(1), seed=seed)[0] for pair in model.pairs)
        yield "missing scores imputed", n + len(lost), filled, f"{len(lost)} missing"


def _protocol(model: PhaseModel, keepers: NDArray[np.bool_] | None) -> list[Row]:
    if keepers is None:
        return [("per protocol", 0, (), "not run: nothing says who kept to the protocol")]
    kept = model.subset(keepers)
    left = int((~keepers & model.used).sum())
    return [("per protocol", len(kept.complete.y), kept.conclusions(), f"{left} left out")]


def _permutation(
    model: PhaseModel, allocation: Allocation, permutations: int, seed: int
) -> list[Row]:
    if not allocation.by_lot:
        return [("permutation test", 0, (), allocation.words)]
    found = permuted(model, blocks=allocation.blocks, permutations=permutations, seed=seed)
    note = f"{permutations} permutations, {allocation.words}"
    return [("permutation test", len(model.complete.y), found, note)]


def tipping_points(model: PhaseModel, seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Find the smallest shift of missing scores that changes each conclusion.

    Missing scores of the first group of a contrast are imputed from the baseline and moved by up
    to four residual standard deviations either way, with the same draws for every shift.
    """
    missing = (~model.used) & (np.isfinite(model.x) if model.adjusted else True)
    paths, tips = [], []
    if not missing.any() or not model.adjusted:
        return pd.DataFrame(columns=list(SHIFT_COLUMNS)), pd.DataFrame(
            columns=list(TIPPING_COLUMNS)
        )
    sd = float(np.sqrt(model.fit().variance))
    for pair, before in zip(model.pairs, model.conclusions()):
        found = imputed(model, pair, _SHIFTS * sd, seed=seed)
        paths += [
            (before.label, shift, c.estimate, c.conf_low, c.conf_high, c.p)
            for shift, c in zip(_SHIFTS, found)
        ]
        changed = [shift for shift, c in zip(_SHIFTS, found) if c.direction != before.direction]
        tip = min(changed, key=abs) if changed else np.nan
        count = int((missing & (model.codes == pair[0])).sum())
        tips.append((before.label, count, tip, tip * sd, before.null))
    return (
        pd.DataFrame(paths, columns=list(SHIFT_COLUMNS)),
        pd.DataFrame(tips, columns=list(TIPPING_COLUMNS)),
    )
