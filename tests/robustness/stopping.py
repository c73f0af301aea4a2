"""Stop a writer at each thing it does to the disk, and look at what it leaves.

    python tests/robustness/stopping.py FOLDER WRITER MOST ...

A writer runs once to the end and so shows the later state. Then it runs over the earlier state
again and again, each time in a process of its own that is interrupted or killed one step further
on. What it leaves has to be the earlier or the later state of each output, whole; the next run has
to reach the later state and to clear away what the stopped run left. ``MOST`` is the number of
its steps that are tried, more or less. Prints for each writer one line of JSON: what was wrong.
"""

import contextlib
import hashlib
import importlib
import itertools
import json
import os
import re
import shutil
import signal
import sys
import traceback
import zipfile
from collections.abc import Callable
from pathlib import Path

from writers import WRITERS, Writer

UNFINISHED = re.compile(r"\.(unfinished|lock)$")
PLACING = {"os.rename", "ctypes.dlsym"}
WATCHED = PLACING | {
    "open", "os.remove", "os.mkdir", "os.rmdir", "os.chmod", "os.listdir", "os.scandir",
    "shutil.rmtree", "os.link", "fcntl.flock",
}  # fmt: skip
INTERRUPTED = 130
ENDS = {"interrupt": INTERRUPTED, "kill": -signal.SIGKILL}


class Steps:
    """Lists what is done to the disk below a folder, and stops the process at one of the steps."""

    def __init__(self, folder: Path, stop_at: int = 0, how: str = "") -> None:
        self.folder, self.stop_at, self.how, self.events = str(folder), stop_at, how, []
        sys.addaudithook(self.step)

    def step(self, event: str, arguments: tuple) -> None:
        if event not in WATCHED or not self.concerns(event, arguments):
            return
        self.events.append(event)
        if len(self.events) == self.stop_at:
            if event == "open" and "w" in str(arguments[1]):
                half_written(arguments[0])
            if self.how == "kill":
                os.kill(os.getpid(), signal.SIGKILL)
            raise KeyboardInterrupt

    def concerns(self, event: str, arguments: tuple) -> bool:
        if event == "ctypes.dlsym":
            return arguments[1] == "renameat2"
        places = [os.fspath(part) for part in arguments if isinstance(part, str | os.PathLike)]
        return any(isinstance(place, str) and place.startswith(self.folder) for place in places)


def half_written(place: str) -> None:
    """Leave a file as a run does that is stopped in the middle of writing it."""
    with open(place, "wb") as handle:
        handle.write(b"half")


def apart(work: Callable[[], object]) -> int:
    """Exit code, or minus the signal, of work done in a process of its own."""
    process = os.fork()
    if not process:
        code = 1
        try:
            work()
            code = 0
        except KeyboardInterrupt:
            code = INTERRUPTED
        except Exception:  # noqa: BLE001 - told and turned into the exit code
            traceback.print_exc()
        finally:
            sys.stderr.flush()
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])


def begun(work: Callable[[], object], folder: Path) -> None:
    """Do a first piece of work apart, and load here what it loaded: later ones start from here."""
    note = folder / "loaded.json"

    def noted() -> None:
        work()
        note.write_text(json.dumps(list(sys.modules)))

    assert apart(noted) == 0, "the first piece of work fails"
    for name in json.loads(note.read_text()):
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    note.unlink()


def events_of(writer: Writer, folder: Path) -> list[str]:
    """Run a writer to its end; gives its steps."""
    note = folder.parent / "events.json"

    def work() -> None:
        steps = Steps(folder)
        writer.write(folder, 2)
        note.write_text(json.dumps(steps.events))

    assert apart(work) == 0, "the writer fails by itself"
    return json.loads(note.read_text())


def stopped(writer: Writer, folder: Path, step: int, how: str) -> int:
    """Run a writer until it is stopped at a step."""

    def work() -> None:
        Steps(folder, step, how)
        writer.write(folder, 2)

    return apart(work)


def chosen(events: list[str], most: int) -> list[tuple[str, int]]:
    """How to stop, and at which step: all, or where things take their place and some others.

    With ``most`` 1 only where the last thing takes its place.
    """
    steps = range(1, len(events) + 1)
    if len(steps) <= most:
        return [(how, step) for step in steps for how in ENDS]
    placing = [step for step in steps if events[step - 1] in PLACING][-max(most // 8, 1) :]
    if most < 2:
        return [(how, step) for step in placing for how in ENDS]
    near = {*placing, *(step + 1 for step in placing if step < len(events))}
    some = {round(1 + i * (len(events) - 1) / (most // 2)) for i in range(most // 2 + 1)} - near
    turns = zip(sorted(some), itertools.cycle(ENDS))
    return [(how, step) for step in sorted(near) for how in ENDS] + [(how, s) for s, how in turns]


def states(writer: Writer, folder: Path) -> dict[str, dict[str, str]]:
    """Every output of a writer: each of its files with the sum of what it says."""
    found = {}
    for unit in writer.units:
        path = folder / unit
        files = [path] if path.is_file() else sorted(path.rglob("*"))
        found[unit] = {str(file): said(file) for file in files if file.is_file()}
    return found


def said(file: Path) -> str:
    """Sum of a file; of a packed document that of its parts, without the moment of saving."""
    content = file.read_bytes()
    if file.suffix in (".xlsx", ".docx"):
        with zipfile.ZipFile(file) as archive:
            names = [name for name in archive.namelist() if name != "docProps/core.xml"]
            content = b"".join(name.encode() + archive.read(name) for name in names)
    return hashlib.sha256(content).hexdigest()


def unfinished(folder: Path) -> list[str]:
    """Names of unfinished work below a folder."""
    return [path.name for path in folder.rglob(".*") if UNFINISHED.search(str(path))]


def look(writer: Writer, home: Path, how: str, before: dict, after: dict) -> list[str]:
    """Say what is wrong with what a stopped run left, and with the run after it."""
    found, wrong = states(writer, home), []
    gone = [{}] if writer.gap and how == "kill" else []
    for unit, left in found.items():
        if left not in (before[unit], after[unit], *gone):
            wrong.append(f"{unit} is neither the earlier nor the later one")
    if writer.again or found != after:
        if apart(lambda: writer.write(home, 2)):
            wrong.append("the next run fails")
        elif states(writer, home) != after:
            wrong.append("the next run gives something else")
        elif unfinished(home):
            wrong.append(f"{unfinished(home)} stay")
    return wrong


def examine(writer: Writer, folder: Path, most: int) -> list[str]:
    """Stop a writer in both ways at its steps; gives what was wrong."""
    home, earlier = folder / "home", folder / "earlier"
    home.mkdir()
    begun(lambda: writer.prepare(home), folder)
    shutil.copytree(home, earlier)
    before, events = states(writer, home), events_of(writer, home)
    after = states(writer, home)
    wrong = [f"{unit} does not change" for unit in writer.units if before[unit] == after[unit]]
    for how, step in chosen(events, most):
        shutil.rmtree(home)
        shutil.copytree(earlier, home)
        code = stopped(writer, home, step, how)
        faults = look(writer, home, how, before, after)
        faults += [f"ended with {code}"] * (code != ENDS[how])
        wrong += [f"{how} at step {step} of {len(events)}: {fault}" for fault in faults]
    return wrong


if __name__ == "__main__":
    place, *wanted = sys.argv[1:]
    for name, most in zip(wanted[::2], wanted[1::2], strict=True):
        own = Path(place).resolve() / name.replace(" ", "-")
        own.mkdir()
        print(json.dumps([name, examine(WRITERS[name], own, int(most))]), flush=True)
