"""Read one sheet of an old workbook in a process of its own, which may fail without harm.

Run as a program: the workbook comes in by the standard input, its values go out as JSON. The reader
is native code that can panic, ask for any amount of memory or run for ever on a damaged file; here
it gets as much memory as the largest sheet that is read needs, and a minute.
"""

import datetime
import io
import json
import sys
from typing import Any, Final

import python_calamine as calamine

try:
    import resource
except ImportError:  # Windows: the time limit of the caller is all there is
    resource = None  # type: ignore[assignment]

MEMORY: Final = 600 << 20
WIDEST: Final = 16_384
"""Most columns of a sheet."""
SECONDS: Final = 60


def main() -> None:
    """Read a workbook from the standard input; the sheet and the most cells are arguments."""
    if resource is not None:
        _limit(resource.RLIMIT_AS, MEMORY)
        _limit(resource.RLIMIT_CPU, SECONDS)
        _limit(resource.RLIMIT_CORE, 0)
    sheet, most = json.loads(sys.argv[1]), int(sys.argv[2])
    book = calamine.CalamineWorkbook.from_filelike(io.BytesIO(sys.stdin.buffer.read()))
    names = book.sheet_names
    seen = calamine.SheetVisibleEnum.Visible
    visible = [entry.name for entry in book.sheets_metadata if entry.visible == seen]
    name = chosen(sheet, names, visible or names)
    part = None if name is None else book.get_sheet_by_name(name)
    wide, long = (0, 0) if part is None else (part.total_width + 1, part.total_height + 1)
    vast = wide * long > most or wide > WIDEST
    sys.stdout.write(json.dumps({"names": names, "visible": visible, "vast": vast}) + "\n")
    if part is not None and not vast:
        before = [""] * (part.start[1] if part.start else 0)
        for line in part.iter_rows():
            sys.stdout.write(json.dumps(before + [written(value) for value in line]) + "\n")


def _limit(kind: int, most: int) -> None:
    """Lower a limit; a lower one that is set already stays."""
    _, hard = resource.getrlimit(kind)
    most = most if hard == resource.RLIM_INFINITY else min(most, hard)
    resource.setrlimit(kind, (most, most))


def chosen(sheet: object, names: list[str], visible: list[str]) -> str | None:
    """Name of the sheet that is asked for; None where there is none of that name or number."""
    if sheet is None:
        return visible[0] if visible else None
    if isinstance(sheet, int) and not isinstance(sheet, bool):
        return names[sheet] if 0 <= sheet < len(names) else None
    return str(sheet) if sheet in names else None


def written(value: Any) -> Any:
    """Write a value of a cell as JSON; moments and durations with what they are."""
    match value:
        case None | bool() | int() | float() | str():
            return value
        case datetime.datetime():
            return {"datetime": value.isoformat()}
        case datetime.date():
            return {"date": value.isoformat()}
        case datetime.time():
            return {"time": value.isoformat()}
    return {"text": str(value)}


def read_back(value: Any) -> Any:
    """Undo :func:`written`."""
    match value:
        case {"datetime": text}:
            return datetime.datetime.fromisoformat(text)
        case {"date": text}:
            return datetime.date.fromisoformat(text)
        case {"time": text}:
            return datetime.time.fromisoformat(text)
        case {"text": text}:
            return text
    return value


if __name__ == "__main__":
    main()
