"""A grid of simulations, in chunks that do not depend on who computes them."""

from collections.abc import Sequence
from concurrent.futures import BrokenExecutor
from dataclasses import dataclass, replace

import numpy as np
from tqdm import tqdm

from motorlearn.exceptions import InputError
from motorlearn.plan.power.analyses import Tested, analyse
from motorlearn.plan.power.scenario import Scenario
from motorlearn.plan.power.simulated_scores import draw_batch
from motorlearn.plan.power.workers import Workers

CHUNK = 250
"""Studies in a chunk; each chunk has its own stream of random numbers."""

SLOW = {"binomial mixed": 2}
"""Parts that a chunk is analysed in where that takes long, so that processes can share it."""


@dataclass(frozen=True)
class Cell:
    """One point of the grid: a scenario, a size and an effect."""

    plan: Scenario
    n: int
    effect: float
    seed: int
    simulations: int

    @property
    def chunks(self) -> list[int]:
        """Numbers of studies in its chunks."""
        whole, rest = divmod(self.simulations, CHUNK)
        return [CHUNK] * whole + [rest] * bool(rest)

    @property
    def parts(self) -> int:
        """Parts that each chunk is analysed in."""
        return SLOW.get(self.plan.model, 1)


def run_cells(cells: Sequence[Cell], pool: Workers | None = None) -> tuple[list[Tested], bool]:
    """Simulate and analyse every cell.

    Returns
    -------
    tested : list of Tested
        One per cell, with the studies that were finished.
    stopped : bool
        Whether the keyboard interrupted the work.

    Raises
    ------
    InputError
        If a worker process was lost.
    """
    jobs = [
        (number, chunk, size, part)
        for number, cell in enumerate(cells)
        for chunk, size in enumerate(cell.chunks)
        for part in range(cell.parts)
    ]
    parts: list[list[Tested]] = [[] for _ in cells]
    stopped = False
    calls = [(cells[number], chunk, size, part) for number, chunk, size, part in jobs]
    try:
        results = map(_run, calls) if pool is None else pool.map(_run, calls)
        progress = tqdm(results, total=len(jobs), desc="simulating", disable=None)
        for (number, *_), found in zip(jobs, progress, strict=False):
            parts[number].append(found)
    except KeyboardInterrupt:
        if not any(parts):
            raise
        stopped = True
    except BrokenExecutor as problem:
        raise InputError(
            "a worker process ended before its work was done",
            remedy="in a script, call it under \"if __name__ == '__main__':\"; where memory "
            "is short, use fewer workers",
        ) from problem
    return [_joined(found) for found in parts], stopped


def _run(call: tuple[Cell, int, int, int]) -> Tested:
    cell, chunk, size, part = call
    # The stream is named by what is simulated, so that other cells do not change it.
    key = (cell.n, cell.plan.trials, chunk)
    rng = np.random.default_rng(np.random.SeedSequence(cell.seed, spawn_key=key))
    batch = draw_batch(cell.plan, cell.n, cell.effect, size, rng)
    own = np.array_split(batch.scores, cell.parts)[part]
    return analyse(cell.plan, replace(batch, scores=own))


def _joined(parts: list[Tested]) -> Tested:
    if not parts:
        return Tested(*(np.empty(0) for _ in range(4)))
    columns = ("estimate", "std_error", "df", "p")
    return Tested(*(np.concatenate([getattr(part, name) for part in parts]) for name in columns))
