"""A sudden improvement: one jump of the curve, with a test that knows it was searched for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from motorlearn.curves.chance import NoiseSeen, noise_in_words, noise_seen
from motorlearn.curves.forms import Form, named_form
from motorlearn.curves.options import check_first, check_level, check_seed, check_simulations
from motorlearn.curves.single.rows import check_counts, usable_rows
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Result
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table

RATES = 60
"""Rates of the form between its bounds from which the curve may choose."""
EDGE = 3
"""Scores that must lie on either side of a jump."""
BARE = 1e-6
"""Length beyond the smooth curve below which a jump is part of that curve."""
PORTION = 100
NO_JUMP = (
    "No jump beyond what a curve without one shows (5 %): the rows tell where the largest step "
    "would lie, and not that there is one."
)

ROWS = Schema(
    (
        Column("term"),
        Column("estimate", kind="number"),
        Column("conf_low", "lower", kind="number"),
        Column("conf_high", "upper", kind="number"),
    )
)


@dataclass(frozen=True)
class ChangePoint(Result):
    """A jump of the curve of one learner.

    ``estimates``: ``change_point``, the first practice count after the jump, with the range of
    those that are not rejected; ``jump``, what the score rises by there (below 0: it falls), at
    the place where it is largest and so rather too large, without limits; ``before`` and
    ``after``, the curve on both sides of it. ``p`` is simulated: the share of
    curves without a jump in which the best jump improves the fit as much. ``fitted`` holds the
    curve with the jump; ``noise`` the correlation of neighbouring scores and the power of practice
    with which their SD goes, as simulated.
    """

    estimates: Any
    statistic: float
    p: float
    jumps: bool
    form: str
    n: int
    practice: np.ndarray = field(repr=False)
    outcome: np.ndarray = field(repr=False)
    fitted: np.ndarray = field(repr=False)
    noise: Mapping[str, float]
    warnings: tuple[str, ...] = ()
    recipe: Recipe = field(default_factory=lambda: Recipe("find_change_point"), repr=False)

    def tables(self) -> Sequence[Table]:
        """Where the jump is and how large."""
        title = f"Sudden change, {self.n} scores: F = {self.statistic:.2f}, p = {self.p:.3f}"
        notes = () if self.jumps else (NO_JUMP,)
        return (
            ROWS.table(
                "change_point",
                title,
                self.estimates,
                (*notes, noise_in_words(self.noise), *self.warnings),
            ),
        )


@dataclass(frozen=True)
class _Model:
    """Orthonormal columns of the smooth curve for each rate, and the jumps beyond them.

    ``overlap`` are the products of those columns with each jump (rates, jumps, columns), ``length``
    what of a jump lies beyond them, infinite where nothing does.
    """

    smooth: np.ndarray
    overlap: np.ndarray
    length: np.ndarray
    begins: np.ndarray
    places: np.ndarray
    spent: int

    def losses(self, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Squares left without a jump (rates, samples) and with each (rates, jumps, samples)."""
        inside = np.matmul(self.smooth.transpose(0, 2, 1), y)
        plain = np.sum(y**2, axis=0) - np.sum(inside**2, axis=1)
        after = np.cumsum(y[::-1], axis=0)[::-1][self.begins]
        gained = after - np.matmul(self.overlap, inside)
        gained /= self.length[:, :, None]
        gained *= gained
        return plain, plain[:, None, :] - gained

    def best(self, y: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """F of the best jump over the best curve without one, and its rate and place."""
        plain, jumped = self.losses(y)
        flat = jumped.reshape(-1, y.shape[1])
        where = np.argmin(flat, axis=0)
        least = np.maximum(flat[where, np.arange(y.shape[1])], 1e-300)
        found = (plain.min(axis=0) - least) / 2 / (least / self.spare(y))
        return found, *np.unravel_index(where, jumped.shape[:2])

    def spare(self, y: np.ndarray) -> int:
        """Residual degrees of freedom with a jump."""
        return max(len(y) - self.spent - 2, 1)

    def jump(self, rate: Any, place: Any) -> np.ndarray:
        """What of some jumps lies beyond the curve, of length 1; scores in the last axis."""
        steps = np.arange(self.smooth.shape[1]) >= self.begins[place][..., None]
        inside = np.einsum("...nk,...k->...n", self.smooth[rate], self.overlap[rate, place])
        found: np.ndarray = (steps - inside) / self.length[rate, place][..., None]
        return found

    def residuals(self, y: np.ndarray) -> np.ndarray:
        """What the best curve with a jump leaves of each sample."""
        _, rate, place = self.best(y)
        found: np.ndarray = y - _projected(self.smooth[rate], self.jump(rate, place), y.T).T
        return found


def _projected(smooth: np.ndarray, jump: np.ndarray, y: np.ndarray) -> np.ndarray:
    """The curve with a jump through scores, which are the last axis."""
    inside = np.einsum("...nk,...n->...k", smooth, y)
    along = np.einsum("...nk,...k->...n", smooth, inside)
    found: np.ndarray = along + jump * np.sum(jump * y, axis=-1, keepdims=True)
    return found


def find_change_point(
    practice: ArrayLike,
    outcome: ArrayLike,
    *,
    form: str = "exponential",
    first: float = 1.0,
    simulations: int = 999,
    seed: int = 0,
    level: float = 0.95,
) -> ChangePoint:
    r"""Look for one sudden change in the scores of a learner, beside a smooth curve.

    .. math:: y(n) = A + G f(n; r) + J \cdot 1(n \ge c)

    The place :math:`c` is searched over all practice counts with three scores on either side. A
    search finds a jump in any noise, so that the F of the best one has no F distribution; its p
    is the share of curves without a jump, simulated from the best of them, in which the search
    finds as much. Neighbouring scores of simulated curves are as much alike as these scores are
    beside their best curve with a jump, and their SD changes as much with practice: without that,
    learners whose scores resemble their neighbours (.4) were said to jump in 42 % of 60 curves.
    How often the test errs stands on the page of error rates.

    Parameters
    ----------
    practice, outcome : array of float
        Practice counts and scores of one learner, neighbours being neighbours in practice.
    form : str
        ``exponential`` or ``power``, or ``level`` for a jump between two levels.
    first : float
        Practice count of the first trial.
    simulations, seed : int
        Simulated curves and the seed of their random numbers.
    level : float
        Confidence level of the range of change points.

    Returns
    -------
    ChangePoint

    Raises
    ------
    InputError
        For hits, fewer than ten scores, or rows that cannot be used.

    References
    ----------
    Andrews, D. W. K. (1993). Tests for parameter instability and structural change with unknown
    change point. Econometrica, 61, 821-856. https://doi.org/10.2307/2951764

    Examples
    --------
    >>> trial = np.arange(1, 41)
    >>> error = 30 - 8.0 * (trial >= 21) + np.random.default_rng(2).normal(size=40)
    >>> found = find_change_point(trial, error, form="level", simulations=199)
    >>> float(found.estimates.loc[0, "estimate"]), found.p
    (21.0, 0.005)
    """
    chosen = None if isinstance(form, str) and form == "level" else named_form(form)
    if chosen is not None and len(chosen.rates) != 1:
        raise InputError("a change point is searched beside a curve of one rate", [form])
    level, first = check_level(level), check_first(first)
    simulations, _ = check_simulations(simulations, least=99)
    rows = usable_rows(practice, outcome, repeated="allow")
    if rows.binomial:
        raise InputError("a change point is searched in scores", ["hits"], "give block means")
    if len(rows.y) < 10 or np.ptp(rows.y) == 0:
        raise InputError("a change point needs ten scores that are not all the same", [len(rows.y)])
    if chosen is not None:
        check_counts(chosen, rows.n, first)
    order = np.argsort(rows.n, kind="stable")
    n, y = rows.n[order], rows.y[order]
    model = _model(chosen, n, first)
    rng = np.random.default_rng(check_seed(seed))
    found = _tested(model, n, y - y.mean(), simulations, rng)
    estimates, fitted = _estimates(model, n, y, found, rng, simulations, level)
    options = {"form": form, "first": first, "simulations": simulations, "level": level}
    return ChangePoint(
        ROWS.frame(estimates),
        found.statistic,
        found.p,
        found.p < 0.05,
        form,
        len(y),
        n,
        y,
        fitted,
        found.noise.terms,
        rows.warnings,
        Recipe("find_change_point", {}, options, len(y), seed=seed, engine="search over places"),
    )


@dataclass(frozen=True)
class _Tested:
    """The best jump, its p, and the noise with which p was simulated."""

    statistic: float
    p: float
    rate: int
    place: int
    noise: NoiseSeen


def _model(form: Form | None, n: np.ndarray, first: float) -> _Model:
    counts = np.unique(n)
    places = np.array([c for c in counts if np.sum(n < c) >= EDGE and np.sum(n >= c) >= EDGE])
    if not len(places):
        raise InputError("there is no place with three scores on either side", [len(n)])
    one = np.ones(len(n))
    if form is None:
        designs = [one[:, None]]
    else:
        low, high = np.log(form.bounds(counts)[0])
        rates = np.exp(np.linspace(low + 0.3 * (high - low), high, RATES))
        logs = [form.log_basis(n, [rate], first) for rate in rates]
        designs = [np.stack([one, np.exp(part - part.max())], axis=1) for part in logs]
    smooth = np.array([np.linalg.qr(design)[0] for design in designs])
    steps = (n[None, :] >= places[:, None]).astype(float)
    overlap = np.matmul(steps, smooth)
    length = np.sqrt(np.maximum(steps.sum(axis=1) - np.sum(overlap**2, axis=2), 0))
    length = np.where(length > BARE, length, np.inf)
    spent = 1 if form is None else 3
    return _Model(smooth, overlap, length, np.searchsorted(n, places), places, spent)


def _tested(
    model: _Model, n: np.ndarray, y: np.ndarray, simulations: int, rng: np.random.Generator
) -> _Tested:
    """The best jump against curves without one, with noise like that of these scores."""
    plain, _ = model.losses(y[:, None])
    smooth = model.smooth[int(np.argmin(plain[:, 0]))]
    fitted = (smooth @ (smooth.T @ y))[:, None]
    sd = np.sqrt(plain.min() / max(len(y) - model.spent, 1))
    noise = noise_seen(
        n,
        model.residuals(y[:, None])[:, 0],
        lambda drawn: model.residuals(fitted + sd * drawn),
        rng,
    )
    statistic, rate, place = (part[0] for part in model.best(y[:, None]))
    above = 0
    for count in _portions(simulations):
        drawn = model.best(fitted + sd * noise.draws(count, rng))[0]
        above += int(np.sum(drawn >= statistic))
    p = (1 + above) / (1 + simulations)
    return _Tested(float(statistic), p, int(rate), int(place), noise)


def _portions(simulations: int) -> list[int]:
    """Numbers of samples of fixed memory that make up the simulations."""
    return [min(PORTION, simulations - low) for low in range(0, simulations, PORTION)]


def _chance(
    model: _Model,
    fitted: np.ndarray,
    found: _Tested,
    sd: float,
    rng: np.random.Generator,
    simulations: int,
) -> np.ndarray:
    """What the true place costs beyond the best one, in curves with this jump."""
    costs = []
    for count in _portions(simulations):
        y = fitted[:, None] + sd * found.noise.draws(count, rng)
        left = model.losses(y)[1].min(axis=0)
        best = left.min(axis=0)
        costs.append((left[found.place] - best) / (best / model.spare(y)))
    return np.concatenate(costs)


def _estimates(
    model: _Model,
    n: np.ndarray,
    scores: np.ndarray,
    found: _Tested,
    rng: np.random.Generator,
    simulations: int,
    level: float,
) -> tuple[list[dict[str, Any]], np.ndarray]:
    """Place, jump and heights on both sides, and the fitted curve."""
    mean, y = scores.mean(), scores - scores.mean()
    rate, place = found.rate, found.place
    left = model.losses(y[:, None])[1][:, :, 0]
    variance = left[rate, place] / model.spare(y)
    jump = model.jump(rate, place)
    fitted = _projected(model.smooth[rate], jump, y)
    # A place is kept where a jump there costs no more than the true place does by chance.
    cost = (left.min(axis=0) - left[rate, place]) / variance
    chance = _chance(model, fitted, found, float(np.sqrt(variance)), rng, simulations)
    kept = model.places[cost <= max(float(np.quantile(chance, level)), 1e-12)]
    at = int(model.begins[place])
    return [
        ROWS.row(
            term="change_point",
            estimate=model.places[place],
            conf_low=kept.min(),
            conf_high=kept.max(),
        ),
        ROWS.row(term="jump", estimate=float(jump @ y) / model.length[rate, place]),
        ROWS.row(term="before", estimate=mean + fitted[at - 1]),
        ROWS.row(term="after", estimate=mean + fitted[at]),
    ], mean + fitted
