"""Power curve of a learner who brings practice along: a power law of n + prior_practice."""

from typing import Any

import numpy as np

from motorlearn.curves.forms.shape import LEAST_BEND, Array, Form, Rates, spread


def _log_basis(n: Array, rates: Rates, first: float) -> Array:
    return -rates[0] * np.log(n + rates[1])


def _slopes(n: Array, rates: Rates, first: float) -> tuple[Array, ...]:
    brought = n + rates[1]
    return -np.log(brought), -rates[0] / brought


def _bounds(n: Array) -> tuple[tuple[float, float], ...]:
    whole, _ = spread(n)
    low = LEAST_BEND * whole
    return (LEAST_BEND, 1e4), (max(low, 1e-6 - float(np.min(n))), 1e3 * whole)


def _limits(n: Array) -> tuple[tuple[float, ...], tuple[float, ...]]:
    (least, most), (few, many) = _bounds(n)
    return (least, many), (most, few)


def _half_life(rates: Rates, first: float) -> Any:
    return (first + rates[1]) * np.expm1(np.log(2) / rates[0])


POWER_PRIOR = Form(
    name="power_prior",
    title="power with prior practice",
    equation="asymptote + gain * (n + prior_practice) ** (-rate)",
    rates=("rate", "prior_practice"),
    least_count=0.0,
    log_basis=_log_basis,
    slopes=_slopes,
    bounds=_bounds,
    relative_rate=lambda n, rates: rates[0] / (n + rates[1]),
    half_life=_half_life,
    # With so much prior practice the curve is an exponential to three digits.
    edges=(0.7, 3.0),
    limits=_limits,
    tail="rate",
    anchored=True,
)
