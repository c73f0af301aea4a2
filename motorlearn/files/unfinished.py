"""Unfinished work beside its target, signed by who does it; one run at a time at a place.

The name of unfinished work holds a sum of the target's name, a signature of the host, the number of
the process and a random token. Work is cleared away only by the host that signed it, and only when
its process no longer runs: on a shared drive the live work of another host is left alone.
"""

import contextlib
import errno
import hashlib
import os
import platform
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from motorlearn.exceptions import FileError

try:
    import fcntl
except ImportError:  # Windows: two runs at once are not told apart, each is still whole
    fcntl = None  # type: ignore[assignment]

LOCK: Final = ".lock"
ENDING: Final = ".unfinished"
EARLIER: Final = "earlier-state"
"""Name of the earlier folder inside unfinished work, for the moment between two steps."""

_WAIT: Final = 5.0
_NAME: Final = re.compile(
    r"\..*\.(?P<what>[0-9a-f]{8})-(?P<host>[0-9a-f]{12})-(?P<process>\d{1,9})-[0-9a-f]{12}"
    + re.escape(ENDING),
    re.DOTALL,
)
_NO_LOCKS: Final = (errno.ENOLCK, errno.EOPNOTSUPP, errno.EINVAL, errno.ENOSYS)


def place_beside(target: Path) -> Path:
    """Name a place for unfinished work beside a target; it is new and nothing is made."""
    signed = f"{_host()}-{os.getpid()}-{secrets.token_hex(6)}"
    return target.parent / f".{_short(target)}-{signed}{ENDING}"


def sweep(target: Path) -> None:
    """Clear away unfinished work that processes of this host left which no longer run."""
    what, host = _token(target.name)[:8], _host()
    for entry in target.parent.iterdir():
        found = _NAME.fullmatch(entry.name)
        if not found or (found["what"], found["host"]) != (what, host):
            continue
        if _runs(int(found["process"])):
            continue
        if entry.is_dir() and not entry.is_symlink():
            put_back(entry, target)
            shutil.rmtree(entry, ignore_errors=True)
        else:
            entry.unlink(missing_ok=True)


def put_back(work: Path, target: Path) -> None:
    """Give an earlier folder its place again where no later one took it."""
    if (work / EARLIER).exists() and not target.exists():
        (work / EARLIER).rename(target)


@contextlib.contextmanager
def locked(path: str | Path, *, wait: float = _WAIT) -> Iterator[None]:
    """Let one run at a time write at a place; a second one waits a little and then refuses.

    Raises
    ------
    FileError
        If another run holds the place for longer than ``wait`` seconds.
    """
    target = Path(path)
    place = target.parent / f".{_short(target)}{LOCK}"
    handle = _lock(place, target, wait)
    try:
        yield
    finally:
        if handle is not None:
            with contextlib.suppress(OSError):
                place.unlink(missing_ok=True)
            os.close(handle)


def _lock(place: Path, target: Path, wait: float) -> int | None:
    """Hold the lock of a place; None where the system has no locks."""
    if fcntl is None:
        return None
    deadline = time.monotonic() + wait
    while True:
        handle = os.open(place, os.O_CREAT | os.O_RDWR, 0o666)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if _is_at(handle, place):
                return handle
        except OSError as problem:
            if problem.errno in _NO_LOCKS:
                os.close(handle)
                place.unlink(missing_ok=True)
                return None
        os.close(handle)
        if time.monotonic() > deadline:
            raise FileError(
                "another run is writing there at this moment",
                [str(target)],
                "wait until it has ended, or name another place",
            )
        time.sleep(0.002 + secrets.randbelow(20) / 1000)


def _is_at(handle: int, place: Path) -> bool:
    """Whether an open file is the one of that name now."""
    try:
        return os.path.samestat(os.fstat(handle), place.stat())
    except OSError:
        return False


def _short(target: Path) -> str:
    """Name of a target inside a name of ours: its beginning, and a sum that tells it apart."""
    return f"{target.name[:40]}.{_token(target.name)[:8]}"


def _token(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _host() -> str:
    """Signature of what can tell whether a process runs: the machine, and its numbering."""
    try:
        numbering = os.readlink("/proc/self/ns/pid")
        machine = Path("/proc/sys/kernel/random/boot_id").read_text("ascii")
    except (OSError, ValueError):
        numbering = machine = ""
    return _token(f"{platform.node()} {machine} {numbering}")[:12]


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError, OSError):
        return True
    return True
