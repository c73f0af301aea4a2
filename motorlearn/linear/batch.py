"""The same comparison in many studies at once, for power by simulation."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.linear.least_squares import Floats


@dataclass(frozen=True)
class BatchContrast:
    """One contrast of group means in many studies.

    Parameters
    ----------
    estimate, std_error, df, p : array (studies,)
        The contrast with its two-sided p; NaN where a study cannot carry it.
    n : array (studies,)
        Participants used.
    """

    estimate: Floats
    std_error: Floats
    df: Floats
    p: Floats
    n: NDArray[np.int64]


def ancova_batch(
    outcome: ArrayLike,
    codes: ArrayLike,
    covariate: ArrayLike | None = None,
    *,
    weights: ArrayLike | None = None,
) -> BatchContrast:
    """Contrast of (adjusted) group means in many studies at once.

    With group means ȳ, x̄ and the pooled slope within groups b = Sxy / Sxx, the contrast is
    ``Σ c_g (ȳ_g - b x̄_g)`` with variance ``s² (Σ c_g²/n_g + (Σ c_g x̄_g)² / Sxx)`` on
    n - groups - 1 degrees of freedom. Without a covariate it is that of the pooled variance on
    n - groups.

    Parameters
    ----------
    outcome : array (studies, participants)
        Scores; NaN where a participant is missing.
    codes : array of int (participants,) or (studies, participants)
        Group of each participant.
    covariate : array (studies, participants), optional
        Baseline; participants without one are left out.
    weights : array (groups,), optional
        Contrast weights; by default the second group minus the first of two.

    Raises
    ------
    InputError
        If shapes disagree or the weights do not sum to zero.

    Examples
    --------
    >>> y = np.array([[2.0, 3.1, 3.9, 3.1, 3.9, 6.0]])
    >>> x = np.array([[1.0, 2.0, 3.0, 1.0, 2.0, 4.0]])
    >>> result = ancova_batch(y, np.array([0, 0, 0, 1, 1, 1]), x)
    >>> result.estimate.round(4).tolist(), result.df.tolist()
    ([1.01], [3.0])
    """
    y = np.atleast_2d(np.asarray(outcome, dtype=float))
    group = np.asarray(codes)
    x = None if covariate is None else np.atleast_2d(np.asarray(covariate, dtype=float))
    c = _weights(group, weights)
    if group.shape not in (y.shape, y.shape[1:]) or (x is not None and x.shape != y.shape):
        raise InputError(
            "outcome, groups and covariate disagree in shape",
            [y.shape, group.shape, None if x is None else x.shape],
        )
    present = ~np.isnan(y) if x is None else ~(np.isnan(y) | np.isnan(x))
    members = np.stack([(group == g) & present for g in range(c.size)])
    n_g = members.sum(axis=2)
    y_mean, y_away = _centre(y, members, n_g)
    sse = np.einsum("ij,ij->i", y_away, y_away)
    estimate, factor = c @ y_mean, (c**2) @ _inverse(n_g)
    if x is not None:
        x_mean, x_away = _centre(x, members, n_g)
        sxx = np.einsum("ij,ij->i", x_away, x_away)
        sxx = np.where(sxx > 0, sxx, np.nan)
        sxy = np.einsum("ij,ij->i", x_away, y_away)
        slope = sxy / sxx
        sse, estimate = sse - slope * sxy, estimate - slope * (c @ x_mean)
        factor = factor + (c @ x_mean) ** 2 / sxx
    return _finish(estimate, sse, factor, n_g, int(x is not None))


def _finish(
    estimate: Floats, sse: Floats, factor: Floats, n_g: NDArray[np.int64], covariates: int
) -> BatchContrast:
    n = n_g.sum(axis=0)
    df = (n - len(n_g) - covariates).astype(float)
    df = np.where((df > 0) & (n_g > 0).all(axis=0), df, np.nan)
    error = np.sqrt(np.maximum(sse, 0.0) / df * factor)
    error = np.where(error > 0, error, np.nan)
    p = 2 * stats.t.sf(np.abs(estimate / error), df)
    return BatchContrast(np.where(np.isnan(df), np.nan, estimate), error, df, p, n)


def _weights(group: NDArray, weights: ArrayLike | None) -> Floats:
    groups = int(group.max()) + 1
    if weights is None:
        if groups != 2:
            raise InputError(
                "without weights the contrast is that of two groups", [groups], "give 'weights'"
            )
        return np.array([-1.0, 1.0])
    c = np.asarray(weights, dtype=float)
    if c.size < groups or abs(c.sum()) > 1e-9:
        raise InputError("a contrast needs one weight per group, and they sum to zero", c.tolist())
    return c


def _inverse(n_g: NDArray[np.int64]) -> Floats:
    return np.where(n_g > 0, 1.0 / np.maximum(n_g, 1), np.nan)


def _centre(
    values: Floats, members: NDArray[np.bool_], n_g: NDArray[np.int64]
) -> tuple[Floats, Floats]:
    filled = np.where(members.any(axis=0), np.nan_to_num(values), 0.0)
    means = np.einsum("gij,ij->gi", members, filled) / np.maximum(n_g, 1)
    away = filled - np.einsum("gij,gi->ij", members, means)
    return means, away
