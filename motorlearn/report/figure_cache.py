"""What an earlier report in the same folder still holds true, so that only changes are redrawn.

A report leaves ``kept.json`` beside its page: for every picture, every styled table and the
workbook a fingerprint of what it was made from (the values it shows, the function that draws it,
the code of the package) and a checksum of its files. Where the fingerprint is unchanged and the
files are whole they are taken over; the texts of the report are always written anew. The list bears
the signature of the user who wrote it: one that was edited or came from elsewhere is not believed.
"""

import dataclasses
import functools
import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from pydantic import BaseModel

import motorlearn
from motorlearn import figures
from motorlearn.design import Design
from motorlearn.digits import number
from motorlearn.files import is_signed, signature
from motorlearn.report.prints import Print, drawn_anew, taken_over

if TYPE_CHECKING:
    from motorlearn.figures.drawing.printing import Press

LIST = "kept.json"
FORMS = ("png", "svg")
_UNDRAWN = {"study", "exclusions", "files"}
_WORDS = frozenset(
    f"{folder}/{name}.py"
    for folder, names in {
        "wording": (
            "captions",
            "claims",
            "limitations",
            "method",
            "sentences",
            "single_case",
            "standards",
            "summary",
        ),
        "report/sections": ("beside", "closing", "front", "primary", "results", "secondary"),
        "report/writers": ("markdown", "numbers", "page", "sheet", "sheet_pdf", "word"),
    }.items()
    for name in names
)


def fingerprint(*values: Any) -> str:
    """Name values, as they are, the decimal sign and the code that makes pictures of them."""
    shape = json.dumps([number(0.5), *(_shape(value) for value in values)], sort_keys=True)
    return hashlib.sha256((_code() + shape).encode()).hexdigest()


def _shape(value: Any) -> Any:
    """Reduce a value to JSON that differs where the value differs; tables to checksums."""
    match value:
        case pd.DataFrame():
            kinds = [[str(name), str(kind)] for name, kind in value.dtypes.items()]
            hashed = pd.util.hash_pandas_object(value, categorize=False).to_numpy()
            return [kinds, checksum(np.ascontiguousarray(hashed).tobytes())]
        case np.ndarray():
            return [list(value.shape), str(value.dtype), _shape(value.ravel().tolist())]
        case Design():
            return value.model_dump(mode="json", exclude=_UNDRAWN)
        case BaseModel():
            return value.model_dump(mode="json")
        case Mapping():
            return [[_shape(name), _shape(entry)] for name, entry in value.items()]
        case list() | tuple():
            return [_shape(entry) for entry in value]
        case _ if dataclasses.is_dataclass(value):
            entries = dataclasses.fields(value)
            return [type(value).__name__, [_shape(getattr(value, e.name)) for e in entries]]
    return repr(value)


@functools.cache
def _code() -> str:
    """Checksum of the code behind pictures, as it was when this process first asked."""
    package = Path(motorlearn.__file__).parent
    digest = hashlib.sha256(f"{motorlearn.__version__} {version('matplotlib')}".encode())
    for path in sorted(package.rglob("*.py")):
        name = path.relative_to(package).as_posix()
        if name not in _WORDS:
            digest.update(name.encode() + path.read_bytes())
    return digest.hexdigest()


def checksum(content: bytes) -> str:
    """SHA-256 of a file's content."""
    return hashlib.sha256(content).hexdigest()


@dataclass(frozen=True)
class Kept:
    """What an earlier report holds, by fingerprint.

    Parameters
    ----------
    folder : Path
        The earlier report.
    entries : mapping of str to dict
        For each fingerprint ``name``, ``words`` and ``files``: path and checksum by format.
    forms : tuple of str
        Formats that the report writes; a picture that lacks one of them is drawn again.
    press : function, optional
        Gives the processes that draw; asked with the first figure that nothing was kept of.
    """

    folder: Path = Path()
    entries: Mapping[str, Any] = field(default_factory=dict, repr=False)
    forms: tuple[str, ...] = FORMS
    press: "Callable[[], Press] | None" = field(default=None, repr=False)

    def draw(self, function: str, *values: Any, ending: str = "", **options: Any) -> Print:
        """Call a function that draws, or take over what it drew from the same values before.

        The function is given by its name in :mod:`motorlearn.figures`, so that neither it nor
        matplotlib is loaded where nothing is drawn. ``ending`` is put behind the name of the
        drawing where there are several of a kind.
        """
        key = fingerprint(function, values, options, ending)
        files = self.files(key)
        if files and set(self.forms) <= set(files):
            entry = self.entries[key]
            words = (str(entry["words"][0]), str(entry["words"][1]))
            return taken_over(str(entry["name"]), words, key, files)
        drawing = getattr(figures, function)(*values, **options)
        press = None if self.press is None else self.press()
        return drawn_anew(drawing, key, ending, press=press, forms=self.forms)

    def files(self, key: str) -> dict[str, bytes]:
        """Files of one fingerprint by format; none where any of them is gone or was touched."""
        found = {}
        for form, (name, wanted) in self.entries.get(key, {"files": {}})["files"].items():
            path = self.folder / name
            content = path.read_bytes() if path.is_file() else b""
            if checksum(content) != wanted:
                return {}
            found[form] = content
        return found


def kept_from(folder: Path, forms: tuple[str, ...] = FORMS) -> Kept:
    """Read what an earlier report of this user kept; nothing where the list is not as written."""
    place = folder / LIST
    try:
        stored = json.loads(place.read_bytes() if place.is_file() else b"")
    except (OSError, ValueError, RecursionError):
        return Kept(folder, forms=forms)
    match stored:
        case {"signature": str(signed), "entries": dict(entries)}:
            whole = all(_is_entry(entry) for entry in entries.values())
            if whole and is_signed(_said(entries), signed):
                return Kept(folder, entries, forms)
    return Kept(folder, forms=forms)


def _said(entries: Mapping[str, Any]) -> bytes:
    """What the signature of the list stands under."""
    return json.dumps(entries, sort_keys=True).encode("ascii")


def _is_entry(entry: Any) -> bool:
    match entry:
        case {"name": str(), "words": [str(), str()], "files": dict() as files}:
            return all(_is_file(file) for file in files.values())
    return False


def _is_file(file: Any) -> bool:
    match file:
        case [str() as name, str()]:
            return ".." not in name and not name.startswith("/")
    return False


def entry(
    name: str, words: tuple[str, str], files: Mapping[str, tuple[str, bytes]]
) -> dict[str, Any]:
    """Entry of the list for files of one fingerprint: path and content by format."""
    summed = {form: [path, checksum(content)] for form, (path, content) in files.items()}
    return {"name": name, "words": list(words), "files": summed}


def keep(folder: Path, entries: Mapping[str, Any]) -> None:
    """Write the list for the next report, signed."""
    stored = {"signature": signature(_said(entries)), "entries": entries}
    (folder / LIST).write_text(json.dumps(stored, indent=1, ensure_ascii=False), "utf-8")
