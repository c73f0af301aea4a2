"""The learning curve of one learner: the public fit and its result."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.special import expit

from motorlearn.curves.forms import Form, named_form
from motorlearn.curves.single.intervals import (
    Spread,
    bootstrap,
    profile,
    spread_of,
    wald,
)
from motorlearn.curves.single.problem import Problem
from motorlearn.curves.single.rows import Rows, check_counts, session_terms, usable_rows
from motorlearn.curves.single.solving import Solution, solve
from motorlearn.curves.status import MEANINGS, information_criteria
from motorlearn.curves.verdict import deviance, hopeless, verdict
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Result
from motorlearn.tables import Table, estimates_table

INTERVALS = ("wald", "profile", "bootstrap")


@dataclass(frozen=True)
class CurveFit(Result):
    """One learner's curve.

    ``estimates`` has one row per term with ``std_error``, ``conf_low`` and ``conf_high``; a fixed
    term has a standard error of 0. ``sse`` is the (weighted) residual sum of squares; for hits it
    is the deviance, because squares of hit rates are not what was minimised. ``progress`` is the
    log drop of the basis over the practice seen (rate times practice, for an exponential).
    """

    form: str
    family: str
    estimates: pd.DataFrame
    sse: float
    loglik: float
    aicc: float
    bic: float
    n: int
    status: str
    meaning: str
    progress: float
    first: float
    fixed: Mapping[str, float]
    practice: np.ndarray = field(repr=False)
    outcome: np.ndarray = field(repr=False)
    attempts: np.ndarray = field(repr=False)
    fitted: np.ndarray = field(repr=False)
    residuals: np.ndarray = field(repr=False)
    warnings: tuple[str, ...] = ()
    recipe: Recipe = field(default_factory=lambda: Recipe("fit_curve"), repr=False)

    def value(self, term: str) -> float:
        """Estimate of one term."""
        return float(self.estimates.set_index("term").at[term, "estimate"])

    def predict(self, practice, *, scale: str = "response") -> np.ndarray:
        """Height of the curve at practice counts, without restart terms.

        For hits it is the probability of a hit, or its logit with ``scale="link"``.
        """
        form = named_form(self.form)
        n = np.asarray(practice, float)
        check_counts(form, np.atleast_1d(n), self.first)
        values = self.estimates.set_index("term")["estimate"]
        gain = float(values["gain"])
        height = np.full(n.shape, float(values["asymptote"]))
        if gain != 0 and np.isfinite(gain):
            rates = [float(values[name]) for name in form.rates]
            height = height + gain * form.basis(n, rates, self.first)
        return expit(height) if self.family == "binomial" and scale == "response" else height

    def relative_rate(self, practice) -> np.ndarray:
        """Relative learning rate, the share of the remaining way gained per unit of practice."""
        values = self.estimates.set_index("term")["estimate"]
        form = named_form(self.form)
        return form.relative_rate(
            np.asarray(practice, float), [float(values[name]) for name in form.rates]
        )

    def tables(self) -> Sequence[Table]:
        """The estimates, with the status beneath."""
        notes = [f"Status: {self.status}. {self.meaning}", *self.warnings]
        title = f"{named_form(self.form).title.capitalize()} curve, {self.n} outcomes"
        return (estimates_table("curve", title, self.estimates, notes=notes),)


def fit_curve(
    practice,
    outcome,
    *,
    form: str = "exponential",
    fixed: Mapping[str, float] | None = None,
    attempts=None,
    first: float = 1.0,
    interval: str = "wald",
    level: float = 0.95,
    weights=None,
    session=None,
    repeated: str = "refuse",
    draws: int = 999,
    seed: int = 0,
) -> CurveFit:
    r"""Fit one learner's curve by maximum likelihood.

    .. math:: y(n) = \mathrm{asymptote} + \mathrm{gain} \cdot f(n; \mathrm{rate})

    Gaussian outcomes are fitted by (weighted) least squares, hits by binomial likelihood with the
    curve on the logit scale. No starting values are needed: the whole range of the rate is
    searched, the best places are refined, and the optimum is checked again.

    Parameters
    ----------
    practice : array of float, shape (n,)
        Practice counts, trials or blocks.
    outcome : array of float, shape (n,)
        Scores, or hits. Outcomes that are all 0 or 1, with both present, are hits and misses.
        Missing outcomes (NaN) are set aside and counted.
    form : str
        ``exponential``, ``power``, ``power_prior`` (``"power with prior practice"``) or ``apex``.
    fixed : mapping, optional
        Values to hold, by term: ``asymptote, gain, start`` and the rates of the form.
    attempts : int or array, optional
        Attempts behind each count of hits; asks for the binomial likelihood.
    first : float
        Practice count of the first trial; ``start`` is the curve's value there.
    interval : {"wald", "profile", "bootstrap"}
        ``wald`` is the estimate with t (or normal) quantiles of the standard error, ``profile``
        the limits at which the likelihood falls as far, ``bootstrap`` percentiles of ``draws``
        refits.
    level : float
        Confidence level.
    weights : array, optional
        Precision weights of Gaussian outcomes, for example trials behind each block mean.
    session : array, optional
        Session of each row. Adds one restart term per session after the first,
        ``restart[s] * exp(-restart_rate * practice since the session began)``, so that a
        warm-up decrement does not bend the curve.
    repeated : {"refuse", "allow"}
        What to do where single practice counts occur more than once.
    draws, seed : int
        Bootstrap samples and the seed of their random numbers.

    Returns
    -------
    CurveFit
        ``gain`` is positive where the score falls with practice.

    Raises
    ------
    InputError
        For anything in the rows or options that cannot be used; see the message.

    References
    ----------
    Golub, G. H., & Pereyra, V. (1973). SIAM Journal on Numerical Analysis, 10, 413-432.
    https://doi.org/10.1137/0710036

    Heathcote, A., Brown, S., & Mewhort, D. J. K. (2000). Psychonomic Bulletin & Review, 7,
    185-207. https://doi.org/10.3758/BF03212979

    Examples
    --------
    >>> import numpy as np
    >>> trial = np.arange(1, 41)
    >>> error = 22 + 16 * np.exp(-0.12 * (trial - 1)) + np.sin(trial)
    >>> fit = fit_curve(trial, error)
    >>> fit.status, round(fit.value("asymptote"), 1)
    ('ok', 22.2)
    """
    chosen = named_form(form)
    _check_options(chosen, fixed or {}, interval, level, session)
    rows = usable_rows(practice, outcome, attempts=attempts, weights=weights, repeated=repeated)
    check_counts(chosen, rows.n, first)
    sessions = session_terms(session, rows.n, rows.used) if session is not None else None
    problem = Problem(
        chosen, rows.n, rows.y, rows.weights, rows.binomial, first, dict(fixed or {}), sessions
    )
    reason = hopeless(problem)
    if reason:
        return _empty_fit(problem, rows, *reason)
    solution = solve(problem)
    spread = spread_of(problem, solution)
    limits = _limits(problem, solution, spread, interval, level, draws, seed)
    options = {
        "form": chosen.name,
        "fixed": dict(fixed or {}),
        "first": first,
        "interval": interval,
        "level": level,
        "sessions": sessions is not None,
        "draws": draws if interval == "bootstrap" else 0,
    }
    recipe = _recipe(problem, solution, rows, options, seed if interval == "bootstrap" else None)
    return _finished(problem, solution, rows, _estimates(problem, spread, limits, solution), recipe)


def _check_options(form: Form, fixed, interval, level, session) -> None:
    known = ("asymptote", "gain", *form.rates, "start")
    known += ("restart_rate",) if session is not None else ()
    unknown = [name for name in fixed if name not in known]
    if unknown:
        raise InputError(f"the {form.title} curve has no such term to fix", unknown)
    wrong = [value for value in fixed.values() if not np.isfinite(value)]
    if wrong:
        raise InputError("a fixed value is not a finite number", wrong)
    if {"asymptote", "gain", "start"} <= set(fixed):
        raise InputError("asymptote, gain and start cannot all be fixed: two settle the third")
    if interval not in INTERVALS:
        raise InputError("there is no such interval", [interval], f"choose {', '.join(INTERVALS)}")
    if not 0 < level < 1:
        raise InputError("the confidence level lies between 0 and 1", [level])


def _empty_fit(problem: Problem, rows: Rows, status: str, reason: str) -> CurveFit:
    constant = status == "no change" and not problem.binomial
    level = float(problem.y[0]) if constant else np.nan
    terms = ("asymptote", "gain", *problem.rates, "start", "half_life")
    known = {"asymptote": level, "start": level, "gain": 0.0} if constant else {}
    known |= dict(problem.fixed)
    estimates = pd.DataFrame(
        {"term": terms, "estimate": [float(known.get(term, np.nan)) for term in terms]}
    ).assign(std_error=np.nan, conf_low=np.nan, conf_high=np.nan)
    fitted = np.full(len(problem.y), level)
    recipe = Recipe(
        "fit_curve", n=len(problem.y), left_out=_left_out(rows), converged=False, message=reason
    )
    return CurveFit(
        form=problem.form.name,
        family="binomial" if problem.binomial else "gaussian",
        estimates=estimates,
        sse=0.0 if constant else np.nan,
        loglik=np.nan,
        aicc=np.nan,
        bic=np.nan,
        n=len(problem.y),
        status=status,
        meaning=f"{MEANINGS[status]} {reason}",
        progress=np.nan,
        first=problem.first,
        fixed=problem.fixed,
        practice=problem.n,
        outcome=problem.y,
        attempts=problem.weights if problem.binomial else np.zeros(0),
        fitted=fitted,
        residuals=problem.y - fitted,
        warnings=rows.warnings,
        recipe=recipe,
    )


def _limits(problem, solution, spread, interval, level, draws, seed) -> np.ndarray:
    if interval == "wald":
        return wald(spread, level)
    if interval == "profile":
        return profile(problem, solution, spread, level)
    sample = bootstrap(problem, solution, spread.terms, draws, seed)
    return np.quantile(sample, [(1 - level) / 2, (1 + level) / 2], axis=0).T


def _estimates(problem: Problem, spread: Spread, limits, solution: Solution) -> pd.DataFrame:
    stuck = dict(zip(problem.free_rates, solution.at_bound))
    errors = spread.errors.copy()
    limits = np.array(limits)
    for row, name in enumerate(spread.terms):
        if stuck.get(name):
            errors[row] = limits[row] = np.nan
        if name in problem.fixed:
            errors[row], limits[row] = 0.0, problem.fixed[name]
    frame = pd.DataFrame(
        {
            "term": spread.terms,
            "estimate": spread.estimates,
            "std_error": errors,
            "conf_low": limits[:, 0],
            "conf_high": limits[:, 1],
        }
    )
    return pd.concat([frame, _half_life_row(problem, frame)], ignore_index=True)


def _half_life_row(problem: Problem, frame: pd.DataFrame) -> pd.DataFrame:
    """Half-life; its limits are those of the rate turned round, the other rates held."""
    table = frame.set_index("term")
    rates = [float(table.at[name, "estimate"]) for name in problem.form.rates]

    def half(rate: float) -> float:
        if not rate > 0:
            return np.inf
        with np.errstate(over="ignore"):
            return float(problem.form.half_life([rate, *rates[1:]], problem.first))

    rate, error = rates[0], float(table.at["rate", "std_error"])
    step = 1e-6 * abs(rate)
    finite = rate > 0 and np.isfinite(half(rate - step))
    slope = (half(rate + step) - half(rate - step)) / (2 * step) if finite else np.nan
    ends = [half(float(table.at["rate", side])) for side in ("conf_high", "conf_low")]
    return pd.DataFrame(
        {
            "term": ["half_life"],
            "estimate": [half(rate)],
            "std_error": [abs(slope) * error],
            "conf_low": [ends[0] if np.isfinite(error) else np.nan],
            "conf_high": [ends[1] if np.isfinite(error) else np.nan],
        }
    )


def _recipe(problem, solution, rows, options, seed) -> Recipe:
    stuck = [name for name, b in zip(problem.free_rates, solution.at_bound) if b]
    message = (
        f"{solution.agreeing} of {solution.starts} searches ended at this optimum; largest "
        f"remaining slope {solution.slack:.1e}."
    )
    engine = "variable projection" if not problem.binomial else "binomial scoring"
    return Recipe(
        "fit_curve",
        options=options,
        n=len(problem.y),
        left_out=_left_out(rows),
        seed=seed,
        engine=f"{engine} over a grid of rates, damped refinement",
        converged=solution.converged,
        message=message,
        at_bound=tuple(stuck),
    )


def _left_out(rows: Rows) -> pd.DataFrame:
    missing = int((~rows.used).sum())
    entries = [["", "", "missing outcome", missing]] if missing else []
    return pd.DataFrame(entries, columns=["participant", "group", "reason", "rows"])


def _finished(problem, solution, rows, estimates, recipe) -> CurveFit:
    eta = problem.predictor(solution.theta, solution.coefficients)
    fitted = problem.weights * expit(eta) if problem.binomial else eta
    count = len(problem.free) + (0 if problem.binomial else 1)
    loglik = problem.loglik(solution.loss)
    aicc, bic = information_criteria(loglik, len(problem.y), count)
    terms = zip(estimates["term"], estimates["estimate"])
    errors = estimates.set_index("term")["std_error"]
    status, progress, why = verdict(problem, solution, dict(terms), float(errors["asymptote"]))
    return CurveFit(
        form=problem.form.name,
        family="binomial" if problem.binomial else "gaussian",
        estimates=estimates,
        sse=deviance(problem, fitted) if problem.binomial else 2 * solution.loss,
        loglik=loglik,
        aicc=float(aicc),
        bic=float(bic),
        n=len(problem.y),
        status=status,
        meaning=MEANINGS[status] + why,
        progress=progress,
        first=problem.first,
        fixed=problem.fixed,
        practice=problem.n,
        outcome=problem.y,
        attempts=problem.weights if problem.binomial else np.zeros(0),
        fitted=fitted,
        residuals=problem.y - fitted,
        warnings=rows.warnings + (() if recipe.converged else (_UNSETTLED,)),
        recipe=recipe,
    )


_UNSETTLED = "The optimiser stopped before its slope vanished; treat these numbers with caution."
