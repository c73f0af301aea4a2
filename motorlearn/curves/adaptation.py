"""Adaptation to a perturbation by states that learn from error: one rate, or a fast and a slow one.

Trials may be under the perturbation, without it (washout), or in a channel that holds the error at
a value, mostly 0 (error clamp).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import least_squares
from scipy.special import expit, logit

from motorlearn.curves.options import check_level, check_seed, whole
from motorlearn.curves.single.rows import as_numbers, check_size
from motorlearn.curves.status import information_criteria
from motorlearn.exceptions import InputError
from motorlearn.linear.hypotheses import t_quantile
from motorlearn.results import Recipe, Result
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table

TERMS = {
    1: ("retention", "learning"),
    2: ("retention_fast", "learning_fast", "retention_slow", "learning_slow"),
}
STARTS = 24
LARGEST_LEARNING = 1.0
LARGEST_ERROR = 1.5
"""Standard error, on the logit scale, above which a term has no interval."""

ROWS = Schema(
    (
        Column("term"),
        Column("estimate", kind="number"),
        Column("std_error", "standard error", kind="number"),
        Column("conf_low", "lower", kind="number"),
        Column("conf_high", "upper", kind="number"),
    )
)


@dataclass(frozen=True)
class Adaptation(Result):
    """States of adaptation.

    ``estimates``: ``retention`` (share of a state that is left at the next trial) and
    ``learning`` (share of the error that a state takes up), of the one state or of the fast and
    the slow one. ``states`` has a row per trial: ``trial, fast, slow, total, error`` (with one
    rate ``fast`` is missing). ``status`` is ``ok``, or says that the two rates are not told apart
    or that the search did not settle; then only what is known has limits.
    """

    estimates: Any
    states: Any
    status: str
    rates: int
    sse: float
    loglik: float
    aicc: float
    bic: float
    n: int
    warnings: tuple[str, ...] = ()
    recipe: Recipe = field(default_factory=lambda: Recipe("fit_adaptation"), repr=False)

    def tables(self) -> Sequence[Table]:
        """Retention and learning."""
        title = f"Adaptation with {'one rate' if self.rates == 1 else 'two rates'}, {self.n} trials"
        notes = (f"Status: {self.status}.", *self.warnings)
        return (ROWS.table("adaptation", title, self.estimates, notes),)


STATES = Schema(
    (
        Column("trial", kind="count"),
        Column("fast", kind="number"),
        Column("slow", kind="number"),
        Column("total", kind="number"),
        Column("error", kind="number"),
    )
)


def simulate_adaptation(
    perturbation: ArrayLike,
    *,
    retention: Sequence[float],
    learning: Sequence[float],
    clamp: ArrayLike | None = None,
) -> np.ndarray:
    r"""Give the states of adaptation along trials, shape (trials, states).

    .. math:: x_k(t + 1) = a_k x_k(t) + b_k e(t), \qquad e(t) = p(t) - \sum_k x_k(t)

    and :math:`e(t)` is the clamped error where ``clamp`` is not missing.

    Parameters
    ----------
    perturbation : array of float
        Perturbation of each trial; 0 in washout.
    retention, learning : sequence of float
        :math:`a_k` and :math:`b_k` of each state.
    clamp : array of float, optional
        Error that a trial was clamped to, missing (NaN) where it was free.

    Raises
    ------
    InputError
        For values that cannot be used.

    Examples
    --------
    >>> simulate_adaptation([1.0, 1.0, 0.0], retention=[0.9], learning=[0.2]).ravel().round(3)
    array([0.  , 0.2 , 0.34])
    """
    p, held = _trials(perturbation, clamp)
    a, b = as_numbers(retention, "retention"), as_numbers(learning, "learning")
    if a.shape != b.shape or a.ndim != 1 or not len(a) or not np.all(np.isfinite([a, b])):
        raise InputError("retention and learning need a number for each state", [a, b])
    return _states(p, held, a, b)


def _trials(perturbation: ArrayLike, clamp: ArrayLike | None) -> tuple[np.ndarray, np.ndarray]:
    p = as_numbers(perturbation, "the perturbation")
    if p.ndim != 1 or not np.all(np.isfinite(p)):
        raise InputError(
            "the perturbation is missing or infinite in some trials", p[~np.isfinite(p)]
        )
    check_size(p, "the perturbation: numbers")
    held = np.full(p.shape, np.nan) if clamp is None else as_numbers(clamp, "the clamp")
    if held.shape != p.shape or np.isinf(held).any():
        raise InputError("clamp and perturbation differ in length or are infinite", [held.shape])
    return p, held


def _states(p: np.ndarray, held: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """States of every trial; plain numbers are faster here than small arrays."""
    now, rows = [0.0] * len(a), []
    pairs = list(zip(a.tolist(), b.tolist()))
    for push, clamped in zip(p.tolist(), held.tolist()):
        rows.append(now)
        error = push - sum(now) if clamped != clamped else clamped
        now = [keep * state + take * error for (keep, take), state in zip(pairs, now)]
    return np.array(rows)


def fit_adaptation(
    perturbation: ArrayLike,
    adaptation: ArrayLike,
    *,
    clamp: ArrayLike | None = None,
    rates: int = 2,
    level: float = 0.95,
    seed: int = 0,
) -> Adaptation:
    r"""Fit one or two states that learn from error to the adaptation of a learner or a group mean.

    The model of :func:`simulate_adaptation` with normal noise of the measured adaptation, by least
    squares from many starts. Two rates show in trials that tell them apart: after a short reversal,
    error-clamp trials in which the adaptation comes back by itself (spontaneous recovery).

    Parameters
    ----------
    perturbation : array of float
        Perturbation of each trial in order; 0 in washout.
    adaptation : array of float
        Measured adaptation in the same unit, missing where it was not measured.
    clamp : array of float, optional
        Error that a trial was clamped to (0 for an error clamp), missing where it was free.
    rates : {1, 2}
        Number of states.
    level : float
        Confidence level.
    seed : int
        Seed of the starts of the search.

    Returns
    -------
    Adaptation

    Raises
    ------
    InputError
        For fewer than twice as many measured trials as terms, or values that cannot be used.

    References
    ----------
    Smith, M. A., Ghazizadeh, A., & Shadmehr, R. (2006). Interacting adaptive processes with
    different timescales underlie short-term motor learning. PLoS Biology, 4, e179.
    https://doi.org/10.1371/journal.pbio.0040179

    Examples
    --------
    >>> push = np.r_[np.ones(60), -np.ones(8), np.zeros(40)]
    >>> clamp = np.r_[np.full(68, np.nan), np.zeros(40)]
    >>> truth = simulate_adaptation(push, retention=[0.6, 0.99], learning=[0.2, 0.02], clamp=clamp)
    >>> found = fit_adaptation(push, truth.sum(axis=1), clamp=clamp)
    >>> found.estimates["estimate"].round(2).tolist()
    [0.6, 0.2, 0.99, 0.02]
    """
    if not whole(rates) or rates not in TERMS:
        raise InputError("adaptation has one or two rates", [rates])
    level = check_level(level)
    p, held = _trials(perturbation, clamp)
    y = as_numbers(adaptation, "the adaptation")
    check_size(y, "the adaptation: numbers")
    if y.shape != p.shape or np.isinf(y).any():
        raise InputError("perturbation and adaptation differ in length", [p.shape, y.shape])
    used, count = np.isfinite(y), 2 * rates
    if used.sum() < 2 * count or not (np.any(p) or np.any(np.nan_to_num(held))):
        raise InputError(
            f"{rates} rates need {2 * count} measured trials at least, and a perturbation",
            [int(used.sum())],
        )
    best, agreeing = _search(p, held, y, used, rates, check_seed(seed))
    return _told(_Trials(p, held, y, used), rates, best, agreeing, level, seed)


def _natural(point: np.ndarray, rates: int) -> tuple[np.ndarray, np.ndarray]:
    """Retention and learning of each state, the fast one first."""
    if rates == 1:
        return expit(point[:1]), LARGEST_LEARNING * expit(point[1:])
    slow, kept = expit(point[2]), expit(point[0])
    taken = LARGEST_LEARNING * expit(point[1])
    return np.array([slow * kept, slow]), np.array([taken, taken * expit(point[3])])


def _search(
    p: np.ndarray, held: np.ndarray, y: np.ndarray, used: np.ndarray, rates: int, seed: int | None
) -> tuple[Any, int]:
    def left(point: np.ndarray) -> np.ndarray:
        found: np.ndarray = (_states(p, held, *_natural(point, rates)).sum(axis=1) - y)[used]
        return found

    rng = np.random.default_rng(seed)
    middle = np.array([3.0, -2.0]) if rates == 1 else np.array([0.5, -1.0, 4.5, -2.0])
    starts = middle + np.r_[np.zeros((1, 2 * rates)), rng.normal(0, 1.2, (STARTS, 2 * rates))]
    rough = sorted(starts, key=lambda point: float(np.sum(left(point) ** 2)))[:6]
    found = [
        least_squares(left, start, bounds=(-12, 12), xtol=1e-12, ftol=1e-12, gtol=1e-12)
        for start in rough
    ]
    best = min(found, key=lambda one: float(one.cost))
    near = best.cost * (1 + 1e-5) + 1e-12 * float(y[used] @ y[used])
    return best, sum(one.cost <= near for one in found)


@dataclass(frozen=True)
class _Trials:
    """Perturbation, clamped errors, measured adaptation, and which trials were measured."""

    p: np.ndarray
    held: np.ndarray
    y: np.ndarray
    used: np.ndarray


def _told(
    trials: _Trials, rates: int, best: Any, agreeing: int, level: float, seed: int
) -> Adaptation:
    n, sse = int(trials.used.sum()), float(2 * best.cost)
    df = n - 2 * rates
    estimates, known = _limits(best, rates, sse / df, df, level)
    stuck = bool(np.any(np.abs(best.x) > 11.9))
    apart = rates == 1 or bool(known.all())
    status = "ok" if apart and not stuck else "rates not told apart"
    status = status if best.success and agreeing > 1 else "not settled"
    loglik = -0.5 * n * (np.log(2 * np.pi * max(sse, 1e-300) / n) + 1)
    aicc, bic = information_criteria(loglik, n, 2 * rates + 1)
    recipe = Recipe(
        "fit_adaptation",
        {},
        {"rates": rates, "level": level},
        n,
        seed=seed,
        engine="least squares from several starts",
        converged=status != "not settled",
        message=f"{agreeing} of 6 searches ended at this optimum.",
    )
    return Adaptation(
        ROWS.frame(estimates),
        _trial_rows(trials, _states(trials.p, trials.held, *_natural(best.x, rates))),
        status,
        rates,
        sse,
        float(loglik),
        float(aicc),
        float(bic),
        n,
        recipe=recipe,
    )


def _trial_rows(trials: _Trials, x: np.ndarray) -> Any:
    """States and error of every trial."""
    total = x.sum(axis=1)
    error = np.where(np.isnan(trials.held), trials.p - total, trials.held)
    several = x.shape[1] > 1
    rows = [
        STATES.row(
            trial=t + 1,
            fast=x[t, 0] if several else np.nan,
            slow=x[t, -1],
            total=total[t],
            error=error[t],
        )
        for t in range(len(total))
    ]
    return STATES.frame(rows)


def _limits(
    best: Any, rates: int, variance: float, df: int, level: float
) -> tuple[list[dict[str, Any]], np.ndarray]:
    """Estimates with limits on the logit scale of each term; missing where nothing is known."""
    jacobian, point = best.jac, best.x

    def natural(at: np.ndarray) -> np.ndarray:
        a, b = _natural(at, rates)
        return np.stack([a, b], axis=1).ravel()

    try:
        cover = variance * np.linalg.inv(jacobian.T @ jacobian)
    except np.linalg.LinAlgError:
        cover = np.full((len(point),) * 2, np.inf)
    values = natural(point)
    steps = 1e-6 * np.eye(len(point))
    slope = np.array([(natural(point + h) - natural(point - h)) / 2e-6 for h in steps]).T
    with np.errstate(invalid="ignore"):
        error = np.sqrt(np.maximum(np.diag(slope @ cover @ slope.T), 0))
    inside = np.clip(values, 1e-12, 1 - 1e-12)
    wide = error / (inside * (1 - inside))
    known = np.isfinite(wide) & (wide < LARGEST_ERROR)
    half = float(t_quantile(level, df)) * wide
    rows = []
    for k, term in enumerate(TERMS[rates]):
        low, high = expit(logit(inside[k]) - half[k]), expit(logit(inside[k]) + half[k])
        rows.append(
            ROWS.row(
                term=term,
                estimate=values[k],
                std_error=error[k] if known[k] else np.nan,
                conf_low=low if known[k] else np.nan,
                conf_high=high if known[k] else np.nan,
            )
        )
    return rows, known
