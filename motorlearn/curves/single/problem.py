"""One learner's curve as a regression: what is free, what enters linearly, the residuals."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from scipy.special import log_expit

from motorlearn.curves.forms import Form
from motorlearn.measures.hits import log_choose

LARGEST_LOGIT = 15.0
"""Logits beyond this stand for a hit rate of 0 or 1."""
HEIGHTS = ("asymptote", "gain", "start")


@dataclass(frozen=True)
class Sessions:
    """Which session each row belongs to, and how much practice it holds before that row."""

    labels: tuple[object, ...]
    member: np.ndarray
    elapsed: np.ndarray
    begin: np.ndarray
    kind: str = "warm-up"

    @property
    def fades(self) -> bool:
        """Whether there are restart terms, which fade."""
        return self.kind != "savings"

    @property
    def loses(self) -> bool:
        """Whether there are losses, which practice has to make good."""
        return self.kind != "warm-up"

    @property
    def restarts(self) -> tuple[str, ...]:
        """Names of the restart terms: one for every session after the first."""
        return tuple(f"restart[{label}]" for label in self.labels[1:]) if self.fades else ()

    @property
    def losses(self) -> tuple[str, ...]:
        """Names of the losses: one for every session after the first."""
        return tuple(f"loss[{label}]" for label in self.labels[1:]) if self.loses else ()

    @property
    def savings(self) -> tuple[str, ...]:
        """Names of the savings: one for every session after the first."""
        return tuple(f"savings[{label}]" for label in self.labels[1:]) if self.loses else ()

    @property
    def terms(self) -> tuple[str, ...]:
        """Names of the linear terms."""
        return self.restarts + self.losses

    def columns(self, rate: Any, log_basis: np.ndarray, at: Callable[[float], Any]) -> list[Any]:
        """Columns of the terms, 1 at the first trial of their session.

        Restart terms fade at a rate of their own and end with the session; losses fade as the
        rest of the way does, ``f(n) / f(begin)``, and go on.
        """
        later = range(1, len(self.labels))
        found: list[Any] = []
        if self.fades:
            fading = np.exp(-rate * self.elapsed)
            found += [fading * (self.member == k) for k in later]
        if self.loses:
            found += [
                np.exp(np.where(self.member >= k, log_basis - at(self.begin[k]), 0.0))
                * (self.member >= k)
                for k in later
            ]
        return found

    def saved(self, known: Mapping[str, Any], way: Callable[[float], Any]) -> dict[str, Any]:
        """Savings of each later session: 1 less its loss as a share of the way gained before.

        ``way(n)`` is what the curve without losses has gained since the first trial, as a
        share of the gain; ``known`` holds ``height`` of the way and the losses.
        """
        found = {}
        for k, name in enumerate(self.savings, start=1):
            back = sum(
                known[self.losses[j - 1]] * known["fall"](self.begin[j], self.begin[k])
                for j in range(1, k)
            )
            gained = way(self.begin[k]) - back
            found[name] = 1 - known[self.losses[k - 1]] / gained
        return found


@dataclass(frozen=True)
class Whitening:
    """Turns rows with their own SD and correlated neighbours into alike, independent ones.

    ``before`` is the row before each in practice (-1 for none), ``carry`` the correlation with it.
    """

    spread: np.ndarray
    before: np.ndarray
    carry: np.ndarray

    def apply(self, column: np.ndarray) -> np.ndarray:
        """Whitened column, real or complex."""
        scaled = column / self.spread
        found: np.ndarray = (scaled - self.carry * scaled[self.before]) / np.sqrt(1 - self.carry**2)
        return found

    def apply_rows(self, matrix: np.ndarray) -> np.ndarray:
        """Whitened columns of a matrix."""
        scaled = matrix / self.spread[:, None]
        fresh = scaled - self.carry[:, None] * scaled[self.before]
        found: np.ndarray = fresh / np.sqrt(1 - self.carry**2)[:, None]
        return found

    @property
    def log_volume(self) -> float:
        """Logarithm of the factor by which whitening shrinks volumes."""
        return float(np.sum(np.log(self.spread)) + 0.5 * np.sum(np.log1p(-(self.carry**2))))


@dataclass(frozen=True)
class Problem:
    """Rows of one learner, the form, and what is held fixed.

    ``weights`` are precision weights of Gaussian outcomes, or attempts of a binomial one; then
    ``y`` holds hits. With ``whitening`` the curve is whitened, and ``y`` has been.
    """

    form: Form
    n: np.ndarray
    y: np.ndarray
    weights: np.ndarray
    binomial: bool = False
    first: float = 1.0
    fixed: Mapping[str, float] = field(default_factory=dict)
    sessions: Sessions | None = None
    whitening: Whitening | None = None

    @cached_property
    def rates(self) -> tuple[str, ...]:
        """Every non-linear parameter, free or not."""
        fades = self.sessions is not None and self.sessions.fades
        return self.form.rates + (("restart_rate",) if fades else ())

    @cached_property
    def free_rates(self) -> tuple[str, ...]:
        """Non-linear parameters that are estimated."""
        return tuple(name for name in self.rates if name not in self.fixed)

    @cached_property
    def linear(self) -> tuple[str, ...]:
        """Linear parameters that are estimated, in the order of the columns."""
        held = [name for name in HEIGHTS if name in self.fixed]
        kept = {
            (): ("level", "height"),
            ("asymptote",): ("height",),
            ("gain",): ("asymptote",),
            ("start",): ("asymptote",),
        }
        return kept.get(tuple(held), ()) + (self.sessions.terms if self.sessions else ())

    @property
    def free(self) -> tuple[str, ...]:
        """Every estimated parameter, non-linear ones first."""
        return self.free_rates + self.linear

    @cached_property
    def origin(self) -> float:
        """Smallest practice count: the basis is scaled to 1 there."""
        return float(np.min(self.n))

    def rates_in_full(self, theta: np.ndarray) -> dict[str, Any]:
        """Free non-linear values together with the fixed ones."""
        given = dict(zip(self.free_rates, theta))
        return {name: given.get(name, self.fixed.get(name)) for name in self.rates}

    def parts(self, theta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Offset and linear columns, shape (rows, terms), at some non-linear values."""
        offset, columns = self._bare_parts(theta)
        design = np.stack(columns, axis=1) if columns else np.zeros((len(self.n), 0))
        if self.whitening is not None:
            return self.whitening.apply(offset), self.whitening.apply_rows(design)
        return offset, design

    def _bare_parts(self, theta: np.ndarray) -> tuple[np.ndarray, list[np.ndarray]]:
        rates = self.rates_in_full(theta)
        inner = [rates[name] for name in self.form.rates]
        log_basis = self.form.log_basis(self.n, inner, self.first)
        held = {name: self.fixed[name] for name in HEIGHTS if name in self.fixed}
        offset, columns = self._curve_parts(inner, log_basis, held)
        if self.sessions:
            columns = columns + self.sessions.columns(
                rates.get("restart_rate"),
                log_basis,
                lambda n: self.form.log_basis(np.array(n), inner, self.first),
            )
        return offset, columns

    def _curve_parts(
        self, inner: list[Any], log_basis: np.ndarray, held: dict[str, float]
    ) -> tuple[np.ndarray, list[np.ndarray]]:
        one = np.ones_like(self.n)

        def at(n: float) -> np.ndarray:
            return self.form.log_basis(np.array(n), inner, self.first)

        if "start" in held:
            share = np.exp(log_basis - at(self.first))
            if "asymptote" in held:
                return held["asymptote"] + (held["start"] - held["asymptote"]) * share, []
            if "gain" in held:
                drop = held["gain"] * (np.exp(log_basis) - np.exp(at(self.first)))
                return held["start"] + drop, []
            return held["start"] * share, [1 - share]
        if "gain" in held:
            offset = held["gain"] * np.exp(log_basis)
            return (offset + held["asymptote"], []) if "asymptote" in held else (offset, [one])
        fallen = log_basis - at(self.origin)
        if "asymptote" in held:
            return held["asymptote"] * one, [np.exp(fallen)]
        return 0.0 * one, [one, np.expm1(fallen)]

    def predictor(self, theta: np.ndarray, coefficients: np.ndarray) -> np.ndarray:
        """Curve at the rows; on the logit scale where the outcome is binomial."""
        offset, columns = self._bare_parts(theta)
        bare = offset + sum((c * column for c, column in zip(coefficients, columns)), 0.0)
        return bare if self.whitening is None else self.whitening.apply(bare)

    def values(self, theta: np.ndarray, coefficients: np.ndarray) -> dict[str, Any]:
        """Natural parameters: asymptote, gain, rates, restart terms and the start."""
        rates = self.rates_in_full(theta)
        inner = [rates[name] for name in self.form.rates]

        def at(n: float) -> np.ndarray:
            return self.form.log_basis(np.array(n), inner, self.first)

        known = {**self.fixed, **dict(zip(self.linear, coefficients))}
        top = np.exp(at(self.first))
        if "height" in known:
            with np.errstate(over="ignore", invalid="ignore"):
                known["gain"] = known["height"] * np.exp(-at(self.origin))
        if "level" in known:
            known["asymptote"] = known["level"] - known["height"]
        if "gain" not in known:
            known["gain"] = (known["start"] - known["asymptote"]) / top
        if "asymptote" not in known:
            known["asymptote"] = known["start"] - known["gain"] * top
        if "height" in known:
            with np.errstate(over="ignore", invalid="ignore"):
                rise = known["height"] * np.exp(at(self.first) - at(self.origin))
            known["start"] = known["asymptote"] + rise
        elif "start" not in known:
            known["start"] = known["asymptote"] + known["gain"] * top
        inner_values = {name: rates[name] for name in self.form.rates}
        result = {"asymptote": known["asymptote"], "gain": known["gain"], **inner_values}
        if self.sessions:
            result |= {term: known[term] for term in self.sessions.terms}
            result |= {name: rates[name] for name in self.rates if name == "restart_rate"}
            result |= self._saved(known, at)
        return result | {"start": known["start"]}

    def _saved(self, known: dict[str, Any], at: Callable[[float], Any]) -> dict[str, Any]:
        """Savings: the share of the way from the start that a session still has at its begin."""
        assert self.sessions is not None
        top = at(self.first)
        fall = {"fall": lambda early, late: np.exp(at(late) - at(early))}
        with np.errstate(all="ignore"):
            return self.sessions.saved(
                known | fall,
                lambda n: (known["start"] - known["asymptote"]) * (1 - np.exp(at(n) - top)),
            )

    def jacobian(self, theta: np.ndarray, coefficients: np.ndarray) -> np.ndarray:
        """Derivatives of the predictor by the free parameters, exact to rounding.

        By the rates with complex steps; those by the linear parameters are their columns.
        """
        by_rates = complex_step(lambda rates: self.predictor(rates, coefficients), theta)
        return np.concatenate([by_rates, self.parts(theta)[1]], axis=1)

    def working(self, eta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Score residual and information weight of each row at a predictor."""
        if not self.binomial:
            return self.weights * (self.y - eta), self.weights
        p = np.exp(log_expit(eta))
        return self.y - self.weights * p, self.weights * p * np.exp(log_expit(-eta))

    def loss(self, eta: np.ndarray) -> float:
        """Half the weighted sum of squares, or minus the log-likelihood kernel."""
        if not self.binomial:
            return 0.5 * float(self.weights @ (self.y - eta) ** 2)
        return -float(self.y @ log_expit(eta) + (self.weights - self.y) @ log_expit(-eta))

    def loglik(self, loss: float) -> float:
        """Log-likelihood with its constant; the Gaussian one at its best residual variance."""
        if self.binomial:
            return float(np.sum(log_choose(self.y, self.weights))) - loss
        count = len(self.y)
        with np.errstate(divide="ignore"):
            spread = np.log(2 * np.pi * 2 * loss / count)
        return float(-0.5 * count * (spread + 1) + 0.5 * np.sum(np.log(self.weights)))


def complex_step(function: Callable[[np.ndarray], np.ndarray], point: np.ndarray) -> np.ndarray:
    """Jacobian of an analytic function, by imaginary steps: no subtraction, no rounding loss."""
    steps = np.maximum(np.abs(point), 1.0) * 1e-30
    columns = []
    for k, step in enumerate(steps):
        moved = point.astype(complex)
        moved[k] += 1j * step
        columns.append(np.imag(function(moved)) / step)
    return np.stack(columns, axis=-1) if columns else np.zeros((len(function(point)), 0))
