"""Bring foreign files together: one, a list, a folder or a pattern, as names inside a study."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from os.path import commonpath
from pathlib import Path

from motorlearn.exceptions import FileError
from motorlearn.trials.importing.sources import KINDS, is_pattern, natural_order

_PARTS = {
    "participant": r"s|sub|subj|subject|p|pp|ppt|id|vp|participant|player",
    "session": r"session|sess|ses|day|visit|d",
    "block": r"block|blk|b",
    "trial": r"trial|t",
    "group": r"group|grp|g",
}
_RUN = re.compile(r"([A-Za-z]*)[ _-]*(\d+)")


@dataclass(frozen=True)
class Gathered:
    """Files to take in.

    Parameters
    ----------
    files : mapping of str to Path
        Name inside the study, and the file it is copied from.
    source : str
        The file, or the folder of the study that will hold all of them.
    """

    files: Mapping[str, Path]
    source: str

    @property
    def many(self) -> bool:
        """Whether these are several files."""
        return list(self.files) != [self.source]


def gather_files(named: Sequence[str | Path]) -> Gathered:
    """Find what is to be taken in; several files go into a folder of the study.

    Raises
    ------
    FileError
        If there is nothing of that name, or two files would get the same name.
    """
    if len(named) == 1 and Path(named[0]).is_file():
        path = Path(named[0])
        return Gathered({path.name: path}, path.name)
    found: list[Path] = []
    for name in named:
        mine = sorted(_found(Path(name)), key=lambda path: natural_order(path.as_posix()))
        if not mine:
            raise FileError(
                "there is no such file, folder or pattern with a file in it",
                [str(name)],
                "check the spelling and the folder",
            )
        found += mine
    if len(found) == 1:
        return Gathered({found[0].name: found[0]}, found[0].name)
    whole = list(dict.fromkeys(path.resolve() for path in found))
    root = Path(commonpath([path.parent for path in whole]))
    if len(named) == 1 and Path(named[0]).is_dir():
        root = Path(named[0]).resolve()
    folder = re.sub(r"[^\w .-]", "", root.name) or "files"
    files = {f"{folder}/{path.relative_to(root).as_posix()}": path for path in whole}
    return Gathered(files, folder)


def _found(place: Path) -> list[Path]:
    if place.is_file():
        return [place]
    if place.is_dir():
        every = (path for path in place.rglob("*") if path.is_file())
        return [
            path
            for path in every
            if path.suffix.lower() in KINDS
            and not any(part.startswith(".") for part in path.relative_to(place).parts)
        ]
    if not is_pattern(str(place)):
        return []
    fixed = next(n for n, part in enumerate(place.parts) if is_pattern(part))
    root = Path(*place.parts[:fixed]) if fixed else Path()
    return [path for path in root.glob(str(Path(*place.parts[fixed:]))) if path.is_file()]


def guess_name_parts(names: Sequence[str]) -> str:
    """Guess what the names of files hold from the letters before their numbers; else nothing.

    Examples
    --------
    >>> guess_name_parts(["pushes/s01session1data.txt", "pushes/s02session1data.txt"])
    's{participant}session{session}data'
    >>> guess_name_parts(["a.csv", "b.csv"])
    ''
    """
    stems = [Path(name).stem for name in names]
    if len(stems) < 2:
        return ""
    runs = [_RUN.findall(stem) for stem in stems]
    letters = [tuple(word for word, _ in run) for run in runs]
    if len(set(letters)) > 1 or not letters[0]:
        return ""
    known = [_meaning(word) for word in letters[0]]
    if not all(known) or len(set(known)) < len(known):
        return ""
    parts = iter(known)
    pattern = _RUN.sub(lambda found: _with_part(found, next(parts)), stems[0])
    fixed = re.sub(r"\{\w+\}", "0", pattern)
    alike = {_RUN.sub(lambda found: _with_part(found, "x"), stem) for stem in stems}
    return pattern if len(alike) == 1 and "}{" not in pattern and fixed else ""


def _with_part(found: re.Match[str], part: str) -> str:
    whole = found[0]
    return whole[: len(whole) - len(found[2])] + "{" + part + "}"


def _meaning(word: str) -> str:
    return next((name for name, p in _PARTS.items() if re.fullmatch(p, word.lower())), "")
