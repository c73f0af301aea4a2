"""A smooth curve that only falls or only rises, without a form: a check of every form."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import BSpline
from scipy.optimize import nnls

from motorlearn.curves.batch.one_batch import Batch, fit_batch
from motorlearn.curves.chance import NoiseSeen, noise_in_words, noise_seen
from motorlearn.curves.forms import Form, named_form
from motorlearn.curves.options import check_first, check_seed, check_simulations, finite
from motorlearn.curves.single.problem import Problem
from motorlearn.curves.single.rows import as_numbers, check_counts, usable_rows
from motorlearn.curves.single.solving import solve
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Result
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table

DEGREE, PIECES = 3, 6
"""Degree of the pieces, and how many there are along the logarithm of practice."""

ROWS = Schema((Column("curve"), Column("squares", "squares left", "number")))


@dataclass(frozen=True)
class MonotoneCurve(Result):
    """A monotone smooth curve through the scores of one learner, and how far a form is from it.

    ``statistic`` is the share of the form's squares that the monotone curve explains beyond it;
    ``p`` the share of simulated curves of that form in which it explains as much. A small p says
    that the form bends elsewhere than the scores do. ``fitted`` and ``form_fitted`` are both
    curves at the rows; ``noise`` the correlation of neighbouring scores and the power of practice
    with which their SD goes, as simulated.
    """

    table: Any
    statistic: float
    p: float
    form: str
    falls: bool
    n: int
    practice: np.ndarray = field(repr=False)
    outcome: np.ndarray = field(repr=False)
    fitted: np.ndarray = field(repr=False)
    form_fitted: np.ndarray = field(repr=False)
    weights: np.ndarray = field(repr=False)
    ends: tuple[float, float] = field(repr=False)
    noise: Mapping[str, float]
    warnings: tuple[str, ...] = ()
    recipe: Recipe = field(default_factory=lambda: Recipe("fit_monotone"), repr=False)

    def predict(self, practice: ArrayLike) -> np.ndarray:
        """Height of the monotone curve; beyond the practice seen it goes on level."""
        n = as_numbers(practice, "practice")
        found: np.ndarray = _basis(np.atleast_1d(n), self.ends, self.falls) @ self.weights
        return found

    def tables(self) -> Sequence[Table]:
        """Squares left by both curves."""
        title = f"Monotone curve against the {self.form} form, {self.n} scores: p = {self.p:.3f}"
        notes = (noise_in_words(self.noise), *self.warnings)
        return (ROWS.table("monotone", title, self.table, notes),)


def fit_monotone(
    practice: ArrayLike,
    outcome: ArrayLike,
    *,
    form: str = "exponential",
    first: float = 1.0,
    simulations: int = 499,
    seed: int = 0,
) -> MonotoneCurve:
    r"""Fit a curve that is monotone and smooth but has no form, and test a form against it.

    .. math:: y(n) = c_0 + \sum_k c_k I_k(\log n), \qquad c_k \ge 0 \text{ (or all} \le 0)

    with cubic I-splines, by non-negative least squares. Whether it falls or rises is what fits
    better. The form is then tested by simulation: curves of the fitted form with normal noise
    whose neighbours and spread are as in these scores (``noise``) are fitted anew by both, and p is
    the share in which the monotone curve explains as large a share of what the form left.

    Parameters
    ----------
    practice, outcome : array of float
        Practice counts above 0 and scores of one learner.
    form : str
        The form to test.
    first : float
        Practice count of the first trial.
    simulations, seed : int
        Simulated curves and the seed of their random numbers.

    Returns
    -------
    MonotoneCurve

    Raises
    ------
    InputError
        For hits, fewer than ten practice counts, or rows that cannot be used.

    References
    ----------
    Ramsay, J. O. (1988). Monotone regression splines in action. Statistical Science, 3, 425-441.
    https://doi.org/10.1214/ss/1177012761

    Examples
    --------
    >>> trial = np.arange(1, 61)
    >>> error = 20 + 15 * np.exp(-0.1 * trial) + np.random.default_rng(1).normal(size=60)
    >>> found = fit_monotone(trial, error, simulations=99)
    >>> found.falls, found.p > 0.05
    (True, True)
    """
    chosen, first = named_form(form), check_first(first)
    simulations, _ = check_simulations(simulations, least=99)
    rows = usable_rows(practice, outcome, repeated="allow")
    if rows.binomial:
        raise InputError("a monotone curve is fitted to scores", ["hits"], "give block means")
    if len(np.unique(rows.n)) < 10 or np.ptp(rows.y) == 0:
        raise InputError(
            "a monotone curve needs ten practice counts and scores that are not all the same",
            [len(np.unique(rows.n))],
        )
    if rows.n.min() <= 0:
        raise InputError("practice counts must be above 0", rows.n[rows.n <= 0])
    check_counts(chosen, rows.n, first)
    both = _Both(chosen, rows.n, first)
    falls, weights, squares = both.monotone(rows.y)
    line, left = both.formed(rows.y)
    drawn, noise = both.by_chance(rows.y, line, left, simulations, check_seed(seed))
    statistic = 1 - squares / max(left, 1e-300)
    options = {"form": chosen.name, "first": finite(first, "first"), "simulations": simulations}
    table = ROWS.frame(
        [ROWS.row(curve="monotone", squares=squares), ROWS.row(curve=chosen.name, squares=left)]
    )
    return MonotoneCurve(
        table,
        float(statistic),
        float((1 + np.sum(drawn >= statistic)) / (1 + simulations)),
        chosen.name,
        falls,
        len(rows.y),
        rows.n,
        rows.y,
        both.bases[falls] @ weights,
        line,
        weights,
        both.ends,
        noise.terms,
        rows.warnings,
        Recipe("fit_monotone", {}, options, len(rows.y), seed=seed, engine="I-splines, nnls"),
    )


def _basis(n: np.ndarray, ends: tuple[float, float], falls: bool) -> np.ndarray:
    """A level in both signs, and I-splines of the logarithm of practice from 0 to 1."""
    x = np.log(np.clip(n, *ends))
    low, high = np.log(ends)
    inner = np.linspace(low, high, PIECES + 1)
    knots = np.r_[[low] * DEGREE, inner, [high] * DEGREE]
    columns = []
    for k in range(len(knots) - DEGREE - 1):
        bump = BSpline(knots, np.eye(len(knots) - DEGREE - 1)[k], DEGREE).antiderivative()
        columns.append(bump(x) / bump(high))
    rising = np.stack(columns, axis=1)
    one = np.ones((len(n), 1))
    return np.hstack([one, -one, -rising if falls else rising])


@dataclass(frozen=True)
class _Both:
    """A form and the monotone curves that are fitted to the same rows."""

    form: Form
    n: np.ndarray
    first: float

    @property
    def ends(self) -> tuple[float, float]:
        """First and last practice count."""
        return float(self.n.min()), float(self.n.max())

    @cached_property
    def bases(self) -> dict[bool, np.ndarray]:
        """Columns of curves that fall and of those that rise."""
        return {falls: _basis(self.n, self.ends, falls) for falls in (True, False)}

    def monotone(self, y: np.ndarray) -> tuple[bool, np.ndarray, float]:
        """Direction, weights and squares left of the better monotone curve."""
        found = {falls: nnls(basis, y) for falls, basis in self.bases.items()}
        falls = min(found, key=lambda way: found[way][1])
        return falls, found[falls][0], float(found[falls][1] ** 2)

    def residuals(self, y: np.ndarray) -> np.ndarray:
        """What the monotone curve leaves of scores (scores, samples)."""
        found = [self.monotone(column) for column in y.T]
        left: np.ndarray = y - np.stack([self.bases[way] @ w for way, w, _ in found], axis=1)
        return left

    def formed(self, y: np.ndarray) -> tuple[np.ndarray, float]:
        """The best curve of the form, and squares left."""
        problem = Problem(self.form, self.n, y, np.ones(len(y)), False, self.first)
        solution = solve(problem)
        return problem.predictor(solution.theta, solution.coefficients), 2 * solution.loss

    def shares(self, y: np.ndarray) -> np.ndarray:
        """Share of the form's squares that the monotone curve explains (samples, scores)."""
        ends = len(self.n) * np.arange(1, len(y) + 1)
        batch = Batch(ends, np.tile(self.n, len(y)), y.ravel(), None, binomial=False)
        squares = fit_batch(batch, [self.form.name], self.first)["sse"][:, 0]
        free = np.array([self.monotone(row)[2] for row in y])
        found: np.ndarray = 1 - free / np.maximum(squares, 1e-300)
        return found

    def by_chance(
        self, y: np.ndarray, line: np.ndarray, left: float, simulations: int, seed: int | None
    ) -> tuple[np.ndarray, NoiseSeen]:
        """Shares in simulated curves of the form, and the noise that was put on them."""
        sd = np.sqrt(left / max(len(line) - 2 - len(self.form.rates), 1))
        rng = np.random.default_rng(seed)
        noise = noise_seen(
            self.n,
            self.residuals(y[:, None])[:, 0],
            lambda drawn: self.residuals(line[:, None] + sd * drawn),
            rng,
        )
        return self.shares(line + sd * noise.draws(simulations, rng).T), noise
