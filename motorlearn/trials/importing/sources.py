"""Which files an import names: one, a list, a folder or a pattern; and what their names say."""

import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

from motorlearn.design import ImportRecipe
from motorlearn.exceptions import FileError
from motorlearn.trials.containers.safety import inside, read_bytes

KINDS: Final = frozenset(
    (".csv", ".tsv", ".tab", ".txt", ".dat", ".gz", ".xlsx", ".xlsm", ".xls", ".ods", ".parquet")
)
"""Endings of the files that are taken from a folder."""

MOST_FILES: Final = 20_000
"""Most files of one import."""

_SIGNS: Final = frozenset("*?[")
_PART: Final = re.compile(r"\{(\w+)\}")


def is_many(root: Path, recipe: ImportRecipe) -> bool:
    """Whether a recipe names more than one file: a list, a folder, a pattern, parts of a name."""
    if recipe.files or recipe.name_parts:
        return True
    place = inside(root, recipe.file)
    return place.is_dir() or (is_pattern(recipe.file) and not place.exists())


def is_pattern(name: str) -> bool:
    """Whether a name stands for every file that fits it, as ``data/s*.txt`` does."""
    return bool(_SIGNS & set(name))


def source_files(root: Path, names: Sequence[str], *, needed: bool = True) -> dict[str, Path]:
    """Find the files that a list of files, folders and patterns names, in the order of names.

    Raises
    ------
    FileError
        If a name leads to no file, or out of the folder of the study.
    """
    found: dict[str, Path] = {}
    base = root.resolve()
    for name in names:
        mine = sorted(_named(root, name), key=lambda path: natural_order(path.as_posix()))
        if not mine and needed:
            raise FileError(
                "no file has this name, lies in this folder or fits this pattern",
                [name],
                "correct import.file (or files.trials) in study.toml, or put the files there",
            )
        found |= {path.relative_to(base).as_posix(): path for path in mine}
        if len(found) > MOST_FILES:
            raise FileError(f"these are more than {MOST_FILES} files", [name], "import a part")
    return found


def _named(root: Path, name: str) -> Iterator[Path]:
    place = inside(root, name)
    if place.is_file():
        yield place
    elif place.is_dir():
        yield from (path for path in _walk(root, place) if path.suffix.lower() in KINDS)
    elif is_pattern(name):
        try:
            listed = list(root.glob(name))
        except (ValueError, NotImplementedError, OSError):
            listed = []
        for path in listed:
            if path.is_file():
                yield inside(root, path.relative_to(root).as_posix())


def _walk(root: Path, folder: Path) -> Iterator[Path]:
    for path in folder.rglob("*"):
        if path.is_file() and not any(part.startswith(".") for part in path.parts):
            yield inside(root, path.relative_to(root.resolve()).as_posix())


def natural_order(text: str) -> list[tuple[int, str]]:
    """Sort ``s2`` before ``s10``."""
    cut = re.split(r"(\d+)", text)
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in cut]


def name_parts(name: str, pattern: str) -> dict[str, str] | None:
    """Read the parts of a file's name; None where it does not fit.

    The ending of the file is left out; a pattern with ``/`` looks at the last folders too.

    Examples
    --------
    >>> name_parts("pushes/Session1/s01session1data.txt", "s{participant}session{session}data")
    {'participant': '01', 'session': '1'}
    >>> name_parts("pushes/notes.txt", "s{participant}session{session}data") is None
    True
    """
    depth = pattern.count("/") + 1
    tail = "/".join(name.split("/")[-depth:])
    stem = tail.removesuffix(Path(tail).suffix)
    return fitted(stem, pattern) or fitted(tail, pattern)


def fitted(text: str, pattern: str) -> dict[str, str] | None:
    """Read what stands in the places of a pattern; None where the text does not fit.

    Examples
    --------
    >>> fitted("t1_fun", "t{time}_{item}")
    {'time': '1', 'item': 'fun'}
    """
    pieces = _PART.split(pattern)
    spelled = "".join(
        f"(?P<{piece}>[^/]+?)" if place % 2 else re.escape(piece)
        for place, piece in enumerate(pieces)
    )
    found = re.fullmatch(spelled, text)
    return found.groupdict() if found else None


def sum_of(files: Mapping[str, Path]) -> str:
    """SHA-256 of one file, or of the names and sums of several."""
    sums = {name: hashlib.sha256(read_bytes(path)).hexdigest() for name, path in files.items()}
    if len(sums) == 1:
        return next(iter(sums.values()))
    text = "\n".join(f"{found}  {name}" for name, found in sorted(sums.items()))
    return hashlib.sha256(text.encode()).hexdigest()
