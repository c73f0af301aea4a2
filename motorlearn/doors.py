"""Names of a room that are loaded when they are first asked for.

A room whose names stand on heavy packages (workbooks, signal processing, drawing) gives them late,
so that whoever reads a CSV file or audits a plan does not wait for them. The room says so in its
``__init__``::

    if TYPE_CHECKING:
        from motorlearn.trials.schema import check_table

    __getattr__, __dir__ = late_names(__name__, {"check_table": "motorlearn.trials.schema"})
"""

import sys
from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


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
            raise AttributeError(f"module {room!r} has no attribute {name!r}")
        value = getattr(import_module(homes[name]), name)
        setattr(module, name, value)
        return value

    def names() -> list[str]:
        return sorted({*vars(module), *homes})

    return look, names
