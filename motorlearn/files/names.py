"""Names of files and folders as they are meant, and JSON that may be anybody's."""

import json
import os
from pathlib import Path
from typing import Any

from motorlearn.exceptions import FileError


def real_place(path: str | Path) -> Path:
    """Follow links to the place that is meant, which need not exist.

    Raises
    ------
    FileError
        If the name cannot be one, or a link leads to itself.
    """
    text = os.fspath(path)
    if "\x00" in text:
        raise FileError("a name cannot hold the sign NUL", [text], "choose another name")
    place = Path(os.path.realpath(text))
    try:
        looped = place.is_symlink()
        place.exists()
    except OSError as problem:
        raise FileError(
            f"this cannot be the name of a file or folder ({problem.strerror})",
            [shortened(text)],
            "choose another name",
        ) from problem
    if looped:
        raise FileError("the link leads to itself", [text], "name the place itself")
    return place


def refuse_over_input(output: str | Path, read: str | Path) -> None:
    """Refuse an output in the place of what is read, or inside a folder that is read.

    Raises
    ------
    FileError
        However its path is written, over links too.
    """
    place, source = real_place(output), real_place(read)
    inside = source.is_dir() and place.is_relative_to(source)
    if inside or place == source or (place.exists() and place.samefile(source)):
        raise FileError(
            "the output would take the place of what is read", [str(output)], "name another file"
        )


def shortened(text: str, most: int = 80) -> str:
    """Cut a text for a message, from the middle.

    Examples
    --------
    >>> shortened("a" * 100, 7)
    'aaa…aaa'
    """
    half = (most - 1) // 2
    return text if len(text) <= most else f"{text[:half]}…{text[-half:]}"


def parsed_json(content: bytes | str, what: str) -> Any:
    """Read JSON that may be damaged, vast in its numbers or nested without end.

    Raises
    ------
    FileError
        If it is no JSON that can be read; the message begins with ``what``.

    Examples
    --------
    >>> parsed_json('{"seed": 1}', "the page")
    {'seed': 1}
    """
    try:
        return json.loads(content)
    except (ValueError, RecursionError) as problem:
        raise FileError(
            f"{what} is damaged or no JSON", remedy="make it again, or take an earlier copy"
        ) from problem
