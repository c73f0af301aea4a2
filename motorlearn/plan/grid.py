"""A grid of simulations, in chunks that do not depend on who computes them."""

from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from tqdm import tqdm

from motorlearn.plan.analyses import Tested, analyse
from motorlearn.plan.draws import draw_batch
from motorlearn.plan.scenario import Scenario

CHUNK = 250
"""Studies in a chunk; each chunk has its own stream of random numbers."""


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


def run_cells(
    cells: Sequence[Cell], workers: int = 1, executor: Executor | None = None
) -> tuple[list[Tested], bool]:
    """Simulate and analyse every cell.

    Returns
    -------
    tested : list of Tested
        One per cell, with the studies that were finished.
    stopped : bool
        Whether the keyboard interrupted the work.
    """
    jobs = [
        (number, chunk, size)
        for number, cell in enumerate(cells)
        for chunk, size in enumerate(cell.chunks)
    ]
    parts: list[list[Tested]] = [[] for _ in cells]
    stopped = False
    with _pool(workers, executor) as pool:
        try:
            calls = [(cells[number], chunk, size) for number, chunk, size in jobs]
            results = map(_run, calls) if pool is None else pool.map(_run, calls)
            progress = tqdm(results, total=len(jobs), desc="simulating", disable=None)
            for (number, _, _), found in zip(jobs, progress, strict=False):
                parts[number].append(found)
        except KeyboardInterrupt:
            if not any(parts):
                raise
            stopped = True
    return [_joined(found) for found in parts], stopped


def _run(call: tuple[Cell, int, int]) -> Tested:
    cell, chunk, size = call
    # The stream is named by what is simulated, so that other cells do not change it.
    key = (cell.n, cell.plan.trials, chunk)
    rng = np.random.default_rng(np.random.SeedSequence(cell.seed, spawn_key=key))
    return analyse(cell.plan, draw_batch(cell.plan, cell.n, cell.effect, size, rng))


@contextmanager
def _pool(workers: int, executor: Executor | None) -> Iterator[Executor | None]:
    if executor is not None or workers == 1:
        yield executor
        return
    with ProcessPoolExecutor(workers) as pool:
        try:
            yield pool
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def _joined(parts: list[Tested]) -> Tested:
    if not parts:
        return Tested(*(np.empty(0) for _ in range(4)))
    columns = ("estimate", "std_error", "df", "p")
    return Tested(*(np.concatenate([getattr(part, name) for part in parts]) for name in columns))
