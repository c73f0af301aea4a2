"""Two processes: a fast and a slow exponential part of one gain."""

import numpy as np

from motorlearn.curves.forms.shape import Array, Form, Rates, half_life_by_search, rate_bounds
from motorlearn.curves.forms.sharing import as_they_are

SLOWNESS, SHARES = (1e-3, 0.8), (0.02, 0.98)
"""Slow rate as a share of the fast one, and share of the fast process, between their bounds."""


def _parts(n: Array, rates: Rates, first: float) -> tuple[Array, Array]:
    rate, slowness, share = rates
    fast = share * np.exp(-rate * (1 - slowness) * (n - first))
    return fast, fast + (1 - share)


def _log_basis(n: Array, rates: Rates, first: float) -> Array:
    found: Array = -rates[0] * rates[1] * (n - first) + np.log(_parts(n, rates, first)[1])
    return found


def _slopes(n: Array, rates: Rates, first: float) -> tuple[Array, ...]:
    rate, slowness, share = rates
    x = n - first
    fast, whole = _parts(n, rates, first)
    return (
        -slowness * x - (1 - slowness) * x * fast / whole,
        -rate * x + rate * x * fast / whole,
        (fast / share - 1) / whole,
    )


def _relative_rate(n: Array, rates: Rates) -> Array:
    fast, whole = _parts(n, rates, 1.0)
    found: Array = rates[0] * (rates[1] + (1 - rates[1]) * fast / whole)
    return found


TWO_PROCESSES = Form(
    name="two_processes",
    title="two-process",
    equation=(
        "asymptote + gain * (fast_share * exp(-rate * (n - first)) "
        "+ (1 - fast_share) * exp(-rate * slowness * (n - first)))"
    ),
    rates=("rate", "slowness", "fast_share"),
    least_count=-np.inf,
    log_basis=_log_basis,
    slopes=_slopes,
    bounds=lambda n: (rate_bounds(n), SLOWNESS, SHARES),
    relative_rate=_relative_rate,
    half_life=lambda rates, first: half_life_by_search(_log_basis, rates, first),
    edges=(1e-6, 1e-6, 1e-6),
    limits=lambda n: ((rate_bounds(n)[0], 0.5, 0.5), (rate_bounds(n)[1], 0.8, 0.98)),
    tail="slowness",
    sharing=as_they_are(("slowness", "fast_share"), (SLOWNESS, SHARES)),
)
