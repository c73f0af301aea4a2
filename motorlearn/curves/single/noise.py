r"""Noise as it is: spread that changes, neighbours that are alike, skewed or heavy-tailed errors.

The curve and the noise are fitted in turn. Given the noise, scores and curve are whitened and the
curve is a least-squares problem; given the curve, the power of the spread and the correlation
maximise the restricted likelihood of the residuals (generalised least squares with an estimated
variance function). At the end both agree.

References
----------
Carroll, R. J., & Ruppert, D. (1988). Transformation and Weighting in Regression. Chapman & Hall.
https://doi.org/10.1201/9780203735268

Lange, K. L., Little, R. J. A., & Taylor, J. M. G. (1989). Journal of the American Statistical
Association, 84, 881-896. https://doi.org/10.1080/01621459.1989.10478852
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize, minimize_scalar
from scipy.stats import t as student

from motorlearn import digits
from motorlearn.curves.options import one_of
from motorlearn.curves.single.problem import Problem, Whitening
from motorlearn.curves.single.solving import Solution, solve
from motorlearn.exceptions import InputError

ERRORS = ("normal", "lognormal", "t")
VARIANCES = ("equal", "mean", "practice")
CORRELATIONS = ("none", "ar1")
MOST_ROUNDS, STEPS_OF_ROUND = 100, 40
MOST_CREEPING = 25
"""Rounds whose search may creep along a ridge, as where terms of sessions cancel each other."""
SETTLED = 1e-9
LEAST_TAIL, MOST_TAIL = 2.5, 200.0
LARGEST_POWER, LARGEST_CORRELATION = 5.0, 0.99
DEPENDENT = 1e-10
"""Singular value, by the largest, below which slopes of the curve depend on each other."""


@dataclass(frozen=True)
class Noise:
    """What the errors are like: their law, their spread and their correlation."""

    errors: str = "normal"
    variance: str = "equal"
    correlation: str = "none"

    @property
    def plain(self) -> bool:
        """Whether errors are normal, spread alike and independent."""
        return self == Noise()


def check_noise(errors: str, variance: str, correlation: str, *, binomial: bool = False) -> Noise:
    """Refuse unknown words and pairs that cannot be told apart."""
    noise = Noise(
        one_of(errors, ERRORS, "law of the errors"),
        one_of(variance, VARIANCES, "variance"),
        one_of(correlation, CORRELATIONS, "correlation"),
    )
    if binomial and not noise.plain:
        raise InputError(
            "hits have the noise of their likelihood: errors, variance and correlation are for "
            "scores",
            [errors, variance, correlation],
            "use interval='sandwich' for hits that spread more",
        )
    if errors == "lognormal" and variance == "mean":
        raise InputError("lognormal errors spread with the mean already", [variance])
    if errors == "t" and correlation == "ar1":
        raise InputError("errors of a t distribution are fitted without correlation", ["ar1"])
    return noise


@dataclass(frozen=True)
class NoiseFit:
    """The whitened problem at its solution, the noise terms, and the log-likelihood.

    ``heavy`` weighs rows down that stray, ``terms`` may hold ``spread_power``, ``correlation``
    and ``tail`` (degrees of freedom of the t distribution); ``fitted`` is the curve at the rows on
    the scale of the scores.
    """

    problem: Problem
    solution: Solution
    terms: Mapping[str, float]
    fitted: np.ndarray
    loglik: float
    settled: bool
    heavy: np.ndarray | float = 1.0


@dataclass(frozen=True)
class _State:
    """Where the search stands: the curve at the rows and the noise terms."""

    fitted: np.ndarray
    power: float = 0.0
    correlation: float = 0.0
    tail: float = 8.0
    heavy: np.ndarray | float = 1.0


def fit_noise(problem: Problem, noise: Noise, *, restricted: bool = True) -> NoiseFit:
    """Fit curve and noise in turn until both stand still.

    ``restricted`` takes the parameters of the curve into account where the noise is estimated;
    without it the noise is that of maximum likelihood, too small and too little correlated.
    """
    _refuse_negative(problem, noise)
    plain = solve(problem)
    state = _State(problem.predictor(plain.theta, plain.coefficients))
    solution, settled, looked, creeping = plain, False, False, 0
    for _ in range(MOST_ROUNDS):
        state = _noise_given_curve(problem, noise, state, solution, restricted)
        white = _whitened(problem, noise, state)
        found = solve(white, solution.theta, STEPS_OF_ROUND)
        fitted = problem.predictor(found.theta, found.coefficients)
        moved = np.max(np.abs(fitted - state.fitted)) / max(np.ptp(fitted), 1e-300)
        state, solution = replace(state, fitted=fitted), found
        creeping += not found.converged
        if creeping > MOST_CREEPING:
            break
        if moved < SETTLED:
            anywhere = solve(white, most_steps=STEPS_OF_ROUND)
            if looked or anywhere.loss >= found.loss * (1 - 1e-7):
                settled = True
                break
            solution, looked = anywhere, True
            fitted = problem.predictor(anywhere.theta, anywhere.coefficients)
            state = replace(state, fitted=fitted)
    white = _whitened(problem, noise, state)
    solution = solve(white, start=solution.theta)
    terms = _terms(noise, state)
    loglik = _loglik(problem, noise, state)
    return NoiseFit(white, solution, terms, state.fitted, loglik, settled, state.heavy)


def _refuse_negative(problem: Problem, noise: Noise) -> None:
    wrong = problem.y[problem.y <= 0]
    if noise.errors == "lognormal" and wrong.size:
        raise InputError("lognormal errors need scores above 0", wrong)


def _terms(noise: Noise, state: _State) -> dict[str, float]:
    terms = {}
    if noise.variance != "equal":
        terms["spread_power"] = state.power
    if noise.correlation == "ar1":
        terms["correlation"] = state.correlation
    if noise.errors == "t":
        terms["tail"] = state.tail
    return terms


def noise_in_words(terms: Mapping[str, float]) -> tuple[str, ...]:
    """A sentence for each term of the noise, which says where it came to the end of its range."""
    ends = {
        "spread_power": (-LARGEST_POWER, LARGEST_POWER),
        "correlation": (-LARGEST_CORRELATION, LARGEST_CORRELATION),
        "tail": (LEAST_TAIL, MOST_TAIL),
    }
    return tuple(
        f"Noise: {name} {digits.significant(value)}"
        + (", the end of its range." if np.isclose(value, ends[name], rtol=1e-3).any() else ".")
        for name, value in terms.items()
    )


def _positive(fitted: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Curve kept above 0, where its powers and logarithms are asked for."""
    found: np.ndarray = np.maximum(fitted, 1e-3 * np.median(np.abs(y)) + 1e-300)
    return found


def _spread(problem: Problem, noise: Noise, fitted: np.ndarray, power: float) -> np.ndarray:
    """SD of each row, up to a common factor."""
    base: np.ndarray = 1 / np.sqrt(problem.weights)
    if noise.variance == "mean":
        base = base * _positive(np.abs(fitted), problem.y) ** power
    if noise.variance == "practice":
        base = base * (problem.n - problem.n.min() + 1) ** power
    return base


def _scores(problem: Problem, noise: Noise, fitted: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Scores as the least squares see them, and a factor of their SD.

    For lognormal errors the logarithm is taken as linear near the curve, which at the end leaves
    the logarithmic residuals themselves.
    """
    if noise.errors != "lognormal":
        return problem.y, np.ones_like(problem.y)
    height = _positive(fitted, problem.y)
    return fitted + height * np.log(problem.y / height), height


def _whitening(
    problem: Problem, noise: Noise, state: _State, power: float, correlation: float
) -> Whitening:
    _, factor = _scores(problem, noise, state.fitted)
    spread = factor * _spread(problem, noise, state.fitted, power) / np.sqrt(state.heavy)
    return Whitening(spread, *_share(problem, noise, correlation))


def whitening_at(
    problem: Problem, noise: Noise, fit: NoiseFit, power: float, correlation: float
) -> Whitening:
    """Whitening of a fit with another power of the spread and another correlation."""
    state = _State(fit.fitted, heavy=fit.heavy)
    return _whitening(problem, noise, state, power, correlation)


def bare_residuals(problem: Problem, noise: Noise, fit: NoiseFit) -> np.ndarray:
    """Whitened residuals about the curve of a fit, on the scale of its errors."""
    scores, _ = _scores(problem, noise, fit.fitted)
    power, correlation = (fit.terms.get(name, 0.0) for name in ("spread_power", "correlation"))
    found: np.ndarray = whitening_at(problem, noise, fit, power, correlation).apply(
        scores - fit.fitted
    )
    return found


def _share(problem: Problem, noise: Noise, correlation: float) -> tuple[np.ndarray, np.ndarray]:
    """Row before each (-1 for none) and what of its residual carries over."""
    none = np.full(len(problem.n), -1)
    if noise.correlation == "none":
        return none, np.zeros(len(none))
    session = problem.sessions.member if problem.sessions else np.zeros(len(none), int)
    order = np.lexsort((problem.n, session))
    same = session[order[1:]] == session[order[:-1]]
    before = none.copy()
    before[order[1:]] = np.where(same, order[:-1], -1)
    gap = np.where(before >= 0, problem.n - problem.n[before], 1.0)
    whole = np.all(gap == np.rint(gap)) and np.all(gap > 0)
    return before, np.where(before >= 0, correlation ** (gap if whole else 1.0), 0.0)


def _whitened(problem: Problem, noise: Noise, state: _State) -> Problem:
    whitening = _whitening(problem, noise, state, state.power, state.correlation)
    scores, _ = _scores(problem, noise, state.fitted)
    ones = np.ones_like(problem.y)
    return replace(problem, y=whitening.apply(scores), weights=ones, whitening=whitening)


def _noise_given_curve(
    problem: Problem, noise: Noise, state: _State, solution: Solution, restricted: bool
) -> _State:
    scores, _ = _scores(problem, noise, state.fitted)
    residual = scores - state.fitted
    free = [noise.variance != "equal", noise.correlation == "ar1"]
    if any(free):
        jacobian = problem.jacobian(solution.theta, solution.coefficients)
        free_columns = np.r_[~np.array(solution.at_bound, bool), [True] * len(problem.linear)]
        spent = _space(jacobian[:, free_columns])

        def minus(point: np.ndarray) -> float:
            power, correlation = _unpack(point, free)
            white = _whitening(problem, noise, state, power, correlation)
            return _deviance(white, residual, spent if restricted else None)

        start = np.array([state.power, np.arctanh(state.correlation)])[free]
        best = minimize(minus, start, method="BFGS", options={"gtol": 1e-7}).x
        power, correlation = _unpack(best, free)
        state = replace(state, power=power, correlation=correlation)
    return _tails(problem, noise, state, residual) if noise.errors == "t" else state


def _unpack(point: np.ndarray, free: Sequence[bool]) -> tuple[float, float]:
    values = list(point)
    power = float(np.clip(values.pop(0), -LARGEST_POWER, LARGEST_POWER)) if free[0] else 0.0
    correlation = (
        float(np.clip(np.tanh(values.pop(0)), -LARGEST_CORRELATION, LARGEST_CORRELATION))
        if free[1]
        else 0.0
    )
    return power, correlation


def _space(jacobian: np.ndarray) -> np.ndarray:
    """Orthonormal columns that span those of a Jacobian; dependent ones span nothing more."""
    length = np.linalg.norm(jacobian, axis=0)
    found = np.linalg.svd(jacobian / np.where(length > 0, length, 1.0), full_matrices=False)
    return np.asarray(found[0][:, found[1] > DEPENDENT * found[1].max(initial=0.0)])


def _deviance(white: Whitening, residual: np.ndarray, spent: np.ndarray | None) -> float:
    """Minus twice the (restricted) log-likelihood of the residuals, but for a constant."""
    left = white.apply(residual)
    count = len(left) - (0 if spent is None else spent.shape[1])
    value = count * np.log(max(left @ left, 1e-300)) + 2 * white.log_volume
    if spent is None:
        return float(value)
    triangle = np.linalg.qr(white.apply_rows(spent), mode="r")
    return float(value + 2 * np.sum(np.log(np.maximum(np.abs(np.diag(triangle)), 1e-300))))


def _tails(problem: Problem, noise: Noise, state: _State, residual: np.ndarray) -> _State:
    """Weights and degrees of freedom of the t distribution (ECME)."""
    plain = _whitening(problem, noise, replace(state, heavy=1.0), state.power, 0.0)
    left = plain.apply(residual)
    scale = np.sqrt(np.mean(np.asarray(state.heavy) * left**2))
    tail = state.tail
    for _ in range(50):
        heavy = (tail + 1) / (tail + (left / scale) ** 2)
        scale = np.sqrt(np.mean(heavy * left**2))
        tail = _best_tail(left, scale)
        if abs(np.mean(heavy * (left / scale) ** 2) - 1) < 1e-12:
            break
    return replace(state, tail=tail, heavy=(tail + 1) / (tail + (left / scale) ** 2))


def _best_tail(left: np.ndarray, scale: float) -> float:
    found = minimize_scalar(
        lambda log_tail: -np.sum(student.logpdf(left / scale, np.exp(log_tail))),
        bounds=(np.log(LEAST_TAIL), np.log(MOST_TAIL)),
        method="bounded",
        options={"xatol": 1e-8},
    )
    return float(np.exp(found.x))


def _loglik(problem: Problem, noise: Noise, state: _State) -> float:
    scores, factor = _scores(problem, noise, state.fitted)
    white = _whitening(problem, noise, replace(state, heavy=1.0), state.power, state.correlation)
    left = white.apply(scores - state.fitted)
    volume = white.log_volume
    if noise.errors == "lognormal":
        volume += float(np.sum(np.log(problem.y)) - np.sum(np.log(factor)))
    if noise.errors == "t":
        scale = np.sqrt(np.mean(np.asarray(state.heavy) * left**2))
        density = np.sum(student.logpdf(left / scale, state.tail)) - len(left) * np.log(scale)
        return float(density - volume)
    count = len(left)
    return float(-0.5 * count * (np.log(2 * np.pi * (left @ left) / count) + 1) - volume)
