"""Level, trend, variability of each phase; overlap and neighbours of each case."""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn.compare.single_case.records import Record
from motorlearn.compare.single_case.result import ESTIMATES, NEIGHBOURS, PHASES, SESSIONS
from motorlearn.measures.single_case import (
    DependentDifference,
    Neighbours,
    Overlap,
    dependent_difference,
    lag_one,
    nonoverlap,
    tau_u,
)

Names = tuple[str, str]
ALIKE = "all sessions have one score"
NO_SPREAD = "the sessions of a condition do not vary, so no interval is known"


def session_frame(records: list[Record], names: Names) -> pd.DataFrame:
    """One row per case and session that was held."""
    rows = []
    for record in records:
        for at in record.held:
            rows.append(
                SESSIONS.row(
                    case=record.name,
                    session=int(at) + 1,
                    phase=int(record.phases[at]),
                    condition=names[int(record.codes[at])],
                    score=float(record.scores[at]),
                    n_trials=int(record.trials[at]),
                )
            )
    return SESSIONS.frame(rows)


def phase_frame(records: list[Record], names: Names, *, phased: bool) -> pd.DataFrame:
    """Level, trend and variability of every phase, or of every condition of an alternation."""
    return PHASES.frame([row for r in records for row in _phases(r, names, phased)])


def _phases(record: Record, names: Names, phased: bool) -> Iterator[dict[str, Any]]:
    held = record.held
    numbers = record.phases[held] if phased else record.codes[held].astype(int) + 1
    for number in np.unique(numbers):
        mine = held[numbers == number]
        scores, sessions = record.scores[mine], mine + 1
        sloped = len(mine) > 2 and np.ptp(sessions) > 0
        yield PHASES.row(
            case=record.name,
            phase=int(number),
            condition=names[int(record.codes[mine[0]])],
            n=len(mine),
            first=int(sessions[0]),
            last=int(sessions[-1]),
            mean=float(scores.mean()),
            median=float(np.median(scores)),
            slope=float(stats.linregress(sessions, scores).slope) if sloped else np.nan,
            sd=float(scores.std(ddof=1)) if len(mine) > 1 else np.nan,
        )


def neighbours_of(record: Record, *, phased: bool) -> Neighbours:
    """Serial dependence of a case, as its neighbouring sessions show it."""
    scores = record.scores
    if phased:
        return lag_one(scores, record.phases)
    levels = [np.nanmean(scores[record.codes == code]) for code in (0, 1)]
    rest = scores - np.where(record.codes == 1, levels[1], levels[0])
    return lag_one(rest, np.zeros(len(rest), dtype=int))


def differences_of(records: list[Record], *, level: float) -> list[DependentDifference]:
    """Mean B minus mean A of every case, allowing for serial dependence."""
    return [dependent_difference(r.scores, r.codes, level=level) for r in records]


def neighbour_frame(
    records: list[Record], differences: list[DependentDifference], *, phased: bool
) -> pd.DataFrame:
    """Serial dependence of every case."""
    rows = [
        NEIGHBOURS.row(
            case=record.name, inflation=own.inflation, **vars(neighbours_of(record, phased=phased))
        )
        for record, own in zip(records, differences)
    ]
    return NEIGHBOURS.frame(rows)


def estimate_frame(
    records: list[Record],
    differences: list[DependentDifference],
    *,
    phased: bool,
    sign: float,
    level: float,
) -> pd.DataFrame:
    """Difference, NAP and Tau-U of every case, with intervals widened by serial dependence."""
    rows = []
    for record, own in zip(records, differences):
        n_a, n_b = (int((record.codes[record.held] == code).sum()) for code in (0, 1))
        alike = np.ptp(record.scores[record.held]) == 0
        of = {"case": record.name, "n_a": n_a, "n_b": n_b}
        pairs = _pairs(record, sign, phased)
        found = {
            "difference": Overlap(own.estimate, own.conf_low, own.conf_high),
            "NAP": nonoverlap(pairs, level=level, inflation=own.inflation),
        }
        if phased:
            found["Tau-U"] = tau_u(pairs, level=level, inflation=own.inflation)
        for index, value in found.items():
            numbers = {"estimate": value.estimate} if alike else vars(value)
            reason = NO_SPREAD if np.isnan(value.conf_low) else ""
            told = {"reason": ALIKE if alike else reason} if alike or reason else {}
            rows.append(ESTIMATES.row(index=index, **of, **told, **numbers))
    return ESTIMATES.frame(rows)


def _pairs(record: Record, sign: float, phased: bool) -> list[tuple[np.ndarray, np.ndarray]]:
    """Scores of every A and of the B that follows it; of an alternation all A and all B."""
    held = record.held
    scores, codes = sign * record.scores[held], record.codes[held]
    if not phased:
        return [(scores[codes == 0], scores[codes == 1])]
    numbers = record.phases[held]
    kinds = {int(n): codes[numbers == n][0] for n in np.unique(numbers)}
    pairs = [
        (scores[numbers == n], scores[numbers == n + 1])
        for n, code in kinds.items()
        if code == 0 and n + 1 in kinds
    ]
    return pairs or [(scores[codes == 0], scores[codes == 1])]
