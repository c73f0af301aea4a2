"""A signature that only this user on this machine can give, for what is left in a folder of others.

A folder of a study is sent on, unpacked and edited. What a run leaves there for the next run is
believed only where the signature fits; the secret behind it lies in the user's folder for caches
and nowhere else. Where that folder cannot be written, nothing is signed and nothing believed.
"""

import contextlib
import hmac
import os
import secrets
import sys
from pathlib import Path
from typing import Final

from motorlearn.exceptions import FileError
from motorlearn.files.writing import ensured_folder, write_bytes

_LENGTH: Final = 32
_NAME: Final = "signing-key"


def signature(content: bytes) -> str:
    """HMAC-SHA-256 of content under the user's own secret; empty where there can be none.

    References
    ----------
    Krawczyk, Bellare and Canetti (1997), RFC 2104.
    """
    secret = _secret()
    return hmac.new(secret, content, "sha256").hexdigest() if secret else ""


def is_signed(content: bytes, signed: str) -> bool:
    """Whether content bears the signature of this user on this machine."""
    wanted = signature(content)
    return bool(wanted) and hmac.compare_digest(wanted.encode(), signed.encode("utf-8", "replace"))


def _secret() -> bytes:
    """The user's secret, made where there is none; empty where none can be kept."""
    try:
        place = _caches() / "motorlearn" / _NAME
        if not place.exists():
            ensured_folder(place.parent)
            write_bytes(place, secrets.token_bytes(_LENGTH), mode=0o600)
        content = place.read_bytes() if place.is_file() else b""
    except (OSError, FileError, RuntimeError):
        return b""
    return content if len(content) == _LENGTH else b""


def _caches() -> Path:
    """Folder of the user's caches, as the system has it."""
    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
        with contextlib.suppress(KeyError):
            if (place := Path(os.environ[name])).is_absolute():
                return place
    return Path.home() / ("Library/Caches" if sys.platform == "darwin" else ".cache")
