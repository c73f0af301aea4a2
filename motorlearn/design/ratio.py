"""Group sizes of a plan as a ratio in small whole numbers, which blocks can hold."""

import itertools
import math
from collections.abc import Sequence

_LARGEST_UNIT = 12


def group_ratio(sizes: Sequence[int | None]) -> tuple[int, ...]:
    """Give the smallest whole ratio that group sizes can be allocated in.

    It is the sizes over their greatest common divisor; where that leaves a block of more than 12
    people, the ratio of up to that many that leaves the fewest people outside whole blocks. Sizes
    that are not planned count as equal.

    Examples
    --------
    >>> group_ratio([30, 10]), group_ratio([25, 24]), group_ratio([None, None, None])
    ((3, 1), (1, 1), (1, 1, 1))
    """
    known = [size for size in sizes if size is not None]
    if len(known) < len(sizes):
        return (1,) * len(sizes)
    shared = math.gcd(*known)
    exact = tuple(size // shared for size in known)
    if sum(exact) <= max(_LARGEST_UNIT, len(known)):
        return exact
    largest = max(2, _LARGEST_UNIT // len(known) + 1)
    tried = itertools.product(range(1, largest + 1), repeat=len(known))
    return min(
        (ratio for ratio in tried if sum(ratio) <= max(_LARGEST_UNIT, len(known))),
        key=lambda ratio: (_outside(known, ratio), sum(ratio)),
        default=(1,) * len(known),
    )


def _outside(sizes: Sequence[int], ratio: Sequence[int]) -> int:
    whole = min(size // share for size, share in zip(sizes, ratio, strict=True))
    return sum(sizes) - whole * sum(ratio)
