"""Allocation of participants to groups."""

import numpy as np


def permuted_blocks(
    strata: np.ndarray, ratio: np.ndarray, block_size: int, rng: np.random.Generator
) -> np.ndarray:
    """Allocate in blocks that hold every group in the wanted ratio, separately in each stratum.

    Parameters
    ----------
    strata : ndarray of int, shape (people,)
        Stratum of each person, in the order of enrolment.
    ratio : ndarray of int, shape (groups,)
        Share of each group.
    block_size : int
        People in a block: a multiple of the sum of the ratio.
    rng : Generator
        Source of chance.

    Returns
    -------
    ndarray of int, shape (people,)
        Group numbers from 0.
    """
    block = np.repeat(np.arange(len(ratio)), ratio * (block_size // int(ratio.sum())))
    groups = np.empty(len(strata), dtype=int)
    for level in np.unique(strata):
        place = np.flatnonzero(strata == level)
        blocks = [rng.permutation(block) for _ in range(-(-len(place) // block_size))]
        groups[place] = np.concatenate(blocks)[: len(place)]
    return groups
