"""What one fitted curve can claim: enough rows, no flat line, a rate inside its bounds."""

from collections.abc import Mapping

import numpy as np

from motorlearn.curves.single.problem import LARGEST_LOGIT, Problem
from motorlearn.curves.single.solving import Solution, solve
from motorlearn.curves.status import STATUSES, grade, is_flat


def hopeless(problem: Problem) -> tuple[str, str] | None:
    """Status and reason where no curve can be fitted at all."""
    wanted = len(problem.free)
    if len(problem.y) <= wanted or len(np.unique(problem.n)) < wanted:
        return "too few trials", (
            f"{len(problem.y)} outcomes at {len(np.unique(problem.n))} practice counts for "
            f"{wanted} parameters."
        )
    if problem.binomial and problem.y.sum() in (0, problem.weights.sum()):
        which = "hits" if problem.y.sum() else "misses"
        return "no change", f"All attempts were {which}, so the logit has no finite value."
    if not problem.fixed and not problem.binomial and np.ptp(problem.y) == 0:
        return "no change", "All outcomes are equal."
    return None


def deviance(problem: Problem, fitted) -> float:
    """Deviance of hits from the fitted counts."""
    k, m = problem.y, problem.weights
    with np.errstate(divide="ignore", invalid="ignore"):
        hits = np.where(k > 0, k * np.log(k / fitted), 0.0)
        misses = np.where(m > k, (m - k) * np.log((m - k) / (m - fitted)), 0.0)
    return float(2 * np.sum(hits + misses))


def verdict(
    problem: Problem, solution: Solution, values: Mapping[str, float], asymptote_error: float
) -> tuple[str, float, str]:
    """Status, log drop of the basis over the practice seen, and anything to add in words."""
    eta = problem.predictor(solution.theta, solution.coefficients)
    rates = [values[name] for name in problem.form.rates]
    ends = np.array([problem.n.min(), problem.n.max()])
    drop = problem.form.log_basis(ends, rates, problem.first)
    progress = float(drop[0] - drop[1])
    known = "asymptote" in problem.fixed or {"gain", "start"} <= set(problem.fixed)
    top = problem.form.log_basis(np.array(problem.first), rates, problem.first)
    change = abs(values["start"] - values["asymptote"]) * np.ptp(np.exp(drop - top))
    main = [b for name, b in zip(problem.free_rates, solution.at_bound) if name != "restart_rate"]
    lone = len(problem.form.rates) == 1
    extreme = problem.binomial and np.abs(eta).max() > LARGEST_LOGIT - 0.5
    code = grade(
        enough=True,
        flat=_flat(problem, solution),
        at_bound=bool(main) and (main[0] if lone else all(main) or _runaway(problem, solution)),
        progress=np.inf if known else (-np.inf if extreme else progress),
        asymptote_error=0.0 if known else np.nan_to_num(asymptote_error),
        change=change,
    )
    why = " The curve leaves its fixed asymptote as practice goes on." if rates[0] < 0 else ""
    why += " The hit rate runs into 0 or 1, where the logit is infinite." if extreme else ""
    return STATUSES[int(code)], progress, why


def _runaway(problem, solution) -> bool:
    """Whether a form with two rates ran to the high end of either."""
    pairs = dict(zip(problem.form.rates, problem.form.bounds(problem.n)))
    for name, value, stuck in zip(problem.free_rates, solution.theta, solution.at_bound):
        if stuck and name in pairs and value > np.sqrt(pairs[name][0] * pairs[name][1]):
            return True
    return False


def _flat(problem: Problem, solution: Solution) -> bool:
    """Whether a flat line is not rejected; asked only where the gain is free."""
    held = set(problem.fixed) & {"asymptote", "gain", "start"}
    if "gain" in held or len(held) > 1:
        return False
    level = next((problem.fixed[name] for name in held), None)
    still = {"gain": 0.0, **dict.fromkeys(problem.form.rates, 1.0)}
    if level is not None:
        still["asymptote"] = level
    flat = Problem(
        problem.form,
        problem.n,
        problem.y,
        problem.weights,
        problem.binomial,
        problem.first,
        still,
        problem.sessions,
    )
    flat_loss = solve(flat).loss
    extra = len(problem.free) - len(flat.free)
    return bool(
        is_flat(
            solution.loss,
            flat_loss,
            len(problem.y),
            len(problem.free),
            extra,
            binomial=problem.binomial,
        )
    )
