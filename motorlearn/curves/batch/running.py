"""Where the batches run: one after the other in this process, or on a cluster."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.curves.batch.chunks import Piece
from motorlearn.curves.batch.one_batch import Batch

Work = Callable[[Batch], dict[str, np.ndarray]]
Done = Iterator[tuple[pd.DataFrame, Batch, dict[str, np.ndarray]]]


def here(pieces: Iterable[Piece], work: Work) -> Done:
    """Run batches one after the other.

    Arrays that stay in the cache are done with in microseconds, so that threads would mostly wait
    for each other to let go of the interpreter.
    """
    for keys, batch in pieces:
        yield keys, batch, work(batch)


def on_cluster(pieces: Iterable[Piece], work: Work, cluster: Any) -> Done:
    """Send batches to a cluster; one that is lost with its worker is sent again by it."""
    window = 2 * max(sum(cluster.nthreads().values()), 1) + 2
    yield from _in_order(pieces, lambda batch: cluster.submit(work, batch, pure=False), window)


def _in_order(pieces: Iterable[Piece], submit: Callable[[Batch], Any], window: int) -> Done:
    waiting: deque[tuple[pd.DataFrame, Batch, Any]] = deque()
    for keys, batch in pieces:
        waiting.append((keys, batch, submit(batch)))
        if len(waiting) >= window:
            keys, batch, future = waiting.popleft()
            yield keys, batch, future.result()
    while waiting:
        keys, batch, future = waiting.popleft()
        yield keys, batch, future.result()
