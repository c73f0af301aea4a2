"""APEX curve: a mixture of exponential and power law that holds both as special cases."""

import numpy as np

from motorlearn.curves.forms.shape import Array, Form, Rates, half_life_by_search, rate_bounds


def _log_basis(n: Array, rates: Rates, first: float) -> Array:
    found: Array = -rates[0] * (n - first) - rates[1] * np.log(n)
    return found


def _slopes(n: Array, rates: Rates, first: float) -> tuple[Array, ...]:
    return -(n - first) + 0.0 * rates[0], -np.log(n) + 0.0 * rates[1]


def _limits(n: Array) -> tuple[tuple[float, ...], tuple[float, ...]]:
    low, high = rate_bounds(n)
    none = 1e-3 * rate_bounds(np.log(n))[0]
    return (low, none), (high, none)


APEX = Form(
    name="apex",
    title="APEX (exponential and power)",
    equation="asymptote + gain * exp(-rate * (n - first)) * n ** (-power_rate)",
    rates=("rate", "power_rate"),
    least_count=1.0,
    log_basis=_log_basis,
    slopes=_slopes,
    bounds=lambda n: (rate_bounds(n), rate_bounds(np.log(n))),
    relative_rate=lambda n, rates: rates[0] + rates[1] / n,
    half_life=lambda rates, first: half_life_by_search(_log_basis, rates, first),
    limits=_limits,
)
