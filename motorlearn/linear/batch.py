"""The same comparison in many studies at once, for power by simulation."""

from dataclasses import dataclass
from typing import Any

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
    variance: str = "equal",
) -> BatchContrast:
    """Contrast of (adjusted) group means in many studies at once.

    With group means ȳ, x̄ and the pooled slope within groups b = Sxy / Sxx, the contrast is
    ``Σ c_g (ȳ_g - b x̄_g)`` with variance ``s² (Σ c_g²/n_g + (Σ c_g x̄_g)² / Sxx)`` on
    n - groups - 1 degrees of freedom. Without a covariate it is that of the pooled variance on
    n - groups. With a variance for each group the standard error and Satterthwaite's degrees of
    freedom are those of :func:`motorlearn.linear.by_group.estimate_by_group`; without a covariate
    that is Welch's t.

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
    variance : {"equal", "by group"}
        One residual variance, or one for each group.

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
    c = _weights(np.asarray(codes), weights)
    y, x, members = _arranged(outcome, codes, covariate, c.size)
    n_g = members.sum(axis=2)
    y_mean, y_away = _centre(y, members, n_g)
    estimate, residual = c @ y_mean, y_away
    shares, lost = c[:, None] ** 2 * _inverse(n_g), np.ones(n_g.shape)
    if x is not None:
        x_mean, x_away = _centre(x, members, n_g)
        by_group = np.einsum("gij,ij->gi", members, x_away**2)
        sxx = by_group.sum(axis=0)
        sxx = np.where(sxx > 0, sxx, np.nan)
        slope = np.einsum("ij,ij->i", x_away, y_away) / sxx
        residual = y_away - slope[:, None] * x_away
        estimate = estimate - slope * (c @ x_mean)
        shares = shares + (c @ x_mean / sxx) ** 2 * by_group
        lost = lost + by_group / sxx
    squares = np.einsum("gij,ij->gi", members, residual**2)
    if variance == "by group":
        return _finish_by_group(estimate, squares, shares, (n_g, lost))
    return _finish(estimate, squares.sum(axis=0), shares.sum(axis=0), n_g, int(x is not None))


def ancova_joint_batch(
    outcome: ArrayLike, codes: ArrayLike, covariate: ArrayLike | None = None
) -> tuple[Floats, Floats, Floats]:
    """F test that all groups are alike, adjusted for a covariate, in many studies at once.

    Every group's mean less that of the first is zero; arguments are those of
    :func:`ancova_batch`, one residual variance.

    Returns
    -------
    f, df, p : array (studies,)
        F, its residual degrees of freedom and p; NaN where a study cannot carry it.

    Examples
    --------
    >>> y = np.array([[2.0, 3.1, 3.9, 3.1, 3.9, 6.0]])
    >>> x = np.array([[1.0, 2.0, 3.0, 1.0, 2.0, 4.0]])
    >>> codes = np.array([0, 0, 0, 1, 1, 1])
    >>> f, df, p = ancova_joint_batch(y, codes, x)
    >>> round(float(p[0]), 8) == round(float(ancova_batch(y, codes, x).p[0]), 8)
    True
    """
    identity = np.eye(int(np.max(codes)) + 1)
    return ancova_hypothesis_batch(outcome, codes, identity[1:] - identity[0], covariate)


def ancova_hypothesis_batch(
    outcome: ArrayLike, codes: ArrayLike, rows: ArrayLike, covariate: ArrayLike | None = None
) -> tuple[Floats, Floats, Floats]:
    """F test that combinations of the group means are zero, in many studies at once.

    With L the rows, m the (adjusted) means and V their variance over that of the residuals,
    ``F = (L m)' (L V L')⁻¹ (L m) / (r s²)``; the other arguments are those of
    :func:`ancova_batch`, one residual variance.

    Parameters
    ----------
    rows : array (r, groups)
        Weights of the groups, each row summing to zero.

    Returns
    -------
    f, df, p : array (studies,)
        F, its residual degrees of freedom and p; NaN where a study cannot carry it.

    Examples
    --------
    >>> y = np.array([[2.0, 3.1, 3.9, 3.1, 3.9, 6.0, 2.2, 5.0, 4.1]])
    >>> codes = np.repeat([0, 1, 2], 3)
    >>> f, df, p = ancova_hypothesis_batch(y, codes, [[-1, 1, 0], [-1, 0, 1]])
    >>> bool(np.isclose(p[0], ancova_joint_batch(y, codes)[2][0]))
    True
    """
    hypothesis = np.atleast_2d(np.asarray(rows, dtype=float))
    y, x, members = _arranged(outcome, codes, covariate, hypothesis.shape[1])
    n_g = members.sum(axis=2)
    inner = _residual_squares(y, x, members)
    df = n_g.sum(axis=0) - len(n_g) - float(x is not None)
    usable = (df > 0) & (n_g > 0).all(axis=0) & (inner > 0)
    means, y_away = _centre(y, members, n_g)
    away = hypothesis @ np.where(usable, means, 0.0)
    spread = np.einsum("rg,gs,qg->srq", hypothesis, 1 / np.maximum(n_g, 1), hypothesis)
    if x is not None:
        x_means, x_away = _centre(x, members, n_g)
        sxx = np.einsum("ij,ij->i", x_away, x_away)
        usable &= sxx > 0
        safe = np.where(usable, sxx, 1.0)
        moved = hypothesis @ np.where(usable, x_means, 0.0)
        away = away - np.einsum("ij,ij->i", x_away, y_away) / safe * moved
        spread = spread + np.einsum("rs,qs->srq", moved, moved) / safe[:, None, None]
    spread[~usable] = np.eye(len(hypothesis))
    squares = np.einsum("rs,sr->s", away, np.linalg.solve(spread, away.T[:, :, None])[:, :, 0])
    df = np.where(usable, df, np.nan)
    f = squares / len(hypothesis) / (np.where(usable, inner, np.nan) / df)
    return f, df, np.where(usable, stats.f.sf(f, len(hypothesis), df), np.nan)


def _arranged(
    outcome: ArrayLike, codes: ArrayLike, covariate: ArrayLike | None, groups: int
) -> tuple[Floats, Floats | None, NDArray[np.bool_]]:
    """Outcome and covariate by study, and who is in which group with nothing missing."""
    y, group = np.atleast_2d(np.asarray(outcome, dtype=float)), np.asarray(codes)
    x = None if covariate is None else np.atleast_2d(np.asarray(covariate, dtype=float))
    if group.shape not in (y.shape, y.shape[1:]) or (x is not None and x.shape != y.shape):
        raise InputError(
            "outcome, groups and covariate disagree in shape",
            [y.shape, group.shape, None if x is None else x.shape],
        )
    present = ~np.isnan(y) if x is None else ~(np.isnan(y) | np.isnan(x))
    return y, x, np.stack([(group == g) & present for g in range(groups)])


def _residual_squares(y: Floats, x: Floats | None, members: NDArray[np.bool_]) -> Floats:
    n_g = members.sum(axis=2)
    _, y_away = _centre(y, members, n_g)
    squares: Floats = np.einsum("ij,ij->i", y_away, y_away)
    if x is None:
        return squares
    _, x_away = _centre(x, members, n_g)
    sxx = np.einsum("ij,ij->i", x_away, x_away)
    sxy = np.einsum("ij,ij->i", x_away, y_away)
    found: Floats = squares - sxy**2 / np.where(sxx > 0, sxx, np.nan)
    return found


def _finish_by_group(
    estimate: Floats,
    squares: Floats,
    shares: Floats,
    counted: tuple[NDArray[np.int64], Floats],
) -> BatchContrast:
    n_g, lost = counted
    freedom = n_g - lost
    used = shares > 1e-14 * shares.sum(axis=0)
    known = ((freedom > 1e-8) | ~used).all(axis=0) & (n_g > 0).all(axis=0)
    safe = np.where(freedom > 1e-8, freedom, 1.0)
    parts = np.where(used, shares * squares / safe, 0.0)
    spread = np.where(known, parts.sum(axis=0), np.nan)
    spread = np.where(spread > 0, spread, np.nan)
    df = spread**2 / np.sum(parts**2 / safe, axis=0)
    error = np.sqrt(spread)
    p = 2 * stats.t.sf(np.abs(estimate / error), df)
    return BatchContrast(np.where(known, estimate, np.nan), error, df, p, n_g.sum(axis=0))


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


def _weights(group: NDArray[Any], weights: ArrayLike | None) -> Floats:
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
