"""Pages of our own field sheets: facts at the top, one heading row, one line per person or test.

A page is recognised by its cells, not by the name of its file: the first cell is one of the words
in ``FIRST`` and a heading row follows that begins with ``participant`` or ``test``.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from motorlearn.trials import containers
from motorlearn.trials.containers.grid import Grid
from motorlearn.trials.containers.safety import read_bytes

FIRST: Final = ("test", "participant", "session")
"""First word of a page for a test day, for a learner, for a session."""

_SEARCHED: Final = 60


@dataclass(frozen=True)
class Page:
    """One sheet of a field workbook.

    Parameters
    ----------
    grid : Grid
        Its cells.
    kind : str
        ``"test"``, ``"participant"`` or ``"session"``: what the page is about.
    facts : dict of str to str
        What stands at its top, by word.
    headings : tuple of str
        The heading row.
    lines : tuple of (int, dict)
        Line of the grid and its filled cells by heading, where any cell is filled.
    """

    grid: Grid
    kind: str
    facts: dict[str, str]
    headings: tuple[str, ...]
    lines: tuple[tuple[int, dict[str, str]], ...]

    def row(self, line: int) -> int:
        """Row of the file."""
        return int(self.grid.rows[line])

    def column(self, heading: str) -> str:
        """Heading with its letter, as problems in workbooks name a column."""
        return f"{heading} [{self.grid.letter(self.headings.index(heading))}]"

    @property
    def boxes(self) -> tuple[str, ...]:
        """Headings that are numbers: one box for each trial."""
        return tuple(heading for heading in self.headings if heading.isdigit())


def field_pages(path: str | Path) -> list[Page]:
    """Read the pages of a field workbook; none where the file is something else.

    Raises
    ------
    FileError
        If the workbook is damaged or unsafe.
    """
    file = Path(path)
    if file.suffix.lower() not in (".xlsx", ".xlsm") or not file.is_file():
        return []
    grids = containers.read_sheets(read_bytes(file), file.name)
    pages = [page for grid in grids if (page := _page(grid)) is not None]
    return pages if pages and pages[0].grid is grids[0] else []


def _page(grid: Grid) -> Page | None:
    lines = [[text.strip() for text in grid.line(place)] for place in range(grid.size)]
    if not lines or lines[0][0].lower() not in FIRST or len(lines[0]) < 2:
        return None
    heading = _heading(lines)
    if heading is None:
        return None
    facts = {line[0].lower(): line[1] for line in lines[:heading] if line[0]}
    names = tuple(lines[heading])
    filled = tuple(
        (place, {name: text for name, text in zip(names, lines[place], strict=True) if text})
        for place in range(heading + 1, len(lines))
        if any(lines[place])
    )
    return Page(grid, lines[0][0].lower(), facts, names, filled)


def _heading(lines: list[list[str]]) -> int | None:
    for place in range(1, min(len(lines), _SEARCHED)):
        filled = [text for text in lines[place] if text]
        if lines[place][0] in ("participant", "test") and len(filled) > 2:
            return place
    return None
