"""Which tests or blocks differ, and along which curve: pairs and polynomial trends over groups."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pandas as pd

from motorlearn.compare.between import NO_ESTIMATE, Comparing, within
from motorlearn.compare.schemas import POSTHOC, TRENDS
from motorlearn.linear.hypotheses import Estimate, f_test, t_estimate
from motorlearn.linear.least_squares import Floats
from motorlearn.linear.multiplicity import holm
from motorlearn.rows import Row

TREND_NAMES = ("linear", "quadratic", "cubic")
"""Trends that are tested, as far as there are phases for them."""


def all_pairs(comparing: Comparing) -> pd.DataFrame:
    """Every later phase against every earlier one, averaged over the groups.

    The difference of each complete participant is averaged within groups and then over groups with
    equal weight, so that each pair has a standard error of its own, of the pooled variance of these
    differences within groups; p is corrected by Holm's method over all pairs. No sphericity is
    assumed.
    """
    values, codes = _complete(comparing)
    rows = []
    for first, second in combinations(range(values.shape[1]), 2):
        change = values[:, second] - values[:, first]
        told = comparing.told(_mean_over_groups(change, codes, comparing.level))
        places = {"from_phase": first, "to_phase": second}
        named = {name: comparing.data.phases[place] for name, place in places.items()}
        rows.append(POSTHOC.row(**named, effect=comparing.effect, n=len(values), **told))
    frame = POSTHOC.frame(rows)
    return frame.assign(p_adjusted=holm(frame["p"].to_numpy(dtype=float)))


def trends(comparing: Comparing, places: Sequence[float] | None = None) -> pd.DataFrame:
    """Polynomial trends over the phases, averaged over groups, and whether groups differ in one.

    Each participant's scores are multiplied with orthonormal polynomials of the places (equally
    spaced unless given), in the unit of the scores; averaging is that of :func:`all_pairs`. The F
    test compares the groups in that trend.
    """
    values, codes = _complete(comparing)
    size = values.shape[1]
    at = np.arange(size, dtype=float) if places is None else np.asarray(places, dtype=float)
    rows = []
    for power, name in enumerate(TREND_NAMES[: size - 1], start=1):
        score = values @ orthonormal(at)[:, power]
        told = _mean_over_groups(score, codes, comparing.level)
        kept = {field: getattr(told, field) for field in TRENDS.names if hasattr(told, field)}
        rows.append(TRENDS.row(trend=name, n=len(values), **kept, **_between(score, codes)))
    return TRENDS.frame(rows)


def orthonormal(places: Floats) -> Floats:
    """Orthonormal polynomials of some places, one column for each power.

    Examples
    --------
    >>> orthonormal(np.arange(2.0)).round(3).tolist()
    [[0.707, -0.707], [0.707, 0.707]]
    """
    powers = np.vander(places - places.mean(), increasing=True)
    basis, scale = np.linalg.qr(powers)
    return np.asarray(basis * np.sign(np.diag(scale)))


def _complete(comparing: Comparing) -> tuple[Floats, np.ndarray]:
    whole = ~np.isnan(comparing.values).any(axis=1)
    return comparing.values[whole], comparing.data.codes[whole]


def _mean_over_groups(score: Floats, codes: np.ndarray, level: float) -> Estimate:
    """Mean of the groups' means with the pooled variance within groups."""
    if not len(score):
        return NO_ESTIMATE
    parts = _parts(score, codes)
    squares, df = within(parts)
    weight = sum(1 / part.size for part in parts) / len(parts) ** 2
    error = np.sqrt(squares / df * weight) if df > 0 else np.nan
    mean = float(np.mean([part.mean() for part in parts]))
    return t_estimate(mean, float(error), df, level=level)


def _parts(score: Floats, codes: np.ndarray) -> list[Floats]:
    return [score[codes == code] for code in np.unique(codes)]


def _between(score: Floats, codes: np.ndarray) -> Row:
    """F test of the groups' means of a trend."""
    parts = _parts(score, codes)
    squares, df = within(parts)
    if len(parts) < 2 or not (df > 0 and squares > 0):
        return {}
    together, _ = within([score])
    test = f_test(together - squares, len(parts) - 1, squares, df)
    return {"f_groups": test.statistic, "df1": test.df1, "df2": test.df2, "p_groups": test.p}
