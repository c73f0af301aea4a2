"""What the learners of a population share of a form's rates.

In a population each learner has one rate of its own, the tempo; what else bends the curve is the
same for all. It is kept on a scale without bounds, so that it can be searched there.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

Rates = tuple[Any, ...]


@dataclass(frozen=True)
class Shared:
    """Names of what is shared, where it lies, and the rates of a learner from it.

    Parameters
    ----------
    names : tuple of str
        What is shared, in order.
    ends : tuple of pair, optional
        For each the bounds between which it lies; None for anything above 0.
    rates : callable
        ``rates(rate, *shared)``: the rates of the form for a learner's own rate.
    turns : callable
        ``turns(rate, *shared)``: their derivatives by the logarithm of the own rate.
    from_rates : callable
        ``from_rates(*rates)``: what is shared, from the rates of one curve.
    """

    names: tuple[str, ...]
    ends: tuple[tuple[float, float] | None, ...]
    rates: Callable[..., Rates]
    turns: Callable[..., Rates]
    from_rates: Callable[..., Rates]

    def natural(self, values: Sequence[Any]) -> Rates:
        """Values on their own scale, from those without bounds; real or complex."""
        return tuple(
            np.exp(v) if pair is None else pair[0] + (pair[1] - pair[0]) / (1 + np.exp(-v))
            for v, pair in zip(values, self.ends)
        )

    def unbounded(self, values: Sequence[Any]) -> tuple[float, ...]:
        """Values on the scale without bounds; what lies at an end is drawn inside."""
        found = []
        for value, pair in zip(values, self.ends):
            if pair is None:
                found.append(float(np.log(value)))
                continue
            share = float(np.clip((value - pair[0]) / (pair[1] - pair[0]), 0.03, 0.97))
            found.append(float(np.log(share / (1 - share))))
        return tuple(found)


def as_they_are(names: tuple[str, ...], ends: tuple[tuple[float, float] | None, ...]) -> Shared:
    """The later rates of a form themselves."""
    return Shared(
        names,
        ends,
        rates=lambda rate, *shared: (rate, *shared),
        turns=lambda rate, *shared: (rate, *(0.0 for _ in shared)),
        from_rates=lambda rate, *others: others,
    )
