"""Exponential curve: the same share of what is left is gained with every trial."""

import numpy as np

from motorlearn.curves.forms.shape import Array, Form, Rates, rate_bounds


def _log_basis(n: Array, rates: Rates, first: float) -> Array:
    return -rates[0] * (n - first)


def _slopes(n: Array, rates: Rates, first: float) -> tuple[Array, ...]:
    return (-(n - first) + 0.0 * rates[0],)


EXPONENTIAL = Form(
    name="exponential",
    title="exponential",
    equation="asymptote + gain * exp(-rate * (n - first))",
    rates=("rate",),
    least_count=-np.inf,
    log_basis=_log_basis,
    slopes=_slopes,
    bounds=lambda n: (rate_bounds(n),),
    relative_rate=lambda n, rates: rates[0] + 0.0 * n,
    half_life=lambda rates, first: np.log(2) / rates[0],
)
