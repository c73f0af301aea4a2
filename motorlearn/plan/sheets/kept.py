"""What an earlier run left in a folder of sheets: files that were filled in, and the allocation."""

import hashlib
import json
import shutil
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import pandas as pd

from motorlearn.exceptions import FileError
from motorlearn.files import LISTED

MARK: Final = "sheets.json"
CONCEALED: Final = "concealed"
PEOPLE: Final = f"{CONCEALED}/participants.csv"
CLIPS: Final = f"{CONCEALED}/clips.csv"
LOG: Final = f"{CONCEALED}/allocation.json"
_OURS: Final = (MARK, PEOPLE, LOG, LISTED)


@dataclass(frozen=True)
class Earlier:
    """An earlier folder of sheets.

    Parameters
    ----------
    folder : Path or None
        Where it is.
    people : DataFrame or None
        Participants with their groups, as they were drawn or given.
    log : mapping
        Audit log of the allocation.
    clips : DataFrame or None
        Key of the clips.
    seed : int or None
        Seed of orders and clips.
    touched : tuple of str
        Files, from the folder, that are no longer as they were written, or that somebody put there.
    """

    folder: Path | None = None
    people: pd.DataFrame | None = None
    log: Mapping[str, Any] = field(default_factory=dict)
    clips: pd.DataFrame | None = None
    seed: int | None = None
    touched: tuple[str, ...] = ()


def earlier_sheets(folder: str | Path) -> Earlier:
    """Look what an earlier run left in a folder; nothing where it is no folder of sheets.

    Raises
    ------
    FileError
        If the files that say so cannot be read.
    """
    place = Path(folder)
    if not (place / MARK).is_file():
        return Earlier()
    mark = _json(place / MARK)
    log = _json(place / LOG) if (place / LOG).is_file() else {}
    written = mark.get("files", {})
    found = sorted(p.relative_to(place).as_posix() for p in place.rglob("*") if p.is_file())
    touched = [
        name for name in found if name not in _OURS and written.get(name) != sum_of(place / name)
    ]
    people, clips = kept_people(place / PEOPLE), _table(place / CLIPS)
    return Earlier(place, people, log, clips, mark.get("seed"), tuple(touched))


def drawn_people(study: str | Path, out: str | Path) -> pd.DataFrame | None:
    """Find the participants whose groups were drawn for a study; None where none were.

    Looked for in the folder of sheets itself, in the list beside the plan, and in other folders of
    sheets inside the folder of the study.

    Raises
    ------
    FileError
        If a list cannot be read.
    """
    place = Path(study)
    place = place if place.is_dir() else place.parent
    others = sorted(mark.parent for mark in place.glob(f"*/{MARK}"))
    lists = [Path(out) / PEOPLE, place / "participants.csv", *(o / PEOPLE for o in others)]
    return next((found for path in lists if (found := kept_people(path)) is not None), None)


def kept_people(path: Path) -> pd.DataFrame | None:
    """Read a list of participants that has groups already; None where there is none.

    Raises
    ------
    FileError
        If the list cannot be read.
    """
    people = _table(path)
    return people if people is not None and "group" in people.columns else None


def keep_touched(earlier: Earlier, work: Path) -> None:
    """Copy what was filled in from the earlier folder into the one that takes its place."""
    for name in earlier.touched:
        (work / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(Path(earlier.folder or "") / name, work / name)


def sums_of(folder: Path, without: Iterable[str] = ()) -> dict[str, str]:
    """SHA-256 sum of every file below a folder, so that a later run can tell what was filled in."""
    left_out = {*_OURS, *without}
    named = {p.relative_to(folder).as_posix(): p for p in folder.rglob("*") if p.is_file()}
    return {name: sum_of(path) for name, path in sorted(named.items()) if name not in left_out}


def sum_of(path: Path) -> str:
    """SHA-256 sum of a file."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _table(path: Path) -> pd.DataFrame | None:
    if not path.is_file():
        return None
    try:
        table = pd.read_csv(path, dtype=str, keep_default_na=False)
    except (OSError, ValueError, RecursionError) as problem:
        raise FileError(
            "a list cannot be read", [str(path)], "put the file back as it was written"
        ) from problem
    return table if "participant" in table.columns else None


def _json(path: Path) -> dict[str, Any]:
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as problem:
        raise FileError(
            "a file of the earlier sheets cannot be read", [str(path)], "name a new folder"
        ) from problem
    return content if isinstance(content, dict) else {}
