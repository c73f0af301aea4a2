"""What a form of the curve is: a log basis with its gradient, bounds and guess beside it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from motorlearn.curves.forms.sharing import Shared, as_they_are

Array = np.ndarray
Rates = Sequence[Array | float]


@dataclass(frozen=True)
class Form:
    r"""One form of the learning curve, ``asymptote + gain * basis(n)``.

    Every form is written through the logarithm of its basis, which is 0 where the basis is 1.
    Logarithms neither overflow nor lose digits when a rate is very small or very large.

    Parameters
    ----------
    name : str
        Key in the registry.
    title : str
        Name in a sentence.
    equation : str
        The curve in plain text.
    rates : tuple of str
        The parameters that enter non-linearly, in order.
    least_count : float
        Smallest practice count the form is defined for.
    log_basis : callable
        ``log_basis(n, rates, first)``, the logarithm of the basis.
    slopes : callable
        ``slopes(n, rates, first)``, derivatives of the log basis by each rate.
    bounds : callable
        ``bounds(n)``: lowest and highest value of each rate that the practice counts can tell
        apart from a straight line and from a step.
    relative_rate : callable
        ``relative_rate(n, rates)``, the relative learning rate ``-y'/(y - asymptote)``.
    half_life : callable
        ``half_life(rates, first)``: practice after ``first`` until half of the way to the
        asymptote is done.
    edges : tuple of float
        How near to its highest value (difference of logarithms) each rate counts as at the bound.
    limits : callable, optional
        ``limits(n)``: rates at which the curve is a straight line and rates at which it is a
        step; without it every rate at its lowest and every rate at its highest.
    tail : str, optional
        Of several rates the one whose lowest value sends the asymptote beyond all bounds.
    sharing : Shared, optional
        What the learners of a population share; without it all rates but the first.
    anchored : bool
        Whether a population counts its gain from the first trial, because the basis is 1 so long
        before that a gain there, as an extrapolation, goes with the rate of a learner.
    middle : str, optional
        The rate that is the place of the step this form becomes when its first rate is highest.
    """

    name: str
    title: str
    equation: str
    rates: tuple[str, ...]
    least_count: float
    log_basis: Callable[[Array, Rates, float], Array]
    slopes: Callable[[Array, Rates, float], tuple[Array, ...]]
    bounds: Callable[[Array], tuple[tuple[float, float], ...]]
    relative_rate: Callable[[Array, Rates], Array]
    half_life: Callable[[Rates, float], float]
    edges: tuple[float, ...] = (1e-6, 1e-6)
    limits: Callable[[Array], tuple[tuple[float, ...], tuple[float, ...]]] | None = None
    tail: str | None = None
    sharing: Shared | None = None
    anchored: bool = False
    middle: str | None = None

    @property
    def shared(self) -> Shared:
        """What learners of a population share of the rates."""
        if self.sharing is not None:
            return self.sharing
        return as_they_are(self.rates[1:], (None,) * (len(self.rates) - 1))

    @cached_property
    def linear(self) -> bool:
        """Whether the log basis is linear in the first rate, whatever the others are."""
        n, more = np.array([1.0, 2.0, 5.0]), [0.5] * (len(self.rates) - 1)
        one, two, three = (self.log_basis(n, [r, *more], 1.0) for r in (1.0, 2.0, 3.0))
        return bool(np.allclose(three - two, two - one))

    def extremes(self, n: Array) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Rates of the straight line and of the step that the curve can turn into."""
        if self.limits is not None:
            return self.limits(n)
        low, high = zip(*self.bounds(n), strict=True)
        return tuple(low), tuple(high)

    def basis(self, n: Array, rates: Rates, first: float = 1.0) -> Array:
        """Basis of the curve: what the gain is multiplied with."""
        found: Array = np.exp(self.log_basis(n, rates, first))
        return found

    def gradient(self, n: Array, rates: Rates, first: float = 1.0) -> tuple[Array, ...]:
        """Derivatives of the basis by each rate."""
        height = self.basis(n, rates, first)
        return tuple(height * slope for slope in self.slopes(n, rates, first))

    def curve(
        self, n: Array, asymptote: float, gain: float, rates: Rates, first: float = 1.0
    ) -> Array:
        """Height of the curve at practice counts ``n``."""
        return asymptote + gain * self.basis(np.asarray(n, float), rates, first)

    def guess(self, n: Array, y: Array) -> dict[str, float]:
        """Rough starting values from the first, the last and the middle scores."""
        order = np.argsort(n, kind="stable")
        n, y = np.asarray(n, float)[order], np.asarray(y, float)[order]
        part = max(len(n) // 5, 1)
        early, late = y[:part].mean(), y[-part:].mean()
        low_high = self.bounds(n)
        middle = [float(np.exp(np.mean(np.log(pair)))) for pair in low_high]
        return {"asymptote": late, "gain": early - late, **dict(zip(self.rates, middle))}


def spread(x: Array) -> tuple[float, float]:
    """Whole range of some values, and the first gap between two different ones."""
    different = np.unique(x)
    if len(different) < 2:
        return 1.0, 1.0
    return float(different[-1] - different[0]), float(different[1] - different[0])


LEAST_BEND = 1e-6
"""Rate times range below which a curve is a straight line to within rounding."""
LARGEST_DROP = 25.0
"""Rate times first gap above which a curve is a step after the first practice count."""


def rate_bounds(x: Array) -> tuple[float, float]:
    """Bounds of a rate whose log basis is ``-rate * x``."""
    whole, gap = spread(x)
    return LEAST_BEND / whole, LARGEST_DROP / gap


def half_life_by_search(
    form_log_basis: Callable[[Array, Rates, float], Array], rates: Rates, first: float
) -> float:
    """Practice after ``first`` until the basis is half as high, by bisection."""
    top = form_log_basis(np.array(first), rates, first)
    low, high = 0.0, 1.0
    while form_log_basis(np.array(first + high), rates, first) - top > -np.log(2):
        high *= 2
        if high > 1e12:
            return float("inf")
    for _ in range(200):
        middle = (low + high) / 2
        if form_log_basis(np.array(first + middle), rates, first) - top > -np.log(2):
            low = middle
        else:
            high = middle
    return (low + high) / 2
