"""Boundaries of a group sequential test: how much of the error rate each look may spend."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from motorlearn.exceptions import InputError

Floats = NDArray[np.float64]
SPENDING = ("obrien-fleming", "pocock")
_FARTHEST = 8.0
_POINTS = 801


@dataclass(frozen=True)
class Boundaries:
    """Critical values of a two-sided group sequential test.

    Parameters
    ----------
    fractions : array (looks,)
        Information fraction at each look.
    spent : array (looks,)
        Error rate spent up to each look.
    z : array (looks,)
        Critical value of the standard normal statistic.
    p : array (looks,)
        Nominal two-sided level at each look; a test of few people is held against it by its own p.
    """

    fractions: Floats
    spent: Floats
    z: Floats
    p: Floats


def spent_by(fraction: Sequence[float] | Floats, *, spending: str, level: float = 0.05) -> Floats:
    """Error rate that may be spent by an information fraction.

    With the two-sided level ``a`` and the fraction ``t``, O'Brien and Fleming's type spends
    ``4 (1 - Φ(z_(a/4) / √t))``, Pocock's type ``a ln(1 + (e - 1) t)``: half of it on either side,
    each side by the function of Lan and DeMets at ``a / 2``.

    Parameters
    ----------
    fraction : array (looks,)
        Information fractions from 0 to 1.
    spending : {"obrien-fleming", "pocock"}
        The spending function.
    level : float
        Two-sided error rate of all looks together.

    References
    ----------
    Lan, K. K. G., & DeMets, D. L. (1983). Discrete sequential boundaries for clinical trials.
    Biometrika, 70, 659-663. https://doi.org/10.1093/biomet/70.3.659

    Examples
    --------
    >>> spent_by([0.5, 1.0], spending="obrien-fleming").round(5).tolist()
    [0.00305, 0.05]
    """
    if spending not in SPENDING:
        remedy = f"use {' or '.join(map(repr, SPENDING))}"
        raise InputError("there is no such spending function", [spending], remedy)
    if not 0 < level < 1:
        raise InputError("the error rate lies between 0 and 1", [level], "use for example 0.05")
    t = np.asarray(fraction, dtype=float)
    if spending == "pocock":
        return np.asarray(level * np.log1p((np.e - 1) * t))
    with np.errstate(divide="ignore"):
        away = -special.ndtri(level / 4) / np.sqrt(t)
    return np.asarray(4 * special.ndtr(-away))


def interim_boundaries(
    fractions: Sequence[float] | Floats,
    *,
    spending: str = "obrien-fleming",
    level: float = 0.05,
    spent: Sequence[float] | Floats | None = None,
) -> Boundaries:
    """Critical values at each look of a two-sided group sequential test.

    The statistics ``z_k`` of the looks are normal with correlation ``√(t_j / t_k)``. The value at a
    look is the one beyond which, not having stopped before, the share ``spent_k - spent_(k-1)``
    falls, half on either side. The density of ``z √t`` among those that went on is carried from
    look to look by numerical integration (Armitage, McPherson and Rowe).

    Parameters
    ----------
    fractions : sequence of float
        Information at each look, rising; as a share of the planned information.
    spending : {"obrien-fleming", "pocock"}
        The spending function.
    level : float
        Two-sided error rate of all looks together.
    spent : sequence of float, optional
        Error rate spent up to each look, instead of what the function allows: where the last look
        has fewer people than planned and spends all that is left.

    Raises
    ------
    InputError
        If fractions do not rise from above 0, or what is spent falls or exceeds the level.

    References
    ----------
    Lan, K. K. G., & DeMets, D. L. (1983). Biometrika, 70, 659-663.
    https://doi.org/10.1093/biomet/70.3.659
    Armitage, P., McPherson, C. K., & Rowe, B. C. (1969). Repeated significance tests on
    accumulating data. Journal of the Royal Statistical Society A, 132, 235-244.
    https://doi.org/10.2307/2343787

    Examples
    --------
    >>> interim_boundaries([0.5, 1.0]).z.round(3).tolist()
    [2.963, 1.969]
    """
    t = np.asarray(fractions, dtype=float).ravel()
    if not t.size or not np.isfinite(t).all() or t[0] <= 0 or (np.diff(t) <= 0).any():
        raise InputError("information fractions rise from above 0", list(fractions))
    known = spent_by(np.minimum(t, 1.0), spending=spending, level=level)
    used = known if spent is None else np.asarray(spent, dtype=float)
    if used.shape != t.shape or (np.diff(used, prepend=0.0) < 0).any() or used[-1] > level + 1e-12:
        raise InputError("what the looks spend rises to the level at most", list(used))
    z = _critical(t, np.diff(used, prepend=0.0) / 2)
    return Boundaries(t, used, z, np.asarray(2 * special.ndtr(-z)))


def _critical(t: Floats, tails: Floats) -> Floats:
    """Critical values by carrying the density of those that went on from look to look."""
    values = np.empty(len(t))
    places: Floats = np.zeros(1)
    weights: Floats = np.ones(1)
    before = 0.0
    for k, (now, tail) in enumerate(zip(t, tails, strict=True)):
        step = float(np.sqrt(now - before))
        values[k] = edge = _edge(places, weights, step, float(tail), float(np.sqrt(now)))
        end = edge * np.sqrt(now)
        grid = np.linspace(-end, end, _POINTS)
        simpson = np.full(_POINTS, 2.0)
        simpson[1::2], simpson[[0, -1]] = 4.0, 1.0
        away = (grid[:, None] - places) / step
        density = np.exp(-(away**2) / 2) @ weights / (step * np.sqrt(2 * np.pi))
        places, weights, before = grid, density * simpson * (grid[1] - grid[0]) / 3, float(now)
    return values


def _edge(places: Floats, weights: Floats, step: float, tail: float, root: float) -> float:
    """Value beyond which the wanted share of those that went on falls on one side."""

    def beyond(z: float) -> float:
        return float(special.ndtr((places - z * root) / step) @ weights) - tail

    if tail <= 0 or beyond(_FARTHEST) >= 0:
        return _FARTHEST
    return float(optimize.brentq(beyond, 0.0, _FARTHEST, xtol=1e-10))
