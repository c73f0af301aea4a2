"""How chance assigns groups, on arrays: permuted blocks and minimisation."""

import numpy as np


def permuted_blocks(
    strata: np.ndarray, ratio: np.ndarray, block_size: int, rng: np.random.Generator
) -> np.ndarray:
    """Assign in blocks that hold every group in the wanted ratio, separately in each stratum.

    The last block of a stratum is the smallest that holds the ratio and everybody who is left.

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
    unit = np.repeat(np.arange(len(ratio)), ratio)
    groups = np.empty(len(strata), dtype=int)
    for level in np.unique(strata):
        place = np.flatnonzero(strata == level)
        whole, rest = divmod(len(place), block_size)
        units = [block_size // len(unit)] * whole + [-(-rest // len(unit))] * bool(rest)
        blocks = [rng.permutation(np.repeat(unit, count)) for count in units]
        groups[place] = np.concatenate(blocks)[: len(place)]
    return groups


def minimise(
    factors: np.ndarray, ratio: np.ndarray, certainty: float, rng: np.random.Generator
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

    Returns
    -------
    ndarray of int, shape (people,)
    """
    k, n_factors = len(ratio), factors.shape[1]
    counts = np.zeros((n_factors, int(factors.max()) + 1, k))
    columns = np.arange(n_factors)
    groups = np.empty(len(factors), dtype=int)
    for person, levels in enumerate(factors):
        here = counts[columns, levels]
        trial = (here[None] + np.eye(k)[:, None]) / ratio
        imbalance = np.ptp(trial, axis=2).sum(axis=1)
        best = rng.choice(np.flatnonzero(imbalance <= imbalance.min() + 1e-9))
        others = np.delete(np.arange(k), best)
        weights = ratio[others] / ratio[others].sum()
        take_best = rng.random() < certainty
        groups[person] = best if take_best else rng.choice(others, p=weights)
        counts[columns, levels, groups[person]] += 1
    return groups
