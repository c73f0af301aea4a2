"""Rows of a population as arrays of whole learners, and the basis of their curves there.

Asymptote and amount enter linearly; what is left is the basis at each learner's log rate. Sessions
push it back, a second rate bends it, and rows are whitened where the noise is not alike.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

import numpy as np

from motorlearn.curves.forms import Form

LARGEST_LOG_RATE = 60.0
"""Log rate beyond which every curve is the same step, to the last digit."""


def rate_of(log_rate: Any) -> Any:
    """Rate of a log rate, which a search may have sent as far as it likes."""
    return np.exp(np.minimum(log_rate, LARGEST_LOG_RATE))


class Dressing(Protocol):
    """What puts common terms on learners."""

    @property
    def starts(self) -> tuple[float, ...]:
        """Where the search for the common terms begins."""

    @property
    def noise(self) -> "Dressing | None":
        """The common terms that describe the noise alone."""

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the common terms."""

    def natural(self, values: np.ndarray) -> np.ndarray:
        """Values on the scale on which they are told."""

    def aged(self, age: np.ndarray) -> "Dressing":
        """The same with another measure of what the spread is a power of."""

    def dressed(self, data: "Learners", values: np.ndarray) -> "Learners":
        """Learners as they are with these values, real or complex."""


@dataclass(frozen=True)
class White:
    """Turns rows with an SD of their own and correlated neighbours into alike, independent ones.

    ``previous`` is the place of the row before each in the same session (-1 for none), ``carry``
    the correlation with it; ``spread`` the SD up to a common factor.
    """

    spread: np.ndarray
    previous: np.ndarray
    carry: np.ndarray

    def apply(self, rows: np.ndarray) -> np.ndarray:
        """Whitened rows, real or complex; shape (learners, rows) or (learners, nodes, rows)."""
        several = rows.ndim == 3
        spread, carry = (part[:, None] if several else part for part in (self.spread, self.carry))
        scaled = rows / spread
        place = np.maximum(self.previous, 0)
        place = np.broadcast_to(place[:, None] if several else place, rows.shape)
        before = np.take_along_axis(scaled, place, axis=-1)
        found: np.ndarray = (scaled - carry * before) / np.sqrt(1 - carry**2)
        return found

    def volume(self, used: np.ndarray) -> np.ndarray:
        """Logarithm of the factor by which whitening shrinks each learner's rows, as a column."""
        logs = np.log(self.spread) + 0.5 * np.log(1 - self.carry**2)
        found: np.ndarray = np.sum(used * logs, axis=1)[:, None]
        return found


@dataclass(frozen=True)
class SessionRows:
    """Sessions of the rows, padded, and what sessions do to the basis.

    ``member`` is the session of each row (0 for the first of a learner), ``begin`` the practice
    count at which each session begins (learners, sessions), ``elapsed`` practice since then.
    """

    member: np.ndarray
    begin: np.ndarray
    elapsed: np.ndarray
    savings: Any = 1.0
    warm_up: Any = 0.0
    restart_rate: Any = 1.0

    @property
    def weights(self) -> np.ndarray:
        """Share that each begin has in the basis of each row, (begins, learners, rows)."""
        count = self.begin.shape[1]
        s = self.savings
        shares = [np.where(self.member >= 0, s ** self.member.astype(float), 0.0)]
        for k in range(1, count):
            later = np.maximum(self.member - k, 0).astype(float)
            shares.append(np.where(self.member >= k, (1 - s) * s**later, 0.0))
        return np.array(shares)

    @property
    def fading(self) -> np.ndarray:
        """What a restart adds to the basis at each row."""
        found: np.ndarray = np.where(
            self.member > 0, self.warm_up * np.exp(-self.restart_rate * self.elapsed), 0.0
        )
        return found


@dataclass(frozen=True)
class Learners:
    """Padded rows of all learners; ``used`` is 0 on padding. ``trials`` holds attempts of hits.

    ``common`` names what all have in common; it gives ``second``, the second rate of a form that
    has one, ``sessions``, what restarts do to the basis, and ``white``, how rows are whitened.
    ``law`` is that of the errors (normal, lognormal or t), ``tail`` the degrees of freedom of t.
    """

    form: Form
    n: np.ndarray
    y: np.ndarray
    used: np.ndarray
    group: np.ndarray
    first: float
    start: bool
    trials: np.ndarray | None = None
    common: Dressing | None = None
    second: Any = None
    sessions: SessionRows | None = None
    white: White | None = None
    law: str = "normal"
    tail: Any = None

    @property
    def closed(self) -> bool:
        """Whether asymptote and amount can be integrated out in closed form."""
        return self.trials is None and self.law == "normal"

    @property
    def anchored(self) -> bool:
        """Whether the basis is 1 at the first trial."""
        return self.start or self.form.anchored

    @cached_property
    def rows(self) -> np.ndarray:
        """Number of rows of each learner, as a column."""
        found: np.ndarray = self.used.sum(axis=1)[:, None]
        return found

    @cached_property
    def ones(self) -> np.ndarray:
        """The column of the asymptote: 1 at every row, whitened."""
        found: np.ndarray = self.used
        return found if self.white is None else self.white.apply(found) * self.used

    @cached_property
    def count(self) -> np.ndarray:
        """Squares of the ones of each learner, as a column."""
        found: np.ndarray = np.sum(self.ones**2, axis=1)[:, None]
        return found

    @cached_property
    def volume(self) -> np.ndarray | float:
        """Logarithm of the factor by which whitening shrinks each learner's rows."""
        return 0.0 if self.white is None else self.white.volume(self.used)

    @cached_property
    def squares(self) -> np.ndarray:
        """Sum of squares of each learner's scores, as a column."""
        found: np.ndarray = np.sum(self.heavy**2, axis=1)[:, None]
        return found

    @cached_property
    def heavy(self) -> np.ndarray:
        """Scores with padding set to 0, whitened."""
        bare: np.ndarray = self.used * self.y
        return bare if self.white is None else self.white.apply(bare) * self.used

    @cached_property
    def total(self) -> np.ndarray:
        """Product of each learner's scores with the ones, as a column."""
        found: np.ndarray = np.sum(self.heavy * self.ones, axis=1)[:, None]
        return found

    @cached_property
    def pair(self) -> np.ndarray:
        """Ones and scores side by side, shape (learners, rows, 2)."""
        return np.stack([self.ones, self.heavy], axis=2)

    def _log_slope(self, n: np.ndarray) -> tuple[np.ndarray, Any]:
        """Derivative of the log basis by the rate, which it is linear in, and what is left."""
        if not self.second:
            return self.form.slopes(n, [1.0], self.first)[0], 0.0
        slope = self.form.slopes(n, [1.0, *self.second], self.first)[0]
        return slope, self.form.log_basis(n, [1.0, *self.second], self.first) - slope

    def log_basis(self, n: np.ndarray, rate: float) -> np.ndarray:
        """Log basis at practice counts, sessions left aside."""
        rates = self.form.shared.rates(rate, *(self.second or ()))
        return self.form.log_basis(n, rates, self.first)

    @cached_property
    def _exponents(self) -> tuple[np.ndarray, Any]:
        slope, rest = self._log_slope(self.n)
        if self.anchored:
            top, more = self._log_slope(np.array(self.first))
            slope, rest = slope - top, rest - more
        return slope, rest

    @cached_property
    def _falling(self) -> bool:
        """Whether no row is padding, and the basis is a power of what is 1 at most."""
        if not self.form.linear:
            return False
        slope, rest = self._exponents
        plain = isinstance(rest, float) and rest == 0
        return plain and bool(self.used.all()) and bool(np.max(np.real(slope)) <= 0)

    def fall(self, log_rate: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Basis and its derivative by the log rate, padding 0; shape (learners, nodes, rows)."""
        basis, tilt = self.bare(log_rate)
        if self.white is None:
            return basis, tilt
        used = self.used[:, None, :]
        return self.white.apply(basis) * used, self.white.apply(tilt) * used

    def bare(self, log_rate: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Basis and its derivative before whitening."""
        rate = rate_of(log_rate)[:, :, None]
        used = self.used[:, None, :]
        if self.sessions is not None:
            return self._with_sessions(rate, used)
        height, turn = self._at_rows(rate)
        if self._falling:
            basis = np.exp(height)
            return basis, np.multiply(turn, basis, out=turn)
        basis = _exp(height) * used
        return basis, turn * basis

    def _at_rows(self, rate: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Log basis at the rows and its derivative by the log rate, (learners, nodes, rows)."""
        if not self.form.linear:
            return self._at(self.n[:, None, :], rate)
        slope, rest = self._exponents
        steep = rate * slope[:, None, :]
        return steep if self._falling else steep + _node(rest), steep

    def _at(self, n: np.ndarray, rate: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Log basis at other places and its derivative, from 0 at the first trial if anchored."""
        height, turn = self._bare_at(n, rate)
        if self.anchored:
            top, lean = self._bare_at(np.array(self.first), rate)
            height, turn = height - top, turn - lean
        return height, turn

    def _bare_at(self, n: np.ndarray, rate: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Log basis and its derivative by the log rate."""
        if self.form.linear:
            slope, rest = self._log_slope(n)
            return rate * slope + rest, rate * slope
        shared = self.second or ()
        rates = self.form.shared.rates(rate, *shared)
        turns = self.form.shared.turns(rate, *shared)
        slopes = self.form.slopes(n, rates, self.first)
        turn: np.ndarray = sum(a * b for a, b in zip(slopes, turns)) + 0.0 * rate
        return self.form.log_basis(n, rates, self.first), turn

    def _with_sessions(self, rate: np.ndarray, used: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Basis and derivative where sessions push the basis back."""
        assert self.sessions is not None
        here, slope = self._at_rows(rate)
        top, lean = self._at(np.array(self.first), rate)
        basis: Any = 0.0
        tilt: Any = 0.0
        for k, weight in enumerate(self.sessions.weights):
            # The first begin is the begin of practice, where the exponent is that of the curve.
            back, turn = here, slope
            if k:
                begin, fall = self._at(self.sessions.begin[:, None, [k]], rate)
                later = self.sessions.member[:, None, :] >= k
                back = np.where(later, here + top - begin, 0.0)
                turn = np.where(later, slope + lean - fall, 0.0)
            part = weight[:, None, :] * _exp(back)
            basis, tilt = basis + part, tilt + turn * part
        fading = self.sessions.fading[:, None, :] * _exp(top)
        return (basis + fading) * used, (tilt + lean * fading) * used


def _exp(steep: Any) -> np.ndarray:
    """Exponential that stays finite."""
    found: np.ndarray = np.exp(np.minimum(steep, 600.0))
    return found


def _node(part: Any) -> Any:
    """Something by learner and row, with room for the nodes."""
    return part[:, None, :] if isinstance(part, np.ndarray) and part.ndim == 2 else part


STEP = 1e-30
"""Size of imaginary steps."""


def imaginary(data: Learners, values: np.ndarray) -> Iterator[Learners]:
    """Learners with each common term moved by an imaginary step, one after the other."""
    assert data.common is not None
    for k in range(len(values)):
        moved = values.astype(complex)
        moved[k] += 1j * STEP
        yield data.common.dressed(data, moved)
