"""Learners looked at one by one: sessions, noise as it is, errors from the residuals.

The batch engines know plain noise and no sessions. What is asked for beyond that is fitted by the
engine of the single curve, learner by learner, so that both give the same numbers.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from motorlearn.curves.forms import Form
from motorlearn.curves.single.intervals import Spread, spread_of
from motorlearn.curves.single.noise import Noise, NoiseFit, fit_noise
from motorlearn.curves.single.problem import Problem
from motorlearn.curves.single.rows import session_terms
from motorlearn.curves.single.solving import Solution, solve
from motorlearn.curves.status import CURVE, FLAT, NO_CHANGE, STATUSES, information_criteria
from motorlearn.curves.verdict import Verdict, deviance, hopeless, verdict

MEANS = ("restart", "loss", "savings")
"""Terms of sessions, of which the table shows the mean over the sessions after the first."""


@dataclass(frozen=True)
class Closely:
    """What is asked for beyond plain curves."""

    session: str | None = None
    restart: str = "warm-up"
    noise: Noise = field(default_factory=Noise)
    sandwich: bool = False

    @property
    def plain(self) -> bool:
        """Whether nothing is."""
        return self.session is None and self.noise.plain and not self.sandwich

    @property
    def columns(self) -> tuple[str, ...]:
        """Columns of the table for what is asked for."""
        kinds = {"warm-up": MEANS[:1], "savings": MEANS[1:], "both": MEANS}
        means = kinds[self.restart] if self.session is not None else ()
        found = [part for name in means for part in (name, f"se_{name}")]
        found += ["restart_rate"] if "restart" in means else []
        found += ["spread_power"] if self.noise.variance != "equal" else []
        found += ["correlation"] if self.noise.correlation == "ar1" else []
        return (*found, *(["tail"] if self.noise.errors == "t" else []))


@dataclass(frozen=True)
class _Rows:
    """Usable rows of one learner."""

    n: np.ndarray
    y: np.ndarray
    weights: np.ndarray
    session: np.ndarray | None


def fit_closely(batch: Any, form: Form, first: float, asked: Closely) -> list[dict[str, Any]]:
    """One row of values for each learner of a batch."""
    starts = np.r_[0, batch.ends[:-1]]
    return [
        _learner(_usable(batch, slice(low, high)), form, first, asked, bool(batch.binomial))
        for low, high in zip(starts, batch.ends)
    ]


def _usable(batch: Any, rows: slice) -> _Rows:
    n, y = batch.n[rows], batch.y[rows]
    weights = np.ones(len(y)) if batch.weights is None else batch.weights[rows]
    used = np.isfinite(y) & np.isfinite(weights)
    session = None if batch.session is None else batch.session[rows][used]
    return _Rows(n[used], y[used], weights[used], session)


def _learner(
    rows: _Rows, form: Form, first: float, asked: Closely, binomial: bool
) -> dict[str, Any]:
    sessions = None
    if rows.session is not None and len(np.unique(rows.session)) > 1:
        everything = np.ones(len(rows.n), bool)
        sessions = session_terms(rows.session, rows.n, everything, asked.restart)
    problem = Problem(form, rows.n, rows.y, rows.weights, binomial, first, {}, sessions)
    reason = hopeless(problem)
    if reason is not None:
        return _empty(problem, reason[0])
    noisy = None if asked.noise.plain else fit_noise(problem, asked.noise)
    work = problem if noisy is None else noisy.problem
    solution = solve(problem) if noisy is None else noisy.solution
    terms = {} if noisy is None else noisy.terms
    inflate = (terms["tail"] + 3) / (terms["tail"] + 1) if "tail" in terms else 1.0
    spread = spread_of(work, solution, inflate=inflate, sandwich=asked.sandwich)
    curve = dict(zip(spread.terms, map(float, spread.estimates)))
    said = verdict(work, solution, curve, dict(zip(spread.terms, spread.errors)))
    found = {"status": STATUSES.index(said.status), "lost": said.lost}
    found |= _curve(problem, spread, curve, said)
    found |= (
        _criteria(problem, solution, noisy) | dict(terms) | _sessions(problem, spread, curve, said)
    )
    stuck = dict(zip(problem.free_rates, solution.at_bound))
    return found | {f"se_{name}": np.nan for name in form.rates if stuck[name]}


def _curve(
    problem: Problem, spread: Spread, curve: Mapping[str, float], said: Verdict
) -> dict[str, Any]:
    errors = dict(zip(spread.terms, spread.errors))
    names = ("asymptote", "gain", *problem.form.rates)
    return {
        "n": len(problem.y),
        **{name: curve[name] for name in (*names, "start")},
        **{f"se_{name}": float(errors[name]) for name in names},
        "level": said.level,
        "level_error": said.level_error,
        "start_lost": said.lost == CURVE and problem.first < problem.origin,
        "gain_lost": said.gain_lost,
    }


def _criteria(problem: Problem, solution: Solution, noisy: NoiseFit | None) -> dict[str, Any]:
    """Fit and criteria, counted as in the single fit."""
    eta = problem.predictor(solution.theta, solution.coefficients) if noisy is None else None
    fitted = noisy.fitted if noisy is not None else eta
    loglik = noisy.loglik if noisy is not None else problem.loglik(solution.loss)
    count = len(problem.free) + (0 if problem.binomial else 1)
    count += 0 if noisy is None else len(noisy.terms)
    aicc, bic = information_criteria(loglik, len(problem.y), count)
    if problem.binomial:
        assert eta is not None
        sse = deviance(problem, problem.weights / (1 + np.exp(-eta)))
    else:
        sse = float(problem.weights @ (problem.y - fitted) ** 2)
    settled = solution.converged and (noisy is None or noisy.settled)
    told = {"loglik": loglik, "aicc": float(aicc), "bic": float(bic)}
    return told | {"sse": sse, "converged": settled}


def _sessions(
    problem: Problem, spread: Spread, curve: Mapping[str, float], said: Verdict
) -> dict[str, Any]:
    """Means over the sessions after the first, with standard errors; none of what is not told."""
    if problem.sessions is None:
        return {}
    parts = (problem.sessions.restarts, problem.sessions.losses, problem.sessions.savings)
    found: dict[str, Any] = {}
    for name, terms in zip(MEANS, parts):
        if not terms:
            continue
        place = [spread.terms.index(term) for term in terms]
        cover = spread.covariance[np.ix_(place, place)]
        told = np.nan if {*terms} & {*said.untold} else 1.0
        found[name] = told * float(np.mean([curve[term] for term in terms]))
        found[f"se_{name}"] = told * float(np.sqrt(max(cover.mean(), 0.0)))
    if problem.sessions.fades:
        stuck = "restart_rate" in said.untold
        found["restart_rate"] = np.nan if stuck else curve["restart_rate"]
    return found


def _empty(problem: Problem, status: str) -> dict[str, Any]:
    """A row without a curve."""
    found: dict[str, Any] = {"n": len(problem.y), "status": STATUSES.index(status)}
    if found["status"] != NO_CHANGE:
        return found
    found |= {"lost": FLAT, "converged": True}
    if problem.binomial:
        return found
    level = float(problem.y[0])
    return found | {"level": level, "gain": 0.0, "sse": 0.0}
