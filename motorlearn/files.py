"""How anything reaches the disk: whole, or not at all.

A file is written under a temporary name beside its target and renamed into place; a folder is
filled beside its target and swapped in. A run that is stopped or killed leaves the earlier state or
the later one. Where the system cannot exchange two folders in one step, a kill between the two
steps leaves the earlier folder under another name, and the next run puts it back.
"""

import contextlib
import ctypes
import errno
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from motorlearn.exceptions import FileError

_HERE = -100
_EXCHANGE = 2
_EARLIER = "earlier-state"


def write_bytes(path: str | Path, content: bytes, *, mode: int = 0o644) -> Path:
    """Write a file atomically and return its path.

    Parameters
    ----------
    path : path-like
        Where the file goes; its folder must exist.
    content : bytes
        What it holds.
    mode : int
        Permissions of the file.

    Raises
    ------
    FileError
        If the folder does not exist or cannot be written.
    """
    target = Path(path)
    if not target.parent.is_dir():
        raise FileError("the folder for the file does not exist", [str(target.parent)], "create it")
    with new_file(target, mode=mode) as temporary:
        temporary.write_bytes(content)
    return target


def write_text(path: str | Path, content: str) -> Path:
    """Write a text file atomically, in UTF-8 with line feeds."""
    return write_bytes(path, content.encode("utf-8"))


@contextlib.contextmanager
def new_file(path: str | Path, *, mode: int = 0o644) -> Iterator[Path]:
    """Give a temporary path beside the target that takes its place when the block ends well."""
    target = Path(path)
    try:
        _sweep(target)
        handle, name = tempfile.mkstemp(prefix=_prefix(target), dir=target.parent)
    except OSError as problem:
        raise FileError(
            f"the file cannot be written ({problem.strerror})",
            [str(target)],
            "choose a folder you may write to",
        ) from problem
    os.close(handle)
    temporary = Path(name)
    try:
        yield temporary
        _settle(temporary)
        temporary.chmod(mode)
        temporary.replace(target)
    finally:
        temporary.unlink(missing_ok=True)


@contextlib.contextmanager
def new_folder(path: str | Path, *, mark: str) -> Iterator[Path]:
    """Give an empty folder beside the target that takes its place when the block ends well.

    Parameters
    ----------
    path : path-like
        The folder to make or replace.
    mark : str
        Name of a file that shows that an existing folder was made by us and may be replaced.

    Raises
    ------
    FileError
        If the target exists, is not empty and does not hold the mark: it may be somebody's work.
    """
    target = Path(path).absolute()
    if target.exists() and (not target.is_dir() or _foreign(target, mark)):
        raise FileError(
            "the output folder exists and was not made by this command",
            [str(target)],
            "name a new or an empty folder",
        )
    target.parent.mkdir(parents=True, exist_ok=True)
    _sweep(target)
    work = Path(tempfile.mkdtemp(prefix=_prefix(target), dir=target.parent))
    try:
        yield work
        if not (work / mark).exists():
            (work / mark).write_text("", encoding="utf-8")
        work.chmod(0o755)
        _swap(work, target)
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _foreign(folder: Path, mark: str) -> bool:
    return any(folder.iterdir()) and not (folder / mark).exists()


def _settle(path: Path) -> None:
    with path.open("rb") as handle:
        os.fsync(handle.fileno())


def _prefix(target: Path) -> str:
    """Begin of the name of unfinished work; it holds the number of the process that does it."""
    return f".{target.name}.{os.getpid()}."


def _sweep(target: Path) -> None:
    """Clear away unfinished work that processes left which no longer run."""
    start = f".{target.name}."
    for entry in target.parent.iterdir():
        number = entry.name.removeprefix(start).split(".")[0]
        if entry.name.startswith(start) and number.isdigit() and not _runs(int(number)):
            if entry.is_dir() and not entry.is_symlink():
                _put_back(entry, target)
                shutil.rmtree(entry, ignore_errors=True)
            else:
                entry.unlink(missing_ok=True)


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError, OSError):
        return True
    return True


def _swap(work: Path, target: Path) -> None:
    """Put a finished folder in the place of an earlier one, in one step where the system can."""
    try:
        work.rename(target)
    except OSError as problem:
        if problem.errno not in (errno.ENOTEMPTY, errno.EEXIST, errno.EACCES, errno.EPERM):
            raise
        if not _exchanged(work, target):
            _swap_in_two_steps(work, target)


def _exchanged(work: Path, target: Path) -> bool:
    """Exchange two folders in one step (Linux ``renameat2``); false where that is not offered."""
    try:
        exchange = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError, TypeError):
        return False
    return exchange(_HERE, os.fsencode(work), _HERE, os.fsencode(target), _EXCHANGE) == 0


def _swap_in_two_steps(work: Path, target: Path) -> None:
    old = Path(tempfile.mkdtemp(prefix=_prefix(target), dir=target.parent))
    try:
        target.rename(old / _EARLIER)
        work.rename(target)
    finally:
        _put_back(old, target)
        shutil.rmtree(old, ignore_errors=True)


def _put_back(old: Path, target: Path) -> None:
    """Give an earlier folder its place again where no later one took it."""
    if (old / _EARLIER).exists() and not target.exists():
        (old / _EARLIER).rename(target)
