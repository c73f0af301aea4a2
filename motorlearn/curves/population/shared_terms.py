r"""What all learners of a population have in common beside their curves.

A second rate of the form, what sessions do, and how the noise is: a handful of numbers that do
not differ between learners. Each is kept on a scale without bounds:

=====================  ======================================================================
``prior_practice``     second rate of the form, as logarithm (``power_rate`` of APEX likewise)
``delay``              rate times midpoint of the S-shaped curve, as logarithm
``slowness``           slow rate as a share of the fast one, ``fast_share`` likewise, as logits
``savings``            share of the way gained that is still there when a session begins
``warm_up``            share of the whole way that is lost for a moment when a session begins
``restart_rate``       how fast that fades per unit of practice, as logarithm
``spread_power``       power of practice with which the SD of scores changes
``correlation``        of scores one unit of practice apart, as inverse hyperbolic tangent
``tail``               degrees of freedom of t errors: their inverse goes round with an angle
=====================  ======================================================================

With savings :math:`s` the basis of the curve, 1 before practice and 0 at the asymptote, is pushed
back at the begin of each later session, and goes on from there at its own relative rate:

.. math:: b \leftarrow s\, b + (1 - s), \qquad b(n) = b(n_s)\, f(n) / f(n_s)
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import numpy as np

from motorlearn.curves.forms import Form
from motorlearn.curves.forms.sharing import Shared
from motorlearn.curves.options import RESTARTS, one_of
from motorlearn.curves.population.learners import Learners, SessionRows, White
from motorlearn.curves.single.noise import LEAST_TAIL, MOST_TAIL, check_noise
from motorlearn.exceptions import InputError

OF_NOISE = ("spread_power", "correlation", "tail")
STARTS = {"savings": 0.95, "warm_up": 0.05, "restart_rate": -0.7, "correlation": 0.2, "tail": -0.6}
"""Where the search for a common term begins; other terms begin at 0."""


@dataclass(frozen=True)
class Asked:
    """What was asked for beside the curve."""

    session: str | None = None
    restart: str = "warm-up"
    variance: str = "equal"
    correlation: str = "none"
    second: bool = True
    errors: str = "normal"

    def checked(self) -> "Asked":
        """Refuse words that are not known, and pairs that cannot be told apart."""
        one_of(self.restart, RESTARTS, "restart")
        check_noise(self.errors, self.variance, self.correlation)
        return self

    def refuse_for_hits(self) -> None:
        """Refuse noise of scores where the outcome is hits."""
        check_noise(self.errors, self.variance, self.correlation, binomial=True)

    def names(self, form: Form) -> tuple[str, ...]:
        """Common terms in the order of the vector."""
        found = form.shared.names if self.second else ()
        if self.session is not None:
            found += ("savings",) if self.restart != "warm-up" else ()
            found += ("warm_up", "restart_rate") if self.restart != "savings" else ()
        found += ("spread_power",) if self.variance != "equal" else ()
        found += ("correlation",) if self.correlation == "ar1" else ()
        return found + (("tail",) if self.errors == "t" else ())


@dataclass(frozen=True)
class Common:
    """Which common terms a population has, in the order of the vector.

    ``session`` and ``previous`` say for each row to which session it belongs and which row of the
    same learner and session stands before it (-1: none).
    """

    names: tuple[str, ...] = ()
    starts: tuple[float, ...] = ()
    sessions: SessionRows | None = None
    previous: np.ndarray | None = field(default=None, repr=False)
    gap: np.ndarray | None = field(default=None, repr=False)
    age: np.ndarray | None = field(default=None, repr=False)
    shared: Shared | None = field(default=None, repr=False)

    def dressed(self, data: Learners, values: np.ndarray) -> Learners:
        """Learners as they are with these values, real or complex."""
        known: dict[str, Any] = dict(zip(self.names, values))
        shared = data.form.shared
        held = [known[name] for name in shared.names if name in known]
        return replace(
            data,
            second=shared.natural(held) if held else data.second,
            sessions=self._sessions(known),
            white=self._white(data, known),
            tail=tail_of(known["tail"]) if "tail" in known else None,
        )

    def _sessions(self, known: dict[str, Any]) -> SessionRows | None:
        if self.sessions is None:
            return None
        rate = known.get("restart_rate", 0.0)
        return replace(
            self.sessions,
            savings=known.get("savings", 1.0),
            warm_up=known.get("warm_up", 0.0),
            restart_rate=np.exp(rate),
        )

    def _white(self, data: Learners, known: dict[str, Any]) -> White | None:
        if "spread_power" not in known and "correlation" not in known:
            return None
        assert self.previous is not None and self.gap is not None and self.age is not None
        power = known.get("spread_power", 0.0)
        spread = np.where(data.used > 0, self.age ** (power + 0.0), 1.0)
        rho = np.tanh(known.get("correlation", 0.0))
        # A correlation of 0 has no power with a gap that is not whole.
        sign = np.where(np.real(rho) < 0, -1.0, 1.0)
        size = np.where(np.abs(rho) > 1e-12, sign * rho, 1e-12 + 0 * rho)
        carry = np.where(self.previous >= 0, sign**self.gap * size**self.gap, 0.0)
        return White(spread, self.previous, carry)

    @property
    def noise(self) -> "Common | None":
        """The terms of the noise alone."""
        kept = [k for k, name in enumerate(self.names) if name in OF_NOISE]
        if not kept:
            return None
        names, starts = tuple(self.names[k] for k in kept), tuple(self.starts[k] for k in kept)
        return replace(self, names=names, starts=starts, sessions=None)

    def natural(self, values: np.ndarray) -> np.ndarray:
        """Values on the scale on which they are told."""
        plain = ("savings", "warm_up", "spread_power")
        scales: dict[str, Callable[[Any], Any]] = dict.fromkeys(plain, _same)
        scales |= {"correlation": np.tanh, "tail": tail_of}
        if self.shared is not None:
            for k, name in enumerate(self.shared.names):
                scales[name] = partial(_one_shared, self.shared, k)
        told = [scales.get(name, np.exp)(value) for name, value in zip(self.names, values)]
        return np.array(told, float)

    def aged(self, age: np.ndarray) -> "Common":
        """The same with another measure of what the spread is a power of."""
        return replace(self, age=age)


def _same(value: Any) -> Any:
    return value


def _one_shared(shared: Shared, place: int, value: Any) -> Any:
    """One of what is shared on its own scale."""
    return replace(shared, ends=shared.ends[place : place + 1]).natural([value])[0]


def tail_of(value: Any) -> Any:
    """Degrees of freedom of t errors: the most at 0, the least a quarter of a turn away.

    Both ends are level, so that a maximum there is one like any other.
    """
    return 1 / (1 / MOST_TAIL + (1 / LEAST_TAIL - 1 / MOST_TAIL) * np.sin(value) ** 2)


def common_terms(
    data: Learners,
    asked: Asked,
    session: np.ndarray | None,
    second: Sequence[float] = (),
) -> Common | None:
    """What these learners have in common; ``session`` holds padded codes of sessions.

    ``second`` are starts of what they share of the form's rates, without bounds.

    Raises
    ------
    InputError
        If nobody has a second session.
    """
    names = asked.names(data.form)
    if not names:
        return None
    inside = data.used > 0
    code = np.zeros(data.n.shape, int) if session is None else session
    starts = STARTS | dict(zip(data.form.shared.names, second))
    return Common(
        names,
        tuple(float(starts.get(name, 0.0)) for name in names),
        _session_rows(data, code) if asked.session is not None else None,
        *_neighbours(data, code),
        np.where(inside, data.n - data.n[inside].min() + 1.0, 1.0),
        data.form.shared,
    )


def _session_rows(data: Learners, code: np.ndarray) -> SessionRows:
    """Sessions of each learner in the order in which practice meets them."""
    inside = data.used > 0
    member, begins = np.zeros(code.shape, int), []
    for k, (codes, n, used) in enumerate(zip(code, data.n, inside)):
        own = codes[used]
        order = list(dict.fromkeys(own[np.argsort(n[used], kind="stable")].tolist()))
        member[k, used] = [order.index(c) for c in own.tolist()]
        begins.append([float(n[used][own == c].min()) for c in order])
    most = max(map(len, begins))
    if most < 2:
        raise InputError("what sessions do needs at least two sessions of some learner")
    begin = np.array([own + own[:1] * (most - len(own)) for own in begins])
    elapsed = np.where(inside, data.n - np.take_along_axis(begin, member, axis=1), 0.0)
    return SessionRows(member, begin, elapsed)


def _neighbours(data: Learners, code: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Row before each of the same learner and session (-1: none), and practice between them."""
    previous, gap = np.full(data.n.shape, -1), np.ones(data.n.shape)
    for k, used in enumerate(data.used > 0):
        rows = np.flatnonzero(used)
        rows = rows[np.lexsort((data.n[k, rows], code[k, rows]))]
        same = code[k, rows[1:]] == code[k, rows[:-1]]
        previous[k, rows[1:][same]] = rows[:-1][same]
        gap[k, rows[1:][same]] = np.diff(data.n[k, rows])[same]
    whole = np.all(gap == np.rint(gap)) and np.all(gap > 0)
    return previous, gap if whole else np.ones(gap.shape)
