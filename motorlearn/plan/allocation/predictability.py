"""How well somebody who knows the earlier allocations can tell the next one."""

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from motorlearn.results import register_record

_MOST_STATES = 50_000


@register_record
@dataclass(frozen=True)
class Predictability:
    """What an observer of all earlier allocations knows of the next one.

    Parameters
    ----------
    guessed : float
        Expected share of allocations guessed right by naming the group that lags behind.
    certain : float
        Expected share known for certain; NaN where that depends on block sizes nobody told.
    chance : float
        Share guessed right without knowing anything.
    """

    guessed: float
    certain: float
    chance: float


def predictability(
    method: str, ratio: Sequence[int], block_sizes: Sequence[int], certainty: float
) -> Predictability:
    """State how predictable the next allocation is.

    In a block with ``r_g`` places left for group g the best guess is the group with the most, right
    with probability ``max r_g / sum r_g``; the share is the mean over the places of a block. In
    minimisation it is the certainty at most; free draws can't be guessed better than by chance.

    References
    ----------
    Blackwell, D., & Hodges, J. L. (1957). Design for the control of selection bias. *Annals of
    Mathematical Statistics*, 28, 449-460. https://doi.org/10.1214/aoms/1177706973

    Examples
    --------
    >>> told = predictability("blocks", [1, 1], [4], 0.8)
    >>> round(told.guessed, 4), round(told.certain, 4)
    (0.7083, 0.3333)
    """
    chance = max(ratio) / sum(ratio)
    if method == "simple":
        return Predictability(chance, 0.0, chance)
    if method == "minimisation":
        return Predictability(max(certainty, chance), float(certainty >= 1), chance)
    counted = [
        _of_block(tuple(size // sum(ratio) * share for share in ratio)) for size in block_sizes
    ]
    people = np.array(block_sizes, dtype=float)
    guessed, certain = (np.array(counted) * people[:, None]).sum(axis=0) / people.sum()
    return Predictability(
        float(guessed), float(certain) if len(set(block_sizes)) == 1 else math.nan, chance
    )


def _of_block(places: tuple[int, ...]) -> tuple[float, float]:
    if math.prod(count + 1 for count in places) > _MOST_STATES:
        return math.nan, math.nan
    guessed, certain = _expected(tuple(sorted(places)))
    return guessed / sum(places), certain / sum(places)


@functools.cache
def _expected(left: tuple[int, ...]) -> tuple[float, float]:
    """Expected numbers of right guesses and of certain ones in what is left of a block."""
    total = sum(left)
    if total == 0:
        return 0.0, 0.0
    guessed, certain = max(left) / total, float(max(left) == total)
    for place, count in enumerate(left):
        if count:
            rest = tuple(sorted((*left[:place], count - 1, *left[place + 1 :])))
            more = _expected(rest)
            guessed += count / total * more[0]
            certain += count / total * more[1]
    return guessed, certain
