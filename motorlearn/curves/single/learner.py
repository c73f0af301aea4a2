"""The learning curve of one learner: the public fit."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import expit

from motorlearn.curves.forms import named_form
from motorlearn.curves.options import (
    RESTARTS,
    check_first,
    check_fixed,
    check_level,
    check_seed,
    check_simulations,
    one_of,
)
from motorlearn.curves.single.curve_fit import CurveFit
from motorlearn.curves.single.estimates import Limits, estimates_frame
from motorlearn.curves.single.intervals import Spread, bootstrap, profile, spread_of, wald
from motorlearn.curves.single.noise import Noise, NoiseFit, check_noise, fit_noise
from motorlearn.curves.single.noise_error import wobble
from motorlearn.curves.single.problem import Problem
from motorlearn.curves.single.rows import Rows, check_counts, session_terms, usable_rows
from motorlearn.curves.single.solving import Solution, solve
from motorlearn.curves.single.standard import standard_residuals
from motorlearn.curves.status import MEANINGS, information_criteria
from motorlearn.curves.verdict import Verdict, deviance, hopeless, verdict
from motorlearn.results import Recipe, nobody_left_out

INTERVALS = ("wald", "profile", "bootstrap", "sandwich")
_UNSETTLED = "The optimiser stopped before its slope vanished; treat these numbers with caution."


def fit_curve(
    practice: ArrayLike,
    outcome: ArrayLike,
    *,
    form: str = "exponential",
    fixed: Mapping[str, float] | None = None,
    attempts: ArrayLike | None = None,
    first: float = 1.0,
    interval: str = "wald",
    level: float = 0.95,
    weights: ArrayLike | None = None,
    session: ArrayLike | None = None,
    repeated: str = "refuse",
    simulations: int = 999,
    seed: int = 0,
    errors: str = "normal",
    variance: str = "equal",
    correlation: str = "none",
    draws: int | None = None,
    restart: str = "warm-up",
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
    interval : {"wald", "profile", "bootstrap", "sandwich"}
        ``wald`` is the estimate with t (or normal) quantiles of the standard error, ``profile``
        the limits at which the likelihood falls as far, ``bootstrap`` percentiles of refits to
        ``simulations`` resampled outcomes, ``sandwich`` as ``wald`` with standard errors that
        allow for unequal spread and for neighbours that are alike.
    level : float
        Confidence level.
    weights : array, optional
        Precision weights of Gaussian outcomes, for example trials behind each block mean.
    session : array, optional
        Session of each row; what ``restart`` names begins anew with each after the first.
    repeated : {"refuse", "allow"}
        What to do where single practice counts occur more than once.
    simulations, seed : int
        Bootstrap samples and the seed of their random numbers.
    errors : {"normal", "lognormal", "t"}
        Law of the errors of scores: normal; lognormal, with the curve as the median; or Student's
        t with estimated degrees of freedom, which stray scores pull less.
    variance : {"equal", "mean", "practice"}
        Spread of scores: equal; proportional to a power of the curve; or to a power of the
        practice since the first trial (1 there). The power is estimated.
    correlation : {"none", "ar1"}
        Whether neighbours within a session are correlated: ``ar1`` estimates the correlation of
        scores one unit of practice apart. Limits rest on the degrees of freedom that an estimated
        spread and correlation leave (Satterthwaite's approximation, up to 800 rows): 5 to 10
        instead of 57 in a usual session of 60 trials.
    draws : int, optional
        Old name of ``simulations``.
    restart : {"warm-up", "savings", "both"}
        What sessions do. ``warm-up`` adds a term per session after the first,
        ``restart[s] * exp(-restart_rate * practice since the session began)``, which fades
        within the session. ``savings`` adds what was forgotten since the session before,
        ``loss[s] * f(n) / f(begin of s)``, which practice makes good at the curve's own relative
        rate; ``savings[s]`` is the share of the way gained until then that was still there.

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
    one_of(interval, INTERVALS, "interval")
    level, first = check_level(level), check_first(first)
    simulations, said = check_simulations(simulations, draws, least=20)
    known = ("asymptote", "gain", *chosen.rates, "start")
    one_of(restart, RESTARTS, "restart")
    known += ("restart_rate",) if session is not None and restart != "savings" else ()
    held = check_fixed(fixed, known, chosen.title)
    rows = usable_rows(practice, outcome, attempts=attempts, weights=weights, repeated=repeated)
    rows = replace(rows, warnings=(*rows.warnings, *said))
    noise = check_noise(errors, variance, correlation, binomial=rows.binomial)
    check_counts(chosen, rows.n, first)
    sessions = None
    if session is not None:
        sessions = session_terms(session, rows.n, rows.used, restart)
    problem = Problem(chosen, rows.n, rows.y, rows.weights, rows.binomial, first, held, sessions)
    options = {
        "form": chosen.name,
        "fixed": held,
        "first": first,
        "interval": interval,
        "level": level,
        "sessions": sessions is not None,
        "restart": restart,
        "simulations": simulations if interval == "bootstrap" else 0,
        "errors": errors,
        "variance": variance,
        "correlation": correlation,
    }
    checked = check_seed(seed)
    drawn = checked if interval == "bootstrap" else None
    reason = hopeless(problem)
    if reason:
        return _empty_fit(problem, rows, options, *reason)
    noisy = None if noise.plain else fit_noise(problem, noise)
    return _finished(problem, noisy, rows, options, drawn)


def _finished(
    problem: Problem, noisy: NoiseFit | None, rows: Rows, options: dict[str, Any], seed: int | None
) -> CurveFit:
    work, terms = (problem, {}) if noisy is None else (noisy.problem, dict(noisy.terms))
    solution = solve(problem) if noisy is None else noisy.solution
    spread = _spread(problem, noisy, solution, options)
    curve, said = _judged(work, solution, spread)
    ends = _limits(work, solution, spread, options, seed)
    limits = Limits(ends, options["level"], options["interval"])
    fitted, loglik = _heights(problem, solution, noisy)
    aicc, bic = _criteria(problem, terms, loglik)
    recipe = _recipe(work, solution, rows, options, seed, noisy)
    return CurveFit(
        form=problem.form.name,
        family="binomial" if problem.binomial else "gaussian",
        estimates=estimates_frame(work, spread, limits, solution, said),
        sse=_squares(problem, fitted),
        loglik=loglik,
        aicc=float(aicc),
        bic=float(bic),
        n=len(problem.y),
        status=said.status,
        meaning=MEANINGS[said.status] + said.why,
        progress=said.progress,
        first=problem.first,
        fixed=problem.fixed,
        curve=curve,
        vcov=spread.covariance,
        df=spread.df,
        turns=spread.turns,
        noise=terms,
        practice=problem.n,
        outcome=problem.y,
        attempts=problem.weights if problem.binomial else np.zeros(0),
        fitted=fitted,
        residuals=problem.y - fitted,
        begins=_begins(problem),
        saved=_saved(problem),
        standard=_standard(problem, noisy, options),
        sigma=float(np.sqrt(2 * solution.loss / max(spread.df, 1))),
        warnings=rows.warnings + (() if recipe.converged else (_UNSETTLED,)),
        recipe=recipe,
    )


def _standard(problem: Problem, noisy: NoiseFit | None, options: Mapping[str, Any]) -> np.ndarray:
    """Residuals by the noise that was fitted; none for plain noise."""
    if noisy is None:
        return np.zeros(0)
    return standard_residuals(problem, _noise_of(options), noisy)


def _noise_of(options: Mapping[str, Any]) -> Noise:
    return Noise(options["errors"], options["variance"], options["correlation"])


def _spread(
    problem: Problem, noisy: NoiseFit | None, solution: Solution, options: Mapping[str, Any]
) -> Spread:
    """Covariance of the terms, and how well it is known."""
    sandwich = options["interval"] == "sandwich"
    if noisy is None:
        return spread_of(problem, solution, sandwich=sandwich)
    unknown = None if sandwich else wobble(problem, _noise_of(options), noisy)
    inflate = _inflated(noisy.terms)
    return spread_of(noisy.problem, solution, inflate=inflate, sandwich=sandwich, wobble=unknown)


def _judged(work: Problem, solution: Solution, spread: Spread) -> tuple[dict[str, float], Verdict]:
    """Terms of the curve, and what it can claim."""
    curve = {name: float(value) for name, value in zip(spread.terms, spread.estimates)}
    return curve, verdict(work, solution, curve, dict(zip(spread.terms, spread.errors)))


def _criteria(problem: Problem, terms: Mapping[str, float], loglik: float) -> tuple[Any, Any]:
    """AICc and BIC."""
    count = len(problem.free) + len(terms) + (0 if problem.binomial else 1)
    return information_criteria(loglik, len(problem.y), count)


def _inflated(terms: Mapping[str, float]) -> float:
    """Factor of the covariance where errors follow a t distribution."""
    return (terms["tail"] + 3) / (terms["tail"] + 1) if "tail" in terms else 1.0


def _heights(
    problem: Problem, solution: Solution, noisy: NoiseFit | None
) -> tuple[np.ndarray, float]:
    """Curve (or expected hits) at the rows, and the log-likelihood."""
    if noisy is not None:
        return noisy.fitted, noisy.loglik
    eta = problem.predictor(solution.theta, solution.coefficients)
    fitted = problem.weights * expit(eta) if problem.binomial else eta
    return fitted, problem.loglik(solution.loss)


def _saved(problem: Problem) -> dict[str, float]:
    """Practice count at which the session of each savings term begins."""
    if not (problem.sessions and problem.sessions.loses):
        return {}
    return dict(zip(problem.sessions.savings, map(float, problem.sessions.begin[1:])))


def _begins(problem: Problem) -> dict[str, float]:
    """Where each loss of a session begins."""
    if problem.sessions is None:
        return {}
    later = [float(begin) for begin in problem.sessions.begin[1:]]
    return dict(zip(problem.sessions.losses, later))


def _squares(problem: Problem, fitted: np.ndarray) -> float:
    if problem.binomial:
        return deviance(problem, fitted)
    return float(problem.weights @ (problem.y - fitted) ** 2)


def _empty_fit(
    problem: Problem, rows: Rows, options: dict[str, Any], status: str, reason: str
) -> CurveFit:
    constant = status == "no change" and not problem.binomial
    level = float(problem.y[0]) if constant else np.nan
    terms = ("asymptote", "gain", *problem.rates, "start", "half_life")
    known = {"asymptote": level, "start": level, "gain": 0.0} if constant else {}
    known |= dict(problem.fixed)
    estimates = pd.DataFrame(
        {"term": terms, "estimate": [float(known.get(term, np.nan)) for term in terms]}
    ).assign(std_error=np.nan, conf_low=np.nan, conf_high=np.nan)
    fitted = np.full(len(problem.y), level)
    count, gone = len(problem.y), _left_out(rows)
    recipe = Recipe("fit_curve", {}, options, count, gone, converged=False, message=reason)
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
        curve={term: float(known.get(term, np.nan)) for term in terms[:-1]},
        vcov=np.full((len(terms) - 1,) * 2, np.nan),
        df=np.nan,
        noise={},
        practice=problem.n,
        outcome=problem.y,
        attempts=problem.weights if problem.binomial else np.zeros(0),
        fitted=fitted,
        residuals=problem.y - fitted,
        warnings=rows.warnings,
        recipe=recipe,
    )


def _limits(
    problem: Problem,
    solution: Solution,
    spread: Spread,
    options: Mapping[str, Any],
    seed: int | None,
) -> np.ndarray:
    interval, level = options["interval"], options["level"]
    if interval in ("wald", "sandwich"):
        return wald(spread, level)
    if interval == "profile":
        return profile(problem, solution, spread, level)
    sample = bootstrap(problem, solution, spread.terms, options["simulations"], seed)
    found: np.ndarray = np.quantile(sample, [(1 - level) / 2, (1 + level) / 2], axis=0).T
    return found


def _recipe(
    problem: Problem,
    solution: Solution,
    rows: Rows,
    options: dict[str, Any],
    seed: int | None,
    noisy: NoiseFit | None,
) -> Recipe:
    stuck = [name for name, b in zip(problem.free_rates, solution.at_bound) if b]
    message = (
        f"{solution.agreeing} of {solution.starts} searches ended at this optimum; largest "
        f"remaining slope {solution.slack:.1e}."
    )
    engine = "variable projection" if not problem.binomial else "binomial scoring"
    engine += " over a grid of rates, damped refinement"
    if noisy is not None:
        engine += ", in turn with the noise (generalised least squares)"
    return Recipe(
        "fit_curve",
        options=options,
        n=len(problem.y),
        left_out=_left_out(rows),
        seed=seed,
        engine=engine,
        converged=solution.converged and (noisy is None or noisy.settled),
        message=message,
        at_bound=tuple(stuck),
    )


def _left_out(rows: Rows) -> pd.DataFrame:
    missing = int((~rows.used).sum())
    if not missing:
        return nobody_left_out()
    gone = {"participant": "", "group": "", "reason": "missing outcome", "rows": missing}
    return pd.DataFrame([gone])
