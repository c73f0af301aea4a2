"""Names of a room that are loaded when they are first asked for.

A room whose names stand on heavy packages (workbooks, signal processing, drawing) gives them late,
so that whoever reads a CSV file or audits a plan does not wait for them. The room says so in its
``__init__``::

    if TYPE_CHECKING:
        from motorlearn.trials.schema import check_table

    __getattr__, __dir__ = late_names(__name__, {"check_table": "motorlearn.trials.schema"})

Names of version 1 that moved are given by their room for one version more, with a warning.
"""

import sys
import warnings
from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any, Final

MOVED: Final = {
    "motorlearn.audit.StudyAudit": "motorlearn.report.StudyAudit",
    "motorlearn.audit.audit_study": "motorlearn.report.audit_study",
    "motorlearn.audit.recompute": "motorlearn.report.recompute",
    "motorlearn.trials.is_void": "motorlearn.trials.counted.is_void",
    "motorlearn.vocabulary.LEFT_OUT_COLUMNS": "motorlearn.rows.LEFT_OUT_COLUMNS",
    "motorlearn.wording.Stage": "motorlearn.design.Stage",
    "motorlearn.wording.stage_column": "motorlearn.design.stage_column",
    "motorlearn.wording.stages_of": "motorlearn.design.stages_of",
}
"""Names of version 1 and where they are now; version 3 drops them."""

GONE: Final = {
    "motorlearn.measures.OVERARM_PREPARATION": "the built-in checklist is gone; write your own in "
    "landmarks.toml, or give items to score_checklist",
}
"""Names of version 1 that nothing replaces, and what to do."""


def late_names(
    room: str, homes: Mapping[str, str]
) -> tuple[Callable[[str], Any], Callable[[], list[str]]]:
    """Give ``__getattr__`` and ``__dir__`` of a room with late names.

    Parameters
    ----------
    room : str
        Full name of the room.
    homes : mapping of str to str
        Module behind each late name.

    Raises
    ------
    AttributeError
        By the function given, for a name that the room does not have.

    Examples
    --------
    >>> look, names = late_names("motorlearn.doors", {"sqrt": "math"})
    >>> look("sqrt")(9.0), "sqrt" in names()
    (3.0, True)
    """
    module = sys.modules[room]

    def look(name: str) -> Any:
        if name not in homes:
            return _of_version_1(room, name)
        value = getattr(import_module(homes[name]), name)
        setattr(module, name, value)
        return value

    def names() -> list[str]:
        return sorted({*vars(module), *homes} - {"TYPE_CHECKING", "late_names"})

    return look, names


def _of_version_1(room: str, name: str) -> Any:
    old = f"{room}.{name}"
    if old in GONE:
        raise AttributeError(f"{old}: {GONE[old]}")
    if old not in MOVED:
        raise AttributeError(f"module {room!r} has no attribute {name!r}")
    home, _, now = MOVED[old].rpartition(".")
    said = f"{old} is {MOVED[old]} since version 2; the old name works until version 3"
    warnings.warn(said, FutureWarning, stacklevel=3)
    return getattr(import_module(home), now)
