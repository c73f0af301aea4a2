"""A figure becomes bytes: laid out once, drawn once for each format, in this process or another.

Run as a program it draws figures that come in by the standard input and gives their bytes by the
standard output, so that a report draws on several processors. It is started with nothing but
matplotlib and needs no ``if __name__ == "__main__"`` in the script of the user. What cannot be sent
(a figure with functions of the user's own, fonts that the user has added) is drawn here.
"""

import contextlib
import io
import os
import pickle
import queue
import subprocess
import sys
import threading
from collections.abc import Iterator, Mapping
from concurrent.futures import Future
from typing import Any, BinaryIO, Final, TypeAlias

import matplotlib as mpl
from matplotlib import font_manager
from matplotlib.figure import Figure

from motorlearn.figures.drawing.extents import settle

Options: TypeAlias = Mapping[str, Mapping[str, Any]]
Pictures: TypeAlias = dict[str, bytes]

_UNSENT: Final = ("backend", "backend_fallback", "interactive", "image.cmap")
_MOST: Final = 4
"""Most processes beside this one: a report has about twenty figures."""


def print_options(name: str, *, dpi: int = 300) -> dict[str, dict[str, Any]]:
    """What each format is written with; no file says when it was made."""
    return {
        "png": {"dpi": dpi, "metadata": {"Software": None}},
        "svg": {"metadata": {"Date": None}},
        "pdf": {"metadata": {"Title": name, "CreationDate": None}},
    }


def lay_out(figure: Figure) -> None:
    """Lay a figure out once; with no layout left to do, every format is drawn once only."""
    if figure.get_layout_engine() is not None:
        settle(figure)
        off: Any = {"figure.autolayout": False, "figure.constrained_layout.use": False}
        with mpl.rc_context(off):
            figure.set_layout_engine(None)


def printed(figure: Figure, form: str, options: Mapping[str, Any]) -> bytes:
    """Draw a figure in one format."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format=form, **options)
    return buffer.getvalue()


def _settings() -> dict[str, Any]:
    """Settings that a picture depends on, as they are now."""
    now: Any = mpl.rcParams
    return {name: value for name, value in now.items() if name not in _UNSENT}


def _fonts() -> int:
    return len(font_manager.fontManager.ttflist)


class Press:
    """Processes that draw figures, started with the first one.

    Where none can be had, nothing is taken and all is drawn here.

    Parameters
    ----------
    processes : int
        Processes beside this one; 0 for none.
    """

    def __init__(self, processes: int) -> None:
        self.jobs: queue.SimpleQueue[tuple[bytes, Future[Pictures | None]] | None]
        self.jobs = queue.SimpleQueue()
        self.workers: list[subprocess.Popen[bytes]] = []
        self.threads: list[threading.Thread] = []
        self.fonts = _fonts()
        self.places = processes

    def _hire(self) -> None:
        worker = subprocess.Popen(
            [sys.executable, "-m", __name__],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            start_new_session=True,  # Ctrl-C ends this process, whose end closes the pipes
        )
        thread = threading.Thread(target=self._serve, args=(worker,), daemon=True)
        self.workers.append(worker)
        self.threads.append(thread)
        thread.start()

    def _serve(self, worker: subprocess.Popen[bytes]) -> None:
        """Hand jobs to one process; where it is gone they are answered with nothing."""
        assert worker.stdin is not None and worker.stdout is not None
        while (job := self.jobs.get()) is not None:
            sent, answer = job
            if not answer.set_running_or_notify_cancel():
                continue
            found: Pictures | None = None
            with contextlib.suppress(OSError, ValueError, EOFError, pickle.UnpicklingError):
                _put(worker.stdin, sent)
                found = pickle.loads(_get(worker.stdout))
            answer.set_result(found)

    def take(self, figure: Figure, options: Options) -> Future[Pictures | None] | None:
        """Take a figure to draw; None where it cannot be sent."""
        while self.places > 0:
            self.places -= 1
            with contextlib.suppress(OSError):
                self._hire()
        if not self.workers:
            return None
        try:
            sent = pickle.dumps((figure, dict(options), _settings(), self.fonts))
        except (pickle.PicklingError, AttributeError, TypeError):
            return None
        answer: Future[Pictures | None] = Future()
        self.jobs.put((sent, answer))
        return answer

    def close(self) -> None:
        """End the processes; jobs that were not begun are dropped."""
        with contextlib.suppress(queue.Empty):
            while True:
                job = self.jobs.get_nowait()
                if job is not None:
                    job[1].cancel()
        for worker in self.workers:
            self.jobs.put(None)
            worker.kill()
        for worker, thread in zip(self.workers, self.threads, strict=True):
            thread.join()
            worker.communicate()


@contextlib.contextmanager
def press(processes: int | None = None) -> Iterator[Press]:
    """Processes for the figures of a report: one for each processor beside the first.

    ``MOTORLEARN_PROCESSES`` in the environment sets the number of all, 1 for none beside this one.
    """
    if processes is None:
        asked = os.environ.get("MOTORLEARN_PROCESSES", "")
        here = int(asked) if asked.isdigit() else len(_processors())
        processes = min(max(here - 1, 0), _MOST)
    made = Press(processes if sys.executable else 0)
    try:
        yield made
    finally:
        made.close()


def _processors() -> range | set[int]:
    if hasattr(os, "sched_getaffinity"):
        return os.sched_getaffinity(0)
    return range(os.cpu_count() or 1)


def _put(pipe: Any, content: bytes) -> None:
    pipe.write(len(content).to_bytes(8, "big"))
    pipe.write(content)
    pipe.flush()


def _get(pipe: Any) -> bytes:
    head = pipe.read(8)
    if len(head) < 8:
        raise EOFError
    content: bytes = pipe.read(int.from_bytes(head, "big"))
    return content


def serve(jobs: BinaryIO, answers: BinaryIO) -> None:
    """Draw what comes in until nothing more does."""
    while True:
        try:
            figure, options, settings, fonts = pickle.loads(_get(jobs))
        except EOFError:
            return
        found: Pictures | None = None
        if fonts == _fonts():
            with mpl.rc_context(settings):
                lay_out(figure)
                found = {form: printed(figure, form, how) for form, how in options.items()}
        _put(answers, pickle.dumps(found))


if __name__ == "__main__":
    serve(sys.stdin.buffer, sys.stdout.buffer)
