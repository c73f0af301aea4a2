"""What an earlier report in the same folder still holds true, so that only changes are redrawn.

A report leaves ``kept.json`` beside its page: a fingerprint of data, plan, options and drawing
code, and a checksum of every picture. Where the fingerprint is unchanged, a picture that is still
whole is taken over; captions and alternative texts are always written anew.
"""

import functools
import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pandas as pd

import motorlearn
from motorlearn.trials import Study

LIST = "kept.json"
_WORDS = frozenset(
    f"{folder}/{name}.py"
    for folder, names in {
        "wording": ("captions", "claims", "limitations", "method", "sentences", "standards"),
        "report": ("numbers", "page", "sections", "side_sections", "word"),
    }.items()
    for name in names
)


def fingerprint(study: Study, options: dict[str, object]) -> str:
    """Name everything that a picture depends on: data, plan, options, code; not the words."""
    digest = hashlib.sha256()
    frames = (study.trials.table, study.participants, study.ratings)
    for frame in frames:
        digest.update(b"-" if frame is None else _frame(frame))
    plan = study.design.model_dump(mode="json", exclude={"study", "exclusions", "files"})
    digest.update(json.dumps([plan, options], sort_keys=True).encode())
    digest.update(_code().encode())
    return digest.hexdigest()


def _frame(frame: pd.DataFrame) -> bytes:
    hashed = pd.util.hash_pandas_object(frame, index=False).to_numpy()
    return np.ascontiguousarray(hashed).tobytes() + "|".join(map(str, frame.columns)).encode()


@functools.cache
def _code() -> str:
    """Checksum of the code behind pictures, as it was when this process first asked."""
    package = Path(motorlearn.__file__).parent
    digest = hashlib.sha256(f"{motorlearn.__version__} {mpl.__version__}".encode())
    for path in sorted(package.rglob("*.py")):
        name = path.relative_to(package).as_posix()
        if name not in _WORDS:
            digest.update(name.encode() + path.read_bytes())
    return digest.hexdigest()


@dataclass(frozen=True)
class Kept:
    """Pictures of an earlier report that are still true.

    Parameters
    ----------
    folder : Path
        The earlier report.
    checksums : dict of str to str
        Checksum of each file that may be taken over; empty where nothing may.
    """

    folder: Path
    checksums: dict[str, str]

    def read(self, name: str) -> bytes | None:
        """Give a file of the earlier report if it is unchanged since."""
        wanted = self.checksums.get(name)
        path = self.folder / name
        if wanted is None or not path.is_file():
            return None
        content = path.read_bytes()
        return content if checksum(content) == wanted else None


def checksum(content: bytes) -> str:
    """SHA-256 of a file's content."""
    return hashlib.sha256(content).hexdigest()


def kept_from(folder: Path, wanted: str) -> Kept:
    """Read what an earlier report in a folder kept; nothing where its fingerprint differs."""
    path = folder / LIST
    try:
        stored = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return Kept(folder, {})
    if not isinstance(stored, dict) or stored.get("fingerprint") != wanted:
        return Kept(folder, {})
    files = stored.get("files")
    if not isinstance(files, dict):
        return Kept(folder, {})
    safe = all(
        isinstance(value, str) and ".." not in name and not name.startswith("/")
        for name, value in files.items()
    )
    return Kept(folder, files if safe else {})


def keep(folder: Path, wanted: str, files: dict[str, bytes]) -> None:
    """Write the list for the next report."""
    checksums = {name: checksum(content) for name, content in sorted(files.items())}
    text = json.dumps({"fingerprint": wanted, "files": checksums}, indent=1)
    (folder / LIST).write_text(text, "utf-8")
