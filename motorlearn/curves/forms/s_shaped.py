"""S-shaped curve: a delayed onset, as when a movement must first be understood."""

import numpy as np

from motorlearn.curves.forms.shape import (
    Array,
    Form,
    Rates,
    half_life_by_search,
    rate_bounds,
    spread,
)
from motorlearn.curves.forms.sharing import Shared

FAR = 30.0
"""Distance from the middle, in units of 1/rate, beyond which the tail is an exponential."""


def _log_basis(n: Array, rates: Rates, first: float) -> Array:
    x = rates[0] * (n - rates[1])
    far = np.real(x) > FAR
    return np.where(far, -x, -np.log1p(np.exp(np.where(far, 0.0, x))))


def _share(n: Array, rates: Rates) -> Array:
    """Share of the way gained, real or complex."""
    x = rates[0] * (n - rates[1])
    early = np.real(x) < -FAR
    return np.where(
        early, np.exp(np.where(early, x, 0.0)), 1 / (1 + np.exp(-np.where(early, 0.0, x)))
    )


def _slopes(n: Array, rates: Rates, first: float) -> tuple[Array, ...]:
    share = _share(n, rates)
    return -(n - rates[1]) * share, rates[0] * share


def _bounds(n: Array) -> tuple[tuple[float, float], ...]:
    whole, gap = spread(n)
    low, high = rate_bounds(n)
    top = float(np.max(n))
    return (low * 1e3, high), (max(float(np.min(n)), 0.1 * gap), top + whole)


def _limits(n: Array) -> tuple[tuple[float, ...], tuple[float, ...]]:
    (low, high), (early, _) = _bounds(n)
    return (low, float(np.mean(n))), (high, early + 0.5 * spread(n)[1])


S_SHAPED = Form(
    name="s_shaped",
    title="S-shaped",
    equation="asymptote + gain / (1 + exp(rate * (n - midpoint)))",
    rates=("rate", "midpoint"),
    least_count=0.0,
    log_basis=_log_basis,
    slopes=_slopes,
    bounds=_bounds,
    relative_rate=lambda n, rates: rates[0] * _share(n, rates),
    half_life=lambda rates, first: half_life_by_search(_log_basis, rates, first),
    limits=_limits,
    middle="midpoint",
    # Learners go through one S, each at a tempo of its own: rate times midpoint is the same.
    sharing=Shared(
        ("delay",),
        (None,),
        rates=lambda rate, delay: (rate, delay / rate),
        turns=lambda rate, delay: (rate, -delay / rate),
        from_rates=lambda rate, midpoint: (rate * midpoint,),
    ),
)
