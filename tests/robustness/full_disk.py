"""Write onto a disk that is full, and with no room for temporary files elsewhere.

    unshare --map-root-user --mount python tests/robustness/full_disk.py FOLDER WRITER ...

A writer runs over its earlier state on a small disk in memory that has no room left, or some. It
has to reach the later state or to refuse in our words; what it leaves has to be the earlier or the
later state of each output, whole; and once there is room the next run has to reach the later state.
Prints for each writer one line of JSON: what was wrong.
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from stopping import apart, begun, look, states
from writers import WRITERS, Writer

from motorlearn.exceptions import MotorlearnError

SIZE = 48 << 20
ROOMS = (0, 12 << 10, 90 << 10)
REFUSED = 3


def fill(disk: Path, room: int) -> Path:
    """Take all room of a disk but so many bytes."""
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as handle:
        try:
            while handle.write(bytes(1 << 20)):
                pass
        except OSError:
            handle.truncate(max(handle.tell() - room, 0))
    return filler


def written(writer: Writer, home: Path) -> int:
    """Exit code of a run that writes the later state."""

    def work() -> None:
        tempfile.tempdir = None
        try:
            writer.write(home, 2)
        except MotorlearnError as problem:
            os._exit(REFUSED if 20 < len(str(problem)) <= 500 else 1)

    return apart(work)


def tried(writer: Writer, home: Path, disk: Path, room: int, known: tuple[dict, dict]) -> list[str]:
    """Write with so much room; gives what was wrong, then and in the run after it."""
    filler = fill(disk, room)
    code = written(writer, home)
    reached = states(writer, home) == known[1]
    filler.unlink()
    wrong = [] if code in (0, REFUSED) else [f"ended with {code}"]
    wrong += ["said to be written, and is not"] * (code == 0 and not reached)
    return wrong + look(writer, home, "full", *known)


def examine(writer: Writer, folder: Path, disk: Path) -> list[str]:
    """Try a writer with little room at its place, and with none for temporary files."""
    homes, earlier = (disk / "home", folder / "home"), folder / "earlier"
    wrong = []
    for home in homes:
        home.mkdir()
        begun(lambda home=home: writer.prepare(home), folder)
        shutil.copytree(home, earlier)
        before = states(writer, home)
        assert written(writer, home) == 0, "no later state"
        known = before, states(writer, home)
        for room in ROOMS if home is homes[0] else ROOMS[:1]:
            shutil.rmtree(home)
            shutil.copytree(earlier, home)
            faults = tried(writer, home, disk, room, known)
            wrong += [f"{room} bytes for {home.parent.name}: {fault}" for fault in faults]
        shutil.rmtree(home)
        shutil.rmtree(earlier)
    return wrong


if __name__ == "__main__":
    place, *names = sys.argv[1:]
    disk = Path(place).resolve() / "disk"
    disk.mkdir()
    wanted = ["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", str(disk)]
    subprocess.run(wanted, check=True)
    os.environ["TMPDIR"] = str(disk)
    for number, name in enumerate(names):
        own = Path(place).resolve() / str(number)
        own.mkdir()
        print(json.dumps([name, examine(WRITERS[name], own, disk)]), flush=True)
