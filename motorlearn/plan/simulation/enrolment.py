"""Invented participants of a plan: who takes part and in which group."""

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.plan.allocation.assignment import permuted_blocks


def enrol(design: Design, rng: np.random.Generator) -> pd.DataFrame:
    """Draw the participants of a plan and allocate them.

    The first stratum of the plan divides people by experience, further ones by chance; half the
    people are in each level. Groups get exactly their planned sizes: by permuted blocks inside the
    strata where sizes allow it, otherwise by one shuffle.

    Returns
    -------
    DataFrame
        ``participant, group, schedule, experienced, age, handedness`` and one column per stratum.
    """
    sizes = np.array([group.size for group in design.groups])
    n = int(sizes.sum())
    width = max(2, len(str(n)))
    experienced = rng.permutation(np.arange(n) % 2 == 0)
    frame = pd.DataFrame({"participant": [f"P{i + 1:0{width}d}" for i in range(n)]})
    for number, name in enumerate(design.allocation.strata):
        level = experienced if number == 0 else rng.permutation(np.arange(n) % 2 == 0)
        frame[name] = np.where(level, "yes", "no")
    strata = (
        frame.groupby(list(design.allocation.strata), sort=False).ngroup()
        if (design.allocation.strata)
        else pd.Series(np.zeros(n, dtype=int))
    )
    code = _allocate(strata.to_numpy(), sizes, design.allocation.block_size, rng)
    groups = np.array(design.group_names, dtype=object)[code]
    schedules = np.array([group.schedule for group in design.groups], dtype=object)[code]
    frame.insert(1, "group", groups)
    return frame.assign(
        schedule=schedules,
        experienced=experienced,
        age=rng.integers(18, 36, n),
        handedness=np.where(rng.random(n) < 0.1, "left", "right"),
    )


def _allocate(
    strata: np.ndarray,
    sizes: np.ndarray,
    block_size: int | tuple[int, ...] | None,
    rng: np.random.Generator,
) -> np.ndarray:
    k = len(sizes)
    size = block_size if isinstance(block_size, int) else 2 * k
    counts = np.bincount(strata)
    if (sizes == sizes[0]).all() and size % k == 0 and (counts[counts > 0] % size == 0).all():
        return permuted_blocks(strata, np.ones(k, dtype=int), size, rng)
    return rng.permutation(np.repeat(np.arange(k), sizes))
