"""How anything reaches the disk: whole, or not at all.

A file is written under a temporary name beside its target and renamed into place; a folder is
filled beside its target and swapped in. A run that is killed leaves the earlier state.
"""

import contextlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from motorlearn.exceptions import FileError


def write_bytes(path: str | Path, content: bytes) -> Path:
    """Write a file atomically and return its path.

    Parameters
    ----------
    path : path-like
        Where the file goes; its folder must exist.
    content : bytes
        What it holds.

    Raises
    ------
    FileError
        If the folder does not exist or cannot be written.
    """
    target = Path(path)
    if not target.parent.is_dir():
        raise FileError("the folder for the file does not exist", [str(target.parent)], "create it")
    with new_file(target) as temporary:
        temporary.write_bytes(content)
    return target


def write_text(path: str | Path, content: str) -> Path:
    """Write a text file atomically, in UTF-8 with line feeds."""
    return write_bytes(path, content.encode("utf-8"))


@contextlib.contextmanager
def new_file(path: str | Path) -> Iterator[Path]:
    """Give a temporary path beside the target that takes its place when the block ends well."""
    target = Path(path)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
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
        temporary.chmod(0o644)
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
    work = Path(tempfile.mkdtemp(prefix=f".{target.name}.", dir=target.parent))
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


def _swap(work: Path, target: Path) -> None:
    if not target.exists():
        work.rename(target)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{target.name}.old.", dir=target.parent))
    target.rename(old / "was")
    try:
        work.rename(target)
    except OSError:
        (old / "was").rename(target)
        raise
    finally:
        shutil.rmtree(old, ignore_errors=True)
