"""Where the headings of a sheet are, and which standard column each one names."""

import difflib
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from motorlearn.exceptions import ColumnError
from motorlearn.trials.containers.grid import Grid
from motorlearn.vocabulary import COLUMNS

_LOOKED_AT: Final = 15
_LONGEST: Final = 1000
_NUMBER: Final = re.compile(r"[+-]?\d+([.,]\d+)?")
_UNIT: Final = re.compile(r"(?P<name>.+?)\s*[(\[]\s*(?P<unit>[^()\[\]]{1,12})\s*[)\]]")
_ALIASES: Final = {
    "participant": ("id", "subject", "subj", "subject_id", "participant_id", "player", "child"),
    "hits": ("score", "k", "made"),
    "attempts": ("n", "throws", "shots", "of"),
}


@dataclass(frozen=True)
class Headings:
    """Names of the columns of a sheet.

    Parameters
    ----------
    line : int
        Line of the grid that holds the (last) heading row.
    originals : tuple of str
        Headings as they stand in the file, made unique.
    names : tuple of str
        Names in the table.
    units : mapping of str to str
        Units found in headings, by name in the table.
    """

    line: int
    originals: tuple[str, ...]
    names: tuple[str, ...]
    units: Mapping[str, str]

    def original(self, name: str) -> str:
        """Heading in the file of a column of the table."""
        return self.originals[self.names.index(name)] if name in self.names else name


def find_headings(
    grid: Grid, columns: Mapping[str, str] | None = None, *, line: int | None = None
) -> Headings:
    """Find the heading row and name the columns.

    Parameters
    ----------
    grid : Grid
        The cells.
    columns : mapping of str to str, optional
        Heading in the file to name in the table.
    line : int, optional
        Line of the grid with the heading, where it is known.

    Raises
    ------
    ColumnError
        If a heading that ``columns`` names is absent, or two columns get the same standard name.
    """
    wanted = {str(key).strip(): name for key, name in (columns or {}).items()}
    where = _heading_line(grid, wanted) if line is None else line
    bottom = [text.strip() for text in grid.line(where)]
    top = _top_row(grid, where, wanted)
    joined = [_join(above, below) for above, below in zip(top, bottom, strict=True)]
    long = [text[:30] + "…" for text in joined if len(text) > _LONGEST]
    if long:
        raise ColumnError(
            f"{_where(grid)} has a heading of more than {_LONGEST} letters",
            long,
            "look for a quotation mark that is never closed",
        )
    originals = _unique(joined)
    absent = [key for key in wanted if key not in originals]
    if absent:
        near = difflib.get_close_matches(absent[0], originals, 1, 0.5)
        hint = f"; did you mean {near[0]!r}" if near else ""
        raise ColumnError(
            f"{_where(grid)} has no column of the name given in columns",
            absent,
            f"its columns are {_listed(originals)}{hint}",
        )
    names, units = _named(originals, wanted)
    _refuse_twice(grid, names, originals)
    return Headings(where, tuple(originals), tuple(names), units)


def require_participant(grid: Grid, headings: Headings) -> None:
    """Refuse a sheet without a participant column, naming what it has instead."""
    if "participant" in headings.names:
        return
    if len(headings.names) == 1:
        raise ColumnError(
            f"{_where(grid)} has only one column, so its separator was probably not recognised",
            [headings.originals[0]],
            "save it with commas, semicolons or tabs between the fields",
        )
    like = [h for h in headings.originals if h.lower() in _ALIASES["participant"]]
    example = like[0] if like else headings.originals[0]
    raise ColumnError(
        f"{_where(grid)} has no column 'participant'; its columns are "
        f"{_listed(headings.originals)}",
        remedy=f"rename one, or pass columns={{{example!r}: 'participant'}}",
    )


def split_unit(heading: str) -> tuple[str, str]:
    """Split ``x (cm)`` into name and unit.

    Examples
    --------
    >>> split_unit("x (cm)"), split_unit("speed [km/h]"), split_unit("block")
    (('x', 'cm'), ('speed', 'km/h'), ('block', ''))
    """
    found = _UNIT.fullmatch(heading) if len(heading) <= _LONGEST else None
    return (found["name"], found["unit"]) if found else (heading, "")


def _heading_line(grid: Grid, wanted: Mapping[str, str]) -> int:
    known = {*COLUMNS, *(key.lower() for key in wanted)}
    best, best_score = 0, (0, False)
    for place in range(min(_LOOKED_AT, grid.size)):
        cells = [text.strip() for text in grid.line(place)]
        filled = [text for text in cells if text]
        matches = sum(_plain(split_unit(text)[0]) in known or text in wanted for text in cells)
        wordy = len(filled) >= 2 and not any(_NUMBER.fullmatch(text) for text in filled)
        if (matches, wordy) > best_score:
            best, best_score = place, (matches, wordy)
    return best


def _top_row(grid: Grid, where: int, wanted: Mapping[str, str]) -> list[str]:
    blank = [""] * len(grid.columns)
    if where == 0:
        return blank
    above = [text.strip() for text in grid.line(where - 1)]
    below = [text.strip() for text in grid.line(where)]
    filled = [place for place, text in enumerate(above) if text]
    if not filled or (filled == [0] and not _repeated(below)):
        return blank
    if not _repeated(below) and not any(key not in below for key in wanted):
        return blank
    return _carried(above)


def _carried(texts: Sequence[str]) -> list[str]:
    last, carried = "", []
    for text in texts:
        last = text or last
        carried.append(last)
    return carried


def _repeated(texts: Sequence[str]) -> bool:
    filled = [text for text in texts if text]
    return len(set(filled)) < len(filled)


def _join(above: str, below: str) -> str:
    return f"{above} {below}".strip() if above != below else below


def _unique(headings: Sequence[str]) -> list[str]:
    seen: dict[str, int] = {}
    result = []
    for place, heading in enumerate(headings, 1):
        name = heading or f"column {place}"
        seen[name] = seen.get(name, 0) + 1
        result.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return result


def _named(originals: Sequence[str], wanted: Mapping[str, str]) -> tuple[list[str], dict[str, str]]:
    names, units = [], {}
    for heading in originals:
        bare, unit = split_unit(heading)
        name = wanted.get(heading)
        if name is None:
            name = _plain(bare) if _plain(bare) in COLUMNS and bare not in wanted else heading
        if name in COLUMNS and unit and not unit.isdigit():
            units[name] = unit
        names.append(name)
    taken = set(wanted.values())
    for place, (heading, name) in enumerate(zip(originals, names, strict=True)):
        if name in taken and heading not in wanted:
            names[place] = f"{name} (file)"
    return names, units


def _refuse_twice(grid: Grid, names: Sequence[str], originals: Sequence[str]) -> None:
    counts = Counter(names)
    twice = sorted(name for name, count in counts.items() if count > 1)
    bare = [split_unit(heading)[0] for heading in originals]
    twice += [name for name in COLUMNS if bare.count(name) > 1 and name not in twice]
    if twice:
        raise ColumnError(
            f"{_where(grid)} has more than one column for the same quantity",
            twice,
            "rename or remove one of them, or name the one to use in columns",
        )


def _plain(text: str) -> str:
    return re.sub(r"[\s-]+", "_", text.strip().lower())


def _where(grid: Grid) -> str:
    return f"sheet {grid.sheet!r} of {grid.file}" if grid.sheet else grid.file


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(repr(name) for name in names[:12])
    return shown + (f" and {len(names) - 12} more" if len(names) > 12 else "")
