"""Differences between conditions, and between periods, from the differences of people."""

from dataclasses import dataclass

import numpy as np

from motorlearn.compare.participants import Codes, Scores
from motorlearn.exceptions import FitError
from motorlearn.linear.coding import sum_columns
from motorlearn.linear.hypotheses import Estimate, estimate_contrast
from motorlearn.linear.least_squares import fit_least_squares


@dataclass(frozen=True)
class Difference:
    """One difference within people.

    Parameters
    ----------
    estimate : Estimate or None
        None where it could not be computed.
    n : int
        People with both scores.
    reason : str
        Why there is no estimate.
    confounded : bool
        Whether the period could not be told from the condition.
    """

    estimate: Estimate | None
    n: int
    reason: str = ""
    confounded: bool = False


def difference(
    away: Scores,
    *,
    nuisance: Scores | None = None,
    sequence: Codes | None = None,
    start: Scores | None = None,
    level: float = 0.95,
) -> Difference:
    """Mean difference within people, with the period, the sequence and the baseline taken out.

    ``d_i = effect + period_i + sequence_i + slope · start_i + e_i`` by least squares. ``period_i``
    is the difference of the periods in which person i met the two conditions, sequences are sum
    coded, so that the effect is that at equal weight of the sequences and at equal baselines.

    Parameters
    ----------
    away : array (people,)
        Score under one condition minus score under the other; NaN where one is missing.
    nuisance : array (people, periods - 1), optional
        Differences of the indicators of the periods.
    sequence : array of int (people,), optional
        Group of each person.
    start : array (people,), optional
        The same difference at the baseline.
    level : float
        Level of the interval.
    """
    known = np.isfinite(away) if start is None else np.isfinite(away) & np.isfinite(start)
    n = int(known.sum())
    if n < 2:
        return Difference(
            None,
            n,
            f"{'only 1' if n else 'no'} participant has scores under both conditions",
        )
    y = away[known]
    columns, confounded = [np.ones(n)], False
    for column in nuisance[known].T if nuisance is not None else ():
        confounded |= not _added(columns, column)
    if sequence is not None and len(np.unique(sequence[known])) > 1:
        codes = np.unique(sequence[known], return_inverse=True)[1]
        for column in sum_columns(codes, int(codes.max()) + 1).T:
            _added(columns, column)
    if start is not None and not _added(columns, start[known]):
        return Difference(
            None, n, "the baselines of the conditions differ by the same in everybody"
        )
    design = np.column_stack(columns)
    left = y - design @ np.linalg.lstsq(design, y, rcond=None)[0]
    if not np.ptp(left) > 1e-12 * np.abs(y).max():
        return Difference(None, n, "everybody differs by the same amount")
    try:
        fit = fit_least_squares(design, y)
    except FitError as problem:
        return Difference(None, n, str(problem))
    found = estimate_contrast(fit, np.eye(design.shape[1])[0], level=level)
    return Difference(found, n, confounded=confounded)


def indicators(first: Codes, second: Codes, count: int) -> Scores:
    """Differences of the indicators of two codes, the first level left out."""
    unit = np.vstack([np.eye(count), np.zeros(count)])
    return np.asarray((unit[first] - unit[second])[:, 1:])


def _added(columns: list[Scores], column: Scores) -> bool:
    """Add a column where it is no combination of those there are; a column of zeros is none."""
    wider = np.column_stack([*columns, column])
    if np.linalg.matrix_rank(wider) <= len(columns):
        return not column.any()
    columns.append(column)
    return True
