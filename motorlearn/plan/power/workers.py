"""Processes that share work: started afresh, deaf to Ctrl-C, and gone when the main one is gone.

Nothing is forked: a copy of a process with threads can wait for ever for a lock that a thread held
at the moment of copying. A fresh process imports what it needs, which takes a second or two, so one
pool serves everything that a call computes.
"""

import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager


@contextmanager
def worker_pool(workers: int, executor: Executor | None = None) -> Iterator[Executor | None]:
    """Give a pool of processes, the executor that was handed over, or None for this process.

    What was not begun when the block ends is dropped.
    """
    if executor is not None or workers == 1:
        yield executor
        return
    fresh = multiprocessing.get_context("spawn")
    others = set(multiprocessing.active_children())
    with ProcessPoolExecutor(workers, fresh, initializer=_serve) as pool:
        try:
            yield pool
        except BaseException:
            # A pool that lost a worker can forget the others, which then wait for work for ever.
            for process in set(multiprocessing.active_children()) - others:
                process.kill()
            raise
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def deaf_to_interrupts() -> Iterator[None]:
    """Let processes that are started in the block never hear Ctrl-C, which reaches them all.

    The interruption itself waits for the end of the block.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve() -> None:
    """Prepare a worker: only the main process answers Ctrl-C, and no worker outlives it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
