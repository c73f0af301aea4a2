"""Power curve: the relative learning rate falls as 1/n."""

from typing import Any

import numpy as np

from motorlearn.curves.forms.shape import Array, Form, Rates, rate_bounds


def _log_basis(n: Array, rates: Rates, first: float) -> Array:
    found: Array = -rates[0] * np.log(n)
    return found


def _slopes(n: Array, rates: Rates, first: float) -> tuple[Array, ...]:
    return (-np.log(n) + 0.0 * rates[0],)


def _half_life(rates: Rates, first: float) -> Any:
    return first * np.expm1(np.log(2) / rates[0])


POWER = Form(
    name="power",
    title="power",
    equation="asymptote + gain * n ** (-rate)",
    rates=("rate",),
    least_count=1.0,
    log_basis=_log_basis,
    slopes=_slopes,
    bounds=lambda n: (rate_bounds(np.log(n)),),
    relative_rate=lambda n, rates: rates[0] / n,
    half_life=_half_life,
)
