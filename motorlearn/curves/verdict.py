"""What one fitted curve can claim: enough rows, no flat line, a rate inside its bounds."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from motorlearn.curves.single.problem import LARGEST_LOGIT, Problem
from motorlearn.curves.single.solving import Solution, solve
from motorlearn.curves.status import (
    AT_BOUND,
    CURVE,
    ERRORS,
    FARTHEST_GAIN,
    NOT_SEEN,
    STATUSES,
    adrift,
    all_but_a_step,
    gain_adrift,
    grade,
    losses,
    not_rejected,
)

FEWER_RATES = " A form with one rate, such as the exponential, may fit."
NO_END = " The search found no end along terms of sessions; fewer of them, or fewer rates, may fit."


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


def deviance(problem: Problem, fitted: np.ndarray) -> float:
    """Deviance of hits from the fitted counts."""
    k, m = problem.y, problem.weights
    with np.errstate(divide="ignore", invalid="ignore"):
        hits = np.where(k > 0, k * np.log(k / fitted), 0.0)
        misses = np.where(m > k, (m - k) * np.log((m - k) / (m - fitted)), 0.0)
    return float(2 * np.sum(hits + misses))


@dataclass(frozen=True)
class Verdict:
    """What a fit can claim.

    ``progress`` is the log drop of the basis over the practice seen, ``lost`` the code of what is
    missing, ``why`` anything to add in words, ``level`` and ``level_error`` the level line and
    its standard error, ``gain_lost`` whether the gain is missing as well, ``untold`` the terms of
    sessions that are.
    """

    status: str
    progress: float
    lost: int
    why: str
    level: float
    level_error: float
    gain_lost: bool = False
    untold: tuple[str, ...] = ()


def verdict(
    problem: Problem,
    solution: Solution,
    values: Mapping[str, float],
    errors: Mapping[str, float],
) -> Verdict:
    """Judge one fit by its terms and their standard errors."""
    asymptote_error = float(errors["asymptote"])
    eta = problem.predictor(solution.theta, solution.coefficients)
    rates = [values[name] for name in problem.form.rates]
    ends = np.array([problem.n.min(), problem.n.max()])
    drop = problem.form.log_basis(ends, rates, problem.first)
    progress = float(drop[0] - drop[1])
    known = "asymptote" in problem.fixed or {"gain", "start"} <= set(problem.fixed)
    change = _change(problem, values, drop, eta)
    extreme = problem.binomial and np.abs(eta).max() > LARGEST_LOGIT - 0.5
    flat, level, level_error = _flat(problem, solution)
    line_open, step_open = _open_ends(problem, solution, rates)
    untold = _untold(problem, solution, values, errors, flat=flat)
    endless = not solution.converged and bool({*untold} - {"restart_rate"})
    code = grade(
        enough=True,
        flat=flat,
        at_bound=_at_bound(problem, solution) or _quick(problem, values, errors),
        progress=np.inf if known else (-np.inf if extreme else progress),
        asymptote_error=0.0 if known else np.nan_to_num(asymptote_error, posinf=np.inf),
        change=change,
        open_shape=line_open or step_open or endless,
    )
    step = progress > 1.0 and problem.origin == problem.first and len(problem.form.rates) == 1
    far = not known and _adrift(problem, solution, progress, asymptote_error, change)
    lost = int(losses(code, progress=progress, line_open=line_open, step=step, adrift=far))
    no_gain = "gain" not in problem.fixed and _no_gain(problem, rates, values, errors)
    why = _why(
        rates[0] < 0, extreme, code == NOT_SEEN and lost == CURVE, lost <= ERRORS and no_gain
    )
    why += FEWER_RATES if code == AT_BOUND and len(rates) > 1 else ""
    why += _held(problem, solution) if lost <= ERRORS else ""
    why += _of_sessions(untold)
    why += NO_END if endless and not flat else ""
    return Verdict(STATUSES[int(code)], progress, lost, why, level, level_error, no_gain, untold)


def _untold(
    problem: Problem,
    solution: Solution,
    values: Mapping[str, float],
    errors: Mapping[str, float],
    *,
    flat: bool,
) -> tuple[str, ...]:
    """Terms of sessions that these rows do not tell.

    The restart rate at a bound; terms that are, or whose standard errors are, more than ten times
    as large as what was seen, which cancel each other; savings where no way was gained, or more
    than ten times of it.
    """
    if problem.sessions is None:
        return ()
    bare = replace(problem, whitening=None)
    seen = float(np.ptp(bare.predictor(solution.theta, solution.coefficients)))

    def far(name: str, size: float) -> bool:
        most = FARTHEST_GAIN * size
        return not abs(values[name]) <= most or errors[name] > most

    found = [name for name in problem.sessions.terms if far(name, seen)]
    for loss, saved in zip(problem.sessions.losses, problem.sessions.savings):
        if flat or loss in found or far(saved, 1.0):
            found.append(saved)
    stuck = dict(zip(problem.free_rates, solution.at_bound))
    return (*found, *(["restart_rate"] if stuck.get("restart_rate") else []))


def _of_sessions(untold: Sequence[str]) -> str:
    """What of the sessions is missing, and why."""
    saved = [name for name in untold if name.startswith("savings[")]
    mixed = [name for name in untold if name not in saved and name != "restart_rate"]
    said = ""
    if mixed:
        said += (
            f" Not estimated: {', '.join(mixed)}; they cancel, because what fades within a session "
            "cannot be told from what practice makes good."
        )
    if saved:
        said += f" Not estimated: {', '.join(saved)}; too little was gained before to take a share."
    if "restart_rate" in untold:
        said += (
            " Not estimated: the restart rate; what a restart costs is over within a trial or does "
            "not fade at all."
        )
    return said


def _change(
    problem: Problem, values: Mapping[str, float], drop: np.ndarray, eta: np.ndarray
) -> float:
    """Size of the fitted change over the practice, ``drop`` the log basis at its ends."""
    rates = [values[name] for name in problem.form.rates]
    top = problem.form.log_basis(np.array(problem.first), rates, problem.first)
    with np.errstate(over="ignore", invalid="ignore"):
        change = abs(values["start"] - values["asymptote"]) * np.ptp(np.exp(drop - top))
    # Far from the first trial a quick curve has no start that a float can hold.
    return float(change if np.isfinite(change) else np.ptp(eta))


def _why(leaves: bool, extreme: bool, far: bool, no_gain: bool) -> str:
    """What to add to the meaning of a status."""
    said = " The curve leaves its fixed asymptote as practice goes on." if leaves else ""
    said += " The hit rate runs into 0 or 1, where the logit is infinite." if extreme else ""
    if far:
        said += (
            " Here it lies so far beyond what was seen that asymptote, gain and rates are not "
            "estimated."
        )
    if no_gain:
        said += (
            " The gain of this form belongs to a trial long before the first and is not "
            "estimated; the start is."
        )
    return said


def _adrift(
    problem: Problem, solution: Solution, progress: float, error: float, change: float
) -> bool:
    lowest = not _stuck_high(problem, solution).get(problem.form.tail or "", True)
    count = len(problem.form.rates)
    return bool(adrift(progress=progress, error=error, change=change, rates=count, stuck=lowest))


def _no_gain(
    problem: Problem,
    rates: Sequence[float],
    values: Mapping[str, float],
    errors: Mapping[str, float],
) -> bool:
    with np.errstate(over="ignore"):
        lift = np.exp(-problem.form.log_basis(np.array(problem.origin), rates, problem.first))
    return bool(gain_adrift(values["gain"], errors["gain"], lift))


def _at_bound(problem: Problem, solution: Solution) -> bool:
    main = [b for name, b in zip(problem.free_rates, solution.at_bound) if name != "restart_rate"]
    if len(problem.form.rates) == 1:
        return bool(main) and main[0]
    return bool(main) and (all(main) or _runaway(problem, solution))


def _held(problem: Problem, solution: Solution) -> str:
    """Which rate is missing beside others that are told, and what that means for them."""
    own = problem.form.rates
    stuck = [name for name, b in zip(problem.free_rates, solution.at_bound) if b and name in own]
    if not stuck:
        return ""
    return (
        f" Not estimated: {', '.join(stuck)}, which came to the end of its range; the other terms "
        "are given with it held there."
    )


def _quick(problem: Problem, values: Mapping[str, float], errors: Mapping[str, float]) -> bool:
    """Whether the first of several rates is that of a step, as far as is known."""
    name, *others = problem.form.rates
    highest = problem.form.bounds(problem.n)[0][1]
    free = bool(others) and name not in problem.fixed
    return free and bool(all_but_a_step(values[name], errors[name], highest))


def _runaway(problem: Problem, solution: Solution) -> bool:
    """Whether a rate is stuck at its upper bound."""
    return any(_stuck_high(problem, solution).values())


def _stuck_high(problem: Problem, solution: Solution) -> dict[str, bool]:
    """For every rate at a bound whether that is the upper one."""
    pairs = dict(zip(problem.form.rates, problem.form.bounds(problem.n)))
    return {
        name: bool(value > np.sqrt(pairs[name][0] * pairs[name][1]))
        for name, value, stuck in zip(problem.free_rates, solution.theta, solution.at_bound)
        if stuck and name in pairs
    }


def _open_ends(problem: Problem, solution: Solution, rates: Sequence[float]) -> tuple[bool, bool]:
    """Whether the straight line and the step are not rejected; asked where a rate is free."""
    free = [name for name in problem.form.rates if name not in problem.fixed]
    if not free or rates[0] < 0:
        return False, False
    found = []
    for end in problem.form.extremes(problem.n):
        held = {name: v for name, v in zip(problem.form.rates, end) if name in free}
        simple = replace(problem, fixed={**problem.fixed, **held})
        found.append(_as_good(problem, solution, simple))
    return found[0], found[1] or _step_anywhere(problem, solution)


def _step_anywhere(problem: Problem, solution: Solution) -> bool:
    """Whether a step between any two trials is not rejected, of a form whose middle is a rate.

    What fades within a session does so at the rate of the fit.
    """
    middle = problem.form.middle
    if middle is None or {"rate", middle} & set(problem.fixed):
        return False
    rates = dict(zip(problem.free_rates, map(float, solution.theta)))
    rates["rate"] = dict(zip(problem.form.rates, problem.form.bounds(problem.n)))["rate"][1]
    counts = np.unique(problem.n)
    losses = [
        solve(replace(problem, fixed={**problem.fixed, **rates, middle: float(place)})).loss
        for place in (counts[1:] + counts[:-1]) / 2
    ]
    loss, many = solution.loss, len(problem.free)
    return bool(not_rejected(loss, min(losses), len(problem.y), many, 1, binomial=problem.binomial))


def _as_good(problem: Problem, solution: Solution, simple: Problem) -> bool:
    """Whether a simpler line is not rejected against the curve."""
    extra = len(problem.free) - len(simple.free)
    return bool(
        not_rejected(
            solution.loss,
            solve(simple).loss,
            len(problem.y),
            len(problem.free),
            extra,
            binomial=problem.binomial,
        )
    )


def _flat(problem: Problem, solution: Solution) -> tuple[bool, float, float]:
    """Whether a flat line is not rejected, its level and error; asked where the gain is free."""
    held = [name for name in ("asymptote", "gain", "start") if name in problem.fixed]
    if "gain" in held or len(held) > 1:
        return False, np.nan, np.nan
    still = {"gain": 0.0, **dict.fromkeys(problem.form.rates, 1.0)}
    if held:
        still["asymptote"] = problem.fixed[held[0]]
    flat = replace(problem, fixed=still)
    found = solve(flat)
    as_good = _as_good(problem, solution, flat)
    if held:
        return as_good, still["asymptote"], 0.0
    _, weight = flat.working(flat.predictor(found.theta, found.coefficients))
    spare = max(len(problem.y) - len(flat.free), 1)
    noise = 1.0 if problem.binomial else 2 * found.loss / spare
    return as_good, float(found.coefficients[0]), float(np.sqrt(noise / weight.sum()))
