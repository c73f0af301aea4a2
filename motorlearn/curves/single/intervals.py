"""Uncertainty of one curve: covariance, Wald, profile-likelihood and bootstrap intervals."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import brentq

from motorlearn.curves.single.df import df_along
from motorlearn.curves.single.problem import Problem, complex_step
from motorlearn.curves.single.solving import Solution, solve
from motorlearn.linear.hypotheses import t_quantile


@dataclass(frozen=True)
class Spread:
    """Standard errors and covariance of the reported terms.

    ``df`` counts rows less parameters; ``turns`` are changes of the covariance by errors of the
    estimated noise, of size 1 each and independent (none: the noise has no terms).
    """

    terms: tuple[str, ...]
    estimates: np.ndarray
    covariance: np.ndarray
    df: float
    turns: np.ndarray = field(default_factory=lambda: np.zeros((0, 0, 0)))

    @property
    def dfs(self) -> np.ndarray:
        """Degrees of freedom of each term."""
        return df_along(np.eye(len(self.terms)), self.covariance, self.turns, self.df)

    @property
    def errors(self) -> np.ndarray:
        """Standard errors."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))


def spread_of(
    problem: Problem,
    solution: Solution,
    *,
    inflate: float = 1.0,
    sandwich: bool = False,
    wobble: np.ndarray | None = None,
) -> Spread:
    """Covariance of the natural parameters; a rate at a bound counts as known there.

    ``inflate`` multiplies the covariance of the model. ``sandwich`` takes it from the residuals
    instead: unequal spread and correlation between neighbours are then allowed for. ``wobble``
    says how the covariance of the whitened rows may be wrong.
    """
    theta, coefficients = solution.theta, solution.coefficients
    point = np.concatenate([theta, coefficients])
    split = len(theta)
    df = degrees_of_freedom(problem)
    _, weight = problem.working(problem.predictor(theta, coefficients))
    moving = np.r_[~np.array(solution.at_bound, bool), np.ones(len(coefficients), bool)]
    weighted = (np.sqrt(weight)[:, None] * problem.jacobian(theta, coefficients))[:, moving]
    scale = 1.0 if problem.binomial else 2 * solution.loss / df
    inner = np.zeros((len(point), len(point)))
    bread = _inverse(weighted)
    covered = bread @ _meat(problem, solution, moving) @ bread if sandwich else scale * bread
    inner[np.ix_(moving, moving)] = inflate * covered
    values = problem.values(theta, coefficients)
    terms = tuple(values)
    back = complex_step(
        lambda p: np.array([problem.values(p[:split], p[split:])[k] for k in terms], dtype=complex),
        point,
    )
    estimates = np.array([float(values[name]) for name in terms])
    with np.errstate(invalid="ignore", over="ignore"):
        turns = _turns(back[:, moving], weighted, inflate * scale * bread, bread, wobble)
        return Spread(terms, estimates, back @ inner @ back.T, df, turns)


def _turns(
    back: np.ndarray,
    weighted: np.ndarray,
    covered: np.ndarray,
    bread: np.ndarray,
    wobble: np.ndarray | None,
) -> np.ndarray:
    if wobble is None or not len(wobble):
        return np.zeros((0, 0, 0))
    inner = covered @ (weighted.T @ wobble @ weighted) @ bread
    found: np.ndarray = back @ inner @ back.T
    return found


def degrees_of_freedom(problem: Problem) -> float:
    """Rows less parameters; infinite for a binomial outcome, whose variance is known."""
    return np.inf if problem.binomial else float(len(problem.y) - len(problem.free))


def _meat(problem: Problem, solution: Solution, moving: np.ndarray) -> np.ndarray:
    """Covariance of the score: products of neighbours' contributions, weighted down with distance.

    Contributions are prewhitened by one autoregression of all of them together, so that few
    neighbours are needed (Andrews & Monahan, 1992), and corrected for the parameters spent.
    """
    eta = problem.predictor(solution.theta, solution.coefficients)
    residual, _ = problem.working(eta)
    tangent = problem.jacobian(solution.theta, solution.coefficients)[:, moving]
    order = np.argsort(problem.n, kind="stable")
    parts = (tangent * residual[:, None])[order]
    count, spent = parts.shape
    length = np.linalg.norm(parts, axis=0)
    units = parts / np.where(length > 0, length, 1.0)
    before, after = units[:-1].ravel(), units[1:].ravel()
    carry = float(np.clip(before @ after / (before @ before), -0.9, 0.9))
    fresh = parts[1:] - carry * parts[:-1]
    reach = int(np.ceil(count ** (1 / 4)))
    meat = fresh.T @ fresh
    for lag in range(1, reach + 1):
        shared = fresh[lag:].T @ fresh[:-lag]
        meat += (1 - lag / (reach + 1)) * (shared + shared.T)
    found: np.ndarray = (
        meat / (1 - carry) ** 2 * count / max(count - 1, 1) * count / max(count - spent, 1)
    )
    return found


def _inverse(design: np.ndarray) -> np.ndarray:
    """Inverse of ``design.T @ design`` through QR of scaled columns; infinite where singular."""
    length = np.linalg.norm(design, axis=0)
    if not length.size or np.any(length == 0):
        return np.full((len(length),) * 2, np.inf)
    triangle = np.linalg.qr(design / length, mode="r")
    if np.min(np.abs(np.diag(triangle))) < 1e-15:
        return np.full((len(length),) * 2, np.inf)
    root = np.linalg.inv(triangle) / length[:, None]
    found: np.ndarray = root @ root.T
    return found


def wald(spread: Spread, level: float) -> np.ndarray:
    """Estimate minus and plus a quantile times the standard error."""
    half = t_quantile(level, spread.dfs) * spread.errors
    return np.stack([spread.estimates - half, spread.estimates + half], axis=1)


def profile(problem: Problem, solution: Solution, spread: Spread, level: float) -> np.ndarray:
    """Limits where the profile likelihood falls by the quantile; infinite where it never does."""
    limits = np.stack([spread.estimates, spread.estimates], axis=1)
    profiled = [name for name in ("asymptote", "gain", "start") if name not in problem.fixed]
    held = sum(name in problem.fixed for name in ("asymptote", "gain", "start"))
    profiled = profiled if held < 2 else []
    for name in (*profiled, *problem.free_rates):
        row = spread.terms.index(name)
        for side, way in enumerate((-1.0, 1.0)):
            limits[row, side] = _limit(problem, solution, spread, name, way, level)
    asked = {*profiled, *problem.free_rates, *problem.fixed}
    for row, name in enumerate(spread.terms):
        if name not in asked and problem.sessions is not None:
            limits[row] = wald(spread, level)[row]
    return limits


def _limit(
    problem: Problem, solution: Solution, spread: Spread, name: str, way: float, level: float
) -> float:
    row = spread.terms.index(name)
    centre, error = spread.estimates[row], spread.errors[row]
    own = float(spread.dfs[row])
    cut = _rise(problem, solution, spread.df, level, own)
    if not np.isfinite(error) or error == 0:
        return way * np.inf if error else centre
    positive = name in problem.free_rates and centre > 0

    def place(distance: float) -> float:
        move = way * distance * error
        return float(centre * np.exp(move / centre)) if positive else float(centre + move)

    def excess(distance: float) -> float:
        held = replace(problem, fixed={**problem.fixed, name: place(distance)})
        near = [theta for theta, free in zip(solution.theta, problem.free_rates) if free != name]
        return solve(held, start=np.array(near)).loss - solution.loss - cut

    far = float(t_quantile(level, own))
    for _ in range(8):
        if excess(far) > 0:
            # Where hits run into 0 or 1 the loss has no lowest place, and limits have no middle.
            if excess(0.0) >= 0:
                return np.nan
            return place(brentq(excess, 0.0, far, xtol=1e-7, rtol=1e-9))
        far *= 1.7
    return 0.0 if positive and way < 0 else way * np.inf


def _rise(
    problem: Problem, solution: Solution, df: float, level: float, own: float | None = None
) -> float:
    """Rise of the loss at a limit; ``own`` are the degrees of freedom of the term, if others."""
    quantile = float(t_quantile(level, df if own is None else own))
    if problem.binomial:
        return quantile**2 / 2
    return float(solution.loss * quantile**2 / df)


def bootstrap(
    problem: Problem, solution: Solution, terms: Sequence[str], simulations: int, seed: int | None
) -> np.ndarray:
    """Natural parameters of curves refitted to resampled outcomes, one row per simulation.

    Gaussian outcomes: centred residuals, widened for the parameters spent, drawn with replacement.
    Hits: binomial counts drawn from the fitted curve.
    """
    rng = np.random.default_rng(seed)
    eta = problem.predictor(solution.theta, solution.coefficients)
    rows = []
    for _ in range(simulations):
        again = replace(problem, y=_resample(problem, eta, rng))
        found = solve(again, start=solution.theta)
        values = again.values(found.theta, found.coefficients)
        rows.append([float(values[name]) for name in terms])
    return np.array(rows)


def _resample(problem: Problem, eta: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    if problem.binomial:
        return rng.binomial(problem.weights.astype(int), 1 / (1 + np.exp(-eta))).astype(float)
    root = np.sqrt(problem.weights)
    residual = root * (problem.y - eta)
    count = len(residual)
    widened = (residual - residual.mean()) * np.sqrt(count / (count - len(problem.free)))
    found: np.ndarray = eta + rng.choice(widened, count) / root
    return found
