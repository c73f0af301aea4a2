"""How chance assigns groups, on arrays: permuted blocks and minimisation."""

from collections.abc import Sequence

import numpy as np


def permuted_blocks(
    strata: np.ndarray,
    ratio: np.ndarray,
    block_size: int | Sequence[int],
    rng: np.random.Generator,
    open_places: dict[int, np.ndarray] | None = None,
) -> np.ndarray:
    """Assign in blocks that hold every group in the wanted ratio, separately in each stratum.

    The last block of a stratum is the smallest that holds the ratio and everybody who is left.

    Parameters
    ----------
    strata : ndarray of int, shape (people,)
        Stratum of each person, in the order of enrolment.
    ratio : ndarray of int, shape (groups,)
        Share of each group.
    block_size : int or sequence of int
        People in a block: a multiple of the sum of the ratio; of several one is drawn per block.
    rng : Generator
        Source of chance.
    open_places : dict of int to ndarray of int, optional
        Groups that are left in the begun block of a stratum; they are given out first.

    Returns
    -------
    ndarray of int, shape (people,)
        Group numbers from 0.
    """
    unit = np.repeat(np.arange(len(ratio)), ratio)
    groups = np.empty(len(strata), dtype=int)
    for level in np.unique(strata):
        place = np.flatnonzero(strata == level)
        begun = (open_places or {}).get(int(level), np.zeros(0, dtype=int))
        blocks = [rng.permutation(begun)] if len(begun) else []
        units = _units_of_blocks(len(place) - len(begun), len(unit), block_size, rng)
        blocks += [rng.permutation(np.repeat(unit, count)) for count in units]
        groups[place] = np.concatenate(blocks)[: len(place)]
    return groups


def _units_of_blocks(
    people: int, unit: int, block_size: int | Sequence[int], rng: np.random.Generator
) -> list[int]:
    """How many times each block holds the ratio, for so many people."""
    units: list[int] = []
    while people > 0:
        size = block_size if isinstance(block_size, int | np.integer) else rng.choice(block_size)
        units.append(int(min(size // unit, -(-people // unit))))
        people -= units[-1] * unit
    return units


def exact_blocks(
    sizes: np.ndarray, ratio: np.ndarray, block_size: int | Sequence[int], rng: np.random.Generator
) -> np.ndarray:
    """Assign exactly so many people to each group, in blocks that hold the ratio.

    People who do not fit into whole blocks are mixed into the last one.

    Parameters
    ----------
    sizes : ndarray of int, shape (groups,)
        People in each group.
    ratio, block_size, rng
        As in :func:`permuted_blocks`.

    Returns
    -------
    ndarray of int, shape (people,)
    """
    unit = np.repeat(np.arange(len(ratio)), ratio)
    whole = int((sizes // ratio).min())
    over = np.repeat(np.arange(len(ratio)), sizes - whole * ratio)
    blocks = [
        np.repeat(unit, count)
        for count in _units_of_blocks(whole * len(unit), len(unit), block_size, rng)
    ]
    if len(over):
        last = blocks.pop() if blocks else np.zeros(0, dtype=int)
        blocks.append(np.concatenate([last, over]))
    return np.concatenate([rng.permutation(block) for block in blocks])


def places_left(counts: np.ndarray, ratio: np.ndarray) -> np.ndarray:
    """Groups that complete the ratio after so many people of each: the rest of a begun block.

    Examples
    --------
    >>> places_left(np.array([3, 2]), np.array([1, 1])).tolist()
    [1]
    """
    whole = int(np.ceil(counts / ratio).max())
    return np.repeat(np.arange(len(ratio)), whole * ratio - counts)


def minimise(
    factors: np.ndarray,
    ratio: np.ndarray,
    certainty: float,
    rng: np.random.Generator,
    settled: np.ndarray | None = None,
) -> np.ndarray:
    """Assign each person to the group that leaves the factors most even, most of the time.

    For each group the imbalance is the sum over factors of the range, over groups, of the count at
    the person's level divided by the group's ratio.

    Parameters
    ----------
    factors : ndarray of int, shape (people, factors)
        Levels, in the order of enrolment.
    ratio : ndarray of int, shape (groups,)
        Share of each group.
    certainty : float
        Probability of taking the best group; the rest is shared by the others.
    rng : Generator
        Source of chance.
    settled : ndarray of int, optional
        Groups of the first people, who were allocated before; they count and stay.

    Returns
    -------
    ndarray of int, shape (people,)
    """
    k, n_factors = len(ratio), factors.shape[1]
    counts = np.zeros((n_factors, int(factors.max()) + 1, k))
    columns = np.arange(n_factors)
    groups = np.empty(len(factors), dtype=int)
    before = np.zeros(0, dtype=int) if settled is None else settled
    for person, levels in enumerate(factors):
        if person < len(before):
            groups[person] = before[person]
        else:
            groups[person] = _least_imbalance(counts[columns, levels], ratio, certainty, rng)
        counts[columns, levels, groups[person]] += 1
    return groups


def _least_imbalance(
    here: np.ndarray, ratio: np.ndarray, certainty: float, rng: np.random.Generator
) -> int:
    k = len(ratio)
    trial = (here[None] + np.eye(k)[:, None]) / ratio
    imbalance = np.ptp(trial, axis=2).sum(axis=1)
    best = rng.choice(np.flatnonzero(imbalance <= imbalance.min() + 1e-9))
    others = np.delete(np.arange(k), best)
    weights = ratio[others] / ratio[others].sum()
    take_best = rng.random() < certainty
    return int(best if take_best else rng.choice(others, p=weights))
