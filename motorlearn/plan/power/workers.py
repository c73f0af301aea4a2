"""Processes that share work: started afresh, deaf to Ctrl-C, and gone when the main one is gone.

The main process is one of the workers: it goes on while the others begin, and hands work over to
those that are ready. Nothing is forked: a copy of a process with threads can wait for ever for a
lock that a thread held at the moment of copying. A fresh process imports what it needs, which takes
a second or two, so one pool serves everything that a call computes.
"""

import math
import multiprocessing
import os
import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import ExitStack, contextmanager
from typing import TypeVar

Call = TypeVar("Call")
Outcome = TypeVar("Outcome")


WORTH_STARTING = 1.2
"""Seconds of computing that processes must save before they are started: they take some to begin.

Computing and not waiting is counted, so that a busy machine, on which both the work and the
beginning of processes take longer, decides alike.
"""


CALLS_AHEAD = 2
"""Calls that each process has at hand: it never waits for the next."""


def usable_cores() -> int:
    """Cores that this process may use; more processes than these would only take turns."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def saved_rounds(calls: int, workers: int) -> int:
    """Calls that nobody has to wait for where so many workers share equal ones.

    Examples
    --------
    >>> saved_rounds(3, 2), saved_rounds(7, 2)
    (1, 3)
    """
    return calls - math.ceil(calls / workers)


class Workers:
    """Processes that are started when the work turns out to be worth it.

    Parameters
    ----------
    workers : int
        Processes at most.
    executor : Executor or None
        Where to run instead.
    stack : ExitStack
        Ends the processes.
    """

    def __init__(self, workers: int, executor: Executor | None, stack: ExitStack) -> None:
        self._workers = min(workers, usable_cores())
        self._pool, self._stack = executor, stack
        self._given = executor is not None

    def map(self, function: Callable[[Call], Outcome], calls: Sequence[Call]) -> Iterator[Outcome]:
        """Results in the order of the calls, whoever computes them."""
        if self._pool is None and self._workers > 1 and len(calls) > 1:
            begun = time.process_time()
            yield function(calls[0])
            each = time.process_time() - begun
            calls = calls[1:]
            if each * saved_rounds(len(calls), self._workers) > WORTH_STARTING:
                self._pool = self._stack.enter_context(_processes(self._workers - 1))
        if self._pool is None:
            yield from map(function, calls)
        elif self._given:
            with deaf_to_interrupts():
                handed = [self._pool.submit(function, call) for call in calls]
            yield from (one.result() for one in handed)
        else:
            ahead = CALLS_AHEAD * (self._workers - 1)
            yield from _together(self._pool, function, calls, ahead)


def _together(
    pool: Executor, function: Callable[[Call], Outcome], calls: Sequence[Call], ahead: int
) -> Iterator[Outcome]:
    """Results in the order of the calls; others are given so many as soon as one of them is ready.

    Processes may be started whenever a call is handed over.
    """
    with deaf_to_interrupts():
        ready = pool.submit(_known, function)
    rest, begun = deque(calls), deque[Future[Outcome]]()
    while rest or begun:
        waiting = sum(not one.done() for one in begun)
        while ready.done() and rest and waiting < ahead:
            with deaf_to_interrupts():
                begun.append(pool.submit(function, rest.popleft()))
            waiting += 1
        if begun and (begun[0].done() or not rest):
            yield begun.popleft().result()
        elif rest:
            own: Future[Outcome] = Future()
            own.set_result(function(rest.popleft()))
            begun.append(own)


def _known(function: Callable[[Call], Outcome]) -> None:
    """Nothing; who can do that has imported what the function needs."""


@contextmanager
def worker_pool(workers: int, executor: Executor | None = None) -> Iterator[Workers]:
    """Give processes, or the executor that was handed over, to share work.

    What was not begun when the block ends is dropped.
    """
    with ExitStack() as stack:
        yield Workers(workers, executor, stack)


@contextmanager
def _processes(workers: int) -> Iterator[Executor]:
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

    The interruption itself waits for the end of the block: a process whose start is broken off
    would wait for ever for what it was to be told. The mask alone does not hold it back, since
    another thread may receive the signal for the main one; processes inherit the mask.
    """
    with _masked_interrupts():
        if threading.current_thread() is not threading.main_thread():
            yield  # the interruption is raised in the main thread only
            return
        heard: list[int] = []
        handler = signal.signal(signal.SIGINT, lambda number, _: heard.append(number))
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, handler or signal.SIG_DFL)
            if heard:
                signal.raise_signal(signal.SIGINT)


@contextmanager
def _masked_interrupts() -> Iterator[None]:
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
