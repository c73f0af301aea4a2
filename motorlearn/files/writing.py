"""Files and folders that take their place when they are whole.

A file is written under another name beside its target and renamed into place; a folder is filled
beside its target and swapped in. A run that is stopped or killed leaves the earlier state or the
later one. Where the system cannot exchange two folders in one step, a kill between the two steps
leaves the earlier folder under another name, and the next run puts it back.
"""

import contextlib
import ctypes
import errno
import os
import shutil
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from motorlearn.exceptions import FileError
from motorlearn.files.names import real_place, shortened
from motorlearn.files.owned import list_and_carry, written_before
from motorlearn.files.unfinished import EARLIER, ENDING, LOCK, locked, place_beside, put_back, sweep

_HERE: Final = -100
_EXCHANGE: Final = 2
_BEGINNING: Final = 4096


def write_bytes(
    path: str | Path, content: bytes, *, mode: int | None = None, only_over: bytes = b""
) -> Path:
    """Write a file atomically and return its path.

    Parameters
    ----------
    path : path-like
        Where the file goes; its folder must exist. Where it is a link, the file it names is
        written and the link stays.
    content : bytes
        What it holds.
    mode : int, optional
        Permissions of the file; by default those it has, or for a new file what the system gives.
    only_over : bytes
        Where given, a file that is there already is replaced only if these bytes stand near its
        beginning: otherwise it is somebody's work.

    Raises
    ------
    FileError
        If the folder does not exist or cannot be written, or the file is somebody's work.
    """
    target = real_place(path)
    if not target.parent.is_dir():
        there = str(Path(path).parent)
        raise FileError("the folder for the file does not exist", [there], "create it")
    with new_file(target, mode=mode, only_over=only_over) as temporary:
        temporary.write_bytes(content)
    return Path(path)


def write_text(path: str | Path, content: str, *, only_over: str = "") -> Path:
    """Write a text file atomically, in UTF-8 with line feeds."""
    return write_bytes(path, content.encode("utf-8"), only_over=only_over.encode("utf-8"))


def ensured_folder(path: str | Path) -> Path:
    """Make a folder, with those above it, where there is none, and return its path.

    Raises
    ------
    FileError
        If it cannot be made.
    """
    target = real_place(path)
    with _told("the folder cannot be made", target):
        target.mkdir(parents=True, exist_ok=True)
    return Path(path)


@contextlib.contextmanager
def new_file(
    path: str | Path, *, mode: int | None = None, only_over: bytes = b""
) -> Iterator[Path]:
    """Give a temporary path beside the target that takes its place when the block ends well.

    Raises
    ------
    FileError
        If the file cannot be written: no room, no permission, no such folder, a folder of its
        name, or one that is protected against writing; or it is somebody's work, without the bytes
        ``only_over`` near its beginning.
    """
    target = real_place(path)
    if only_over and target.is_file() and only_over not in _beginning(target):
        raise FileError(
            "the file exists and was not made by this command", [str(path)], "name a new file"
        )
    with _told("the file cannot be written", target):
        _refuse_unwritable(target)
        sweep(target)
        temporary, wanted = place_beside(target), _mode(target, mode)
        begun = 0o666 if wanted is None else wanted | stat.S_IWUSR
        os.close(os.open(temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, begun))
        try:
            yield temporary
            _settle(temporary)
            if wanted is not None:
                temporary.chmod(wanted)
            temporary.replace(target)
        finally:
            temporary.unlink(missing_ok=True)


@contextlib.contextmanager
def new_folder(path: str | Path, *, mark: str) -> Iterator[Path]:
    """Give an empty folder beside the target that takes its place when the block ends well.

    What somebody put into the earlier folder is in the new one too. A file of ours that somebody
    changed, and one whose name the new folder needs, gets ``(kept)`` behind its name.

    Parameters
    ----------
    path : path-like
        The folder to make or replace. Where it is a link, the folder it names is replaced and the
        link stays.
    mark : str
        Kind of folder; one of another kind is not replaced.

    Raises
    ------
    FileError
        If the target exists, is not empty and was not made by this command, if another run is
        writing it, or if it cannot be written.
    """
    target = real_place(path)
    with _told("the folder cannot be written", target):
        target.parent.mkdir(parents=True, exist_ok=True)
        with locked(target):
            sweep(target)
            ours = written_before(target, mark)
            place = place_beside(target)
            place.mkdir()
            try:
                (work := place / "work").mkdir()
                yield work
                list_and_carry(work, target, mark, ours)
                _swap(work, target)
            finally:
                put_back(place, target)
                shutil.rmtree(place, ignore_errors=True)


@contextlib.contextmanager
def _told(cause: str, target: Path) -> Iterator[None]:
    """Say in our words what the system reports while something is written."""
    try:
        yield
    except OSError as problem:
        named = problem.filename if isinstance(problem.filename, str) else ""
        ours = not named or named.endswith((ENDING, LOCK)) or ENDING in named
        shown = str(target) if ours else named
        shown = Path(shown).name if ENDING in shown else shown
        raise FileError(
            f"{cause} ({problem.strerror or problem})",
            [shortened(shown)],
            "make room, or choose a place you may write to",
        ) from problem


def _refuse_unwritable(target: Path) -> None:
    if target.is_dir():
        raise FileError("there is a folder of this name", [str(target)], "name a file")
    if target.exists() and not target.is_file():
        raise FileError("this is no ordinary file", [str(target)], "name a file")
    if target.exists() and not os.access(target, os.W_OK):
        raise FileError("the file is protected against writing", [str(target)], "name another file")


def _mode(target: Path, mode: int | None) -> int | None:
    """Permissions asked for or those of the file that is replaced; None: what the system gives."""
    if mode is None and target.exists():
        return stat.S_IMODE(target.stat().st_mode)
    return mode


def _beginning(path: Path) -> bytes:
    """Begin of a file; nothing where it is none that can be read."""
    if not path.is_file():
        return b""
    with _told("the file that is there cannot be read", path), path.open("rb") as handle:
        return handle.read(_BEGINNING)


def _settle(path: Path) -> None:
    with path.open("rb") as handle:
        os.fsync(handle.fileno())


def _swap(work: Path, target: Path) -> None:
    """Put a finished folder in the place of an earlier one, in one step where the system can."""
    try:
        work.rename(target)
    except OSError as problem:
        if problem.errno not in (errno.ENOTEMPTY, errno.EEXIST, errno.EACCES, errno.EPERM):
            raise
        if not _exchanged(work, target):
            target.rename(work.parent / EARLIER)
            work.rename(target)


def _exchanged(work: Path, target: Path) -> bool:
    """Exchange two folders in one step (Linux ``renameat2``); false where that is not offered."""
    try:
        exchange = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError, TypeError):
        return False
    return bool(exchange(_HERE, os.fsencode(work), _HERE, os.fsencode(target), _EXCHANGE) == 0)
