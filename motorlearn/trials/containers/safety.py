"""What is refused before it is read: paths that leave the folder, files that would explode."""

import gzip
import io
import struct
import zipfile
import zlib
from pathlib import Path
from typing import Final

from motorlearn.exceptions import FileError
from motorlearn.files import real_place, shortened
from motorlearn.trials.containers.markup import absurd, check_part

MOST_BYTES: Final = 2 << 30
"""Largest size, unpacked, of a file that is read (2 GiB)."""
MOST_EXPANSION: Final = 200
"""Largest ratio of unpacked to packed size; ordinary workbooks stay below 50."""
MOST_UNPACKED: Final = 256 << 20
"""Largest size of a workbook, unpacked (256 MiB)."""
_SMALL: Final = 50 << 20
_MOST_PARTS: Final = 5000
_PART: Final = 1 << 20
_DAMAGE: Final = (
    zipfile.BadZipFile,
    zlib.error,
    NotImplementedError,
    EOFError,
    OSError,
    LookupError,
    OverflowError,
    struct.error,
)


def inside(folder: Path, name: str) -> Path:
    """Give the path of a file named in a study, which must lie inside the study's folder.

    Raises
    ------
    FileError
        If the name is absolute, climbs out of the folder or follows a link out of it.
    """
    root = folder.resolve()
    try:
        path = (root / name).resolve()
        outside = Path(name).is_absolute() or not path.is_relative_to(root)
    except (ValueError, OSError, RuntimeError):  # a link that leads to itself, a name of no file
        outside = True
    if outside:
        raise FileError(
            "a file named in the study lies outside its folder",
            [shortened(name)],
            "copy it into the study folder and name it without a path",
        )
    return path


def read_bytes(path: Path) -> bytes:
    """Read a file whole, unless it is absent, no file, empty or too large."""
    real_place(path)
    if not path.exists():
        near = alike(path)
        hint = f"did you mean {near!r}" if near else "check the spelling and the folder"
        raise FileError("there is no such file", [str(path)], hint)
    if not path.is_file():
        raise FileError("this is not a file", [str(path)], "name a file, not a folder")
    size = path.stat().st_size
    if size == 0:
        raise FileError("the file is empty", [path.name], "check that it was saved")
    if size > MOST_BYTES:
        raise FileError(
            f"the file is larger than {MOST_BYTES >> 30} GiB",
            [path.name],
            "split it, or save it as Parquet",
        )
    try:
        return path.read_bytes()
    except OSError as problem:
        raise FileError(
            f"the file cannot be read ({problem.strerror})", [path.name], "check its permissions"
        ) from problem


def unpack_gzip(content: bytes, file: str) -> bytes:
    """Unpack a gzip file, stopping as soon as it grows absurdly."""
    allowed = min(MOST_BYTES, max(_SMALL, MOST_EXPANSION * len(content)))
    parts: list[bytes] = []
    size = 0
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(content)) as stream:
            while part := stream.read(_PART):
                size += len(part)
                if size > allowed:
                    raise absurd(file)
                parts.append(part)
    except (OSError, EOFError, zlib.error) as problem:
        raise FileError(
            "the gzip file is damaged", [file], "copy it again from its source"
        ) from problem
    return b"".join(parts)


def check_archive(content: bytes, file: str) -> None:
    """Refuse a workbook that would cost too much to read, or defines entities.

    Raises
    ------
    FileError
        From the sizes in the directory of the archive, before anything is unpacked (a part that is
        larger than its directory says cannot be read by the zip reader at all), then from a stream
        of the elements of each part, before a reader lays it out in memory.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            parts = archive.infolist()
            total = sum(part.file_size for part in parts)
            allowed = min(MOST_UNPACKED, max(_SMALL, MOST_EXPANSION * len(content)))
            if total > allowed or len(parts) > _MOST_PARTS:
                raise absurd(file)
            for part in parts:
                check_part(archive, part.filename, file)
    except FileError:
        raise
    except (*_DAMAGE, ValueError) as problem:
        raise FileError(
            "the workbook is damaged", [file], "open it in a spreadsheet and save it again"
        ) from problem
    except RuntimeError as problem:
        raise FileError(
            "the workbook is locked with a password", [file], "save a copy without a password"
        ) from problem


def alike(path: Path) -> str:
    """A file beside the one that is absent whose name differs in capitals or ending only."""
    if not path.parent.is_dir():
        return ""
    try:
        names = [entry.name for entry in path.parent.iterdir() if entry.is_file()]
    except OSError:
        return ""
    wanted = path.name.lower()
    return next((n for n in names if n.lower() == wanted or Path(n).stem == path.stem), "")
