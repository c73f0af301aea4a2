"""What is refused before it is read: paths that leave the folder, files that would explode."""

import gzip
import io
import re
import struct
import zipfile
import zlib
from pathlib import Path
from typing import Final

from motorlearn.exceptions import FileError

MOST_BYTES: Final = 2 << 30
"""Largest size, unpacked, of a file that is read (2 GiB)."""
MOST_EXPANSION: Final = 200
"""Largest ratio of unpacked to packed size; ordinary workbooks stay below 50."""
MOST_CELLS: Final = 5_000_000
"""Largest area of a sheet of a workbook."""
_SMALL: Final = 50 << 20
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
_CELL: Final = re.compile(rb'<(?:\w+:)?c\s[^>]*?\br="([A-Z]{1,4})(\d{1,9})"')
_MERGED: Final = re.compile(
    rb'<(?:\w+:)?mergeCell\s[^>]*?ref="\$?([A-Z]{1,4})\$?(\d{1,9}):\$?([A-Z]{1,4})\$?(\d{1,9})"'
)
_ROW: Final = re.compile(
    rb'<table:table-row(?=[\s/>])(?:[^>]*?number-rows-repeated="(\d{1,9})")?[^>]*?'
    rb"(?:/>|>(.*?)</table:table-row>)",
    re.DOTALL,
)
_ODS_CELL: Final = re.compile(rb"<table:(?:covered-)?table-cell\b([^>]*)>")
_REPEATED: Final = re.compile(rb'number-columns-repeated="(\d{1,9})"')


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
    except (ValueError, OSError):
        outside = True
    if outside:
        raise FileError(
            "a file named in the study lies outside its folder",
            [name],
            "copy it into the study folder and name it without a path",
        )
    return path


def read_bytes(path: Path) -> bytes:
    """Read a file whole, unless it is absent, no file, empty or too large."""
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
                    raise _too_much(file)
                parts.append(part)
    except (OSError, EOFError, zlib.error) as problem:
        raise FileError(
            "the gzip file is damaged", [file], "copy it again from its source"
        ) from problem
    return b"".join(parts)


def check_archive(content: bytes, file: str) -> None:
    """Refuse a workbook whose parts would unpack to an absurd size or define entities.

    Raises
    ------
    FileError
        Before anything is unpacked, from the sizes in the directory of the archive; a part that
        is larger than its directory says cannot be read by the zip reader at all.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            parts = archive.infolist()
            total = sum(part.file_size for part in parts)
            if total > MOST_BYTES or total > max(_SMALL, MOST_EXPANSION * len(content)):
                raise _too_much(file)
            for part in parts:
                if part.filename.endswith((".xml", ".rels")):
                    _check_markup(archive, part, file)
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


def refuse_vast_sheets(content: bytes, file: str) -> None:
    """Refuse a workbook with a sheet of more than five million cells, told from its markup.

    Raises
    ------
    FileError
        Before a reader lays the sheet out in memory.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            areas = [
                _area(archive.read(name))
                for name in archive.namelist()
                if name == "content.xml" or "worksheets/" in name
            ]
    except (*_DAMAGE, RuntimeError, ValueError):
        return
    if any(area > MOST_CELLS for area in areas):
        raise vast_sheet(file)


def vast_sheet(file: str) -> FileError:
    """Make the error for a sheet that is too large."""
    return FileError(
        "the sheet has more than five million cells",
        [file],
        "delete its empty area, or save it as CSV or Parquet",
    )


def _area(markup: bytes) -> int:
    """Area that the cells of one sheet span, from cell addresses or repeat counts."""
    if b"table:table-row" not in markup:
        cells = [(_number_of(found[1]), int(found[2])) for found in _CELL.finditer(markup)]
        return max((c for c, _ in cells), default=0) * max((r for _, r in cells), default=0)
    rows = wide = 0
    pending = 0
    for found in _ROW.finditer(markup):
        repeated = int(found[1] or 1)
        filled, width = _row_width(found[2] or b"")
        pending += repeated
        if filled:
            rows, pending = rows + pending, 0
            wide = max(wide, width)
    return rows * wide


def _row_width(markup: bytes) -> tuple[bool, int]:
    width = last = 0
    for found in _ODS_CELL.finditer(markup):
        repeated = _REPEATED.search(found[1])
        width += int(repeated[1]) if repeated else 1
        if b"value-type" in found[1]:
            last = width
    return last > 0, last


def _number_of(letters: bytes) -> int:
    number = 0
    for letter in letters[:4]:
        number = 26 * number + letter - 64
    return number


def _check_markup(archive: zipfile.ZipFile, part: zipfile.ZipInfo, file: str) -> None:
    with archive.open(part) as stream:
        head = stream.read(4096)
    if "worksheets/" in part.filename:
        _check_merged(archive, part, file)
    if b"<!DOCTYPE" in head or b"<!ENTITY" in head:
        raise FileError(
            "the workbook defines entities, which no spreadsheet program writes",
            [file],
            "do not open it; ask where it comes from",
        )


def _check_merged(archive: zipfile.ZipFile, part: zipfile.ZipInfo, file: str) -> None:
    """Refuse merged areas that a reader would fill cell by cell for ever."""
    area = 0
    for found in _MERGED.finditer(archive.read(part)):
        columns = abs(_number_of(found[3]) - _number_of(found[1])) + 1
        area += columns * (abs(int(found[4]) - int(found[2])) + 1)
    if area > MOST_CELLS:
        raise vast_sheet(file)


def _too_much(file: str) -> FileError:
    return FileError(
        "the packed file would unpack to an absurd size and was not read",
        [file],
        "do not open it; ask where it comes from",
    )


def alike(path: Path) -> str:
    """A file beside the one that is absent whose name differs in capitals or ending only."""
    if not path.parent.is_dir():
        return ""
    names = [entry.name for entry in path.parent.iterdir() if entry.is_file()]
    wanted = path.name.lower()
    return next((n for n in names if n.lower() == wanted or Path(n).stem == path.stem), "")
