"""What a population curve can claim, and what is therefore missing from its table."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from motorlearn.curves.population.arrays import Scale
from motorlearn.curves.population.layout import AMOUNT, RATE, Layout
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.population.maximum import PopulationFit
from motorlearn.curves.population.rivals import Asked
from motorlearn.curves.status import (
    CURVE,
    ERRORS,
    FLAT,
    KEPT,
    STATUSES,
    grade,
    losses,
)

FIRM_ERROR, FIRM_GAIN, FIRM_PROGRESS = 0.1, 8.0, 2.0
"""SE of a log rate, gain in standard errors and progress with which no rival need be asked."""


@dataclass(frozen=True)
class Claim:
    """Status, the code of what is missing, and the level of each group without change."""

    status: str
    lost: int
    levels: np.ndarray


def claim_of(data: Learners, fit: PopulationFit) -> Claim:
    """Judge a population curve."""
    inside = data.used > 0
    rate = np.exp(fit.layout.cells(fit.summit.point)[:, RATE])
    ends = np.array([data.n[inside].min(), data.n[inside].max()])
    there = dressed(data, fit)
    drop = [there.log_basis(ends, value) for value in rate]
    progress = float(min(both[0] - both[1] for both in drop))
    low, high = data.form.bounds(np.unique(data.n[inside]))[0]
    firm = _firm(fit, progress)
    with np.errstate(all="ignore"):
        asked = Asked(there, fit.layout, fit.summit.loglik)
        flat, line, step = (False,) * 3 if firm else asked.verdicts()
    code = grade(
        enough=True,
        flat=flat,
        at_bound=bool(np.any((rate <= 10 * low) | (rate >= high))),
        progress=progress,
        asymptote_error=0.0,
        change=1.0,
        open_shape=line or step or not fit.agree,
    )
    lost = int(losses(code, progress=progress, line_open=line, step=False))
    means = [float(np.mean(data.y[(data.group == k)[:, None] & inside])) for k in _groups(fit)]
    return Claim(STATUSES[int(code)], lost, np.array(means))


def dressed(data: Learners, fit: PopulationFit) -> Learners:
    """The learners with what they have in common at the maximum."""
    if data.common is None:
        return data
    return data.common.dressed(data, fit.layout.common(fit.summit.point))


def _groups(fit: PopulationFit) -> range:
    return range(fit.layout.groups)


def _firm(fit: PopulationFit, progress: float) -> bool:
    """Whether the rate is known so well that a line, a step or no change are out of the question.

    With one learner more or less that may not hold, so it is asked with a wide margin.
    """
    if fit.layout.groups > 1 or not fit.agree or progress < FIRM_PROGRESS:
        return False
    errors = np.sqrt(np.maximum(np.diag(fit.covariance)[:3], 0))
    gain = abs(fit.summit.point[AMOUNT]) / max(errors[AMOUNT], 1e-300)
    return bool(errors[RATE] < FIRM_ERROR and gain > FIRM_GAIN and progress < 50)


def without_what_is_lost(
    frame: pd.DataFrame, claim: Claim, layout: Layout, scale: Scale, *, start: bool
) -> pd.DataFrame:
    """Estimates with what the claim takes away missing."""
    if claim.lost == KEPT:
        return frame
    columns = [name for name in frame.columns if name not in ("term", "df")]
    # The start is known even where asymptote and gain are not.
    kept = np.array([start and row == AMOUNT for row in layout.rows], bool)
    if claim.lost == ERRORS:
        frame.loc[:, [name for name in columns if name != "estimate"]] = np.nan
    if claim.lost == CURVE:
        frame.loc[~kept, columns] = np.nan
    if claim.lost == FLAT:
        frame.loc[:, columns] = np.nan
        level = claim.levels * scale.unit + scale.middle
        terms = frame["term"].tolist()
        at = [terms.index("asymptote") + k for k in range(len(level))]
        frame.loc[at, "estimate"] = [level[0], *(level[1:] - level[0])]
    return frame
