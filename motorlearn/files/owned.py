"""What a run wrote into a folder, by list and checksum, and what is somebody else's.

A folder that was written here holds a list of what was written with the sum of each file. Only a
folder with such a list is ever replaced, and only what is still as the list says is taken for ours:
what somebody changed or put there is carried over.
"""

import contextlib
import hashlib
import json
import os
import shutil
import stat
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from motorlearn.exceptions import FileError
from motorlearn.files.unfinished import ENDING

LISTED: Final = ".motorlearn.json"
"""Name of the list of what was written into a folder."""


def written_before(folder: Path, kind: str) -> Mapping[str, str]:
    """Files, with their sums, that a run of this kind wrote into a folder.

    Raises
    ------
    FileError
        If there is something at the place that no run of this kind made.
    """
    if not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
        return {}
    stored = _stored(folder)
    if stored.get("kind") != kind:
        raise FileError(
            "the output folder exists and was not made by this command",
            [str(folder)],
            "name a new or an empty folder",
        )
    files: Mapping[str, str] = stored["files"]
    return files


def list_and_carry(work: Path, earlier: Path, kind: str, ours: Mapping[str, str]) -> None:
    """List what was written, and carry over from the earlier folder what is not ours."""
    written = {name: _sum(path) for name, path in _entries(work).items()}
    found = {name: (path, _sum(path)) for name, path in _earlier(earlier).items()}
    for name, (path, content) in found.items():
        if ours.get(name) == content:
            if written.get(name) == content:
                _keep(path, work / name)
        elif written.get(name) == content:
            del written[name]  # the run itself kept it: it stays somebody's
        else:
            _carry(path, _free_place(work / name))
    stored = {"kind": kind, "id": _identity(kind, written), "files": written}
    text = json.dumps(stored, indent=1, ensure_ascii=True, sort_keys=True)
    (work / LISTED).write_text(text + "\n", "ascii")
    if earlier.is_dir():
        work.chmod(stat.S_IMODE(earlier.stat().st_mode))


def _stored(folder: Path) -> dict[str, Any]:
    """The list in a folder; empty where there is none, or it is not as we write it."""
    place = folder / LISTED
    try:
        stored = json.loads(place.read_bytes() if place.is_file() else b"{}")
    except (OSError, ValueError, RecursionError):
        return {}
    match stored:
        case {"kind": str(kind), "id": str(name), "files": dict(files)}:
            return stored if name == _identity(kind, files) else {}
    return {}


def _identity(kind: str, files: Mapping[str, Any]) -> str:
    """Name of a list: a sum of what it says, so that an altered list is not believed."""
    said = json.dumps(["motorlearn", kind, files], ensure_ascii=True, sort_keys=True)
    return hashlib.sha256(said.encode("ascii")).hexdigest()


def _earlier(folder: Path) -> dict[str, Path]:
    """What stands in an earlier folder, but for the list of what was written."""
    found = _entries(folder) if folder.is_dir() else {}
    found.pop(LISTED, None)
    return found


def _entries(folder: Path) -> dict[str, Path]:
    """Everything below a folder that is no folder, and folders that are empty."""
    found = {}
    for place, folders, names in os.walk(folder):
        here = Path(place)
        links = [name for name in folders if (here / name).is_symlink()]
        for name in [*names, *links]:
            found[(here / name).relative_to(folder).as_posix()] = here / name
        if not folders and not names and here != folder:
            found[here.relative_to(folder).as_posix()] = here
    return dict(sorted(found.items()))


def _sum(path: Path) -> str:
    """Sum of a file's content; of anything else what it is, which no list of ours holds."""
    kind = path.lstat().st_mode
    if stat.S_ISLNK(kind):
        return f"link to {os.readlink(path)}"
    if not stat.S_ISREG(kind):
        return "folder" if stat.S_ISDIR(kind) else "no file"
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def _free_place(place: Path) -> Path:
    """The place itself, or one with ``(kept)`` behind its name where it is taken."""
    for parent in reversed(place.parents):
        if os.path.lexists(parent) and not parent.is_dir():
            return _free_place(parent) / place.relative_to(parent)
    found, number = place, 1
    while os.path.lexists(found):
        behind = "(kept)" if number == 1 else f"(kept {number})"
        found, number = place.with_name(f"{place.stem} {behind}{place.suffix}"), number + 1
    return found


def _keep(earlier: Path, place: Path) -> None:
    """Let a file of the earlier folder stand where the same was written anew.

    Nothing is freed on the disk, which takes longer than all that was written; the file keeps its
    time.
    """
    beside = place.with_name(place.name + ENDING)
    try:
        os.link(earlier, beside, follow_symlinks=False)
        beside.replace(place)
    except (OSError, NotImplementedError):
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)


def _carry(source: Path, place: Path) -> None:
    """Put something of somebody's at a place of the new folder too: the same file, or a copy."""
    if source.is_dir() and not source.is_symlink():
        place.mkdir(parents=True, exist_ok=True)
        return
    place.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.link(source, place, follow_symlinks=False)
    except (OSError, NotImplementedError):
        shutil.copy2(source, place, follow_symlinks=False)
