"""What the parts of a workbook would cost to read, told by a stream of their elements.

Nothing is laid out in memory: each part is unpacked piece by piece, and reading stops at the first
thing that no spreadsheet program writes.
"""

import zipfile
from typing import Final
from xml.parsers import expat

from motorlearn.exceptions import FileError

MOST_CELLS: Final = 5_000_000
"""Largest area of a sheet of a workbook, in cells."""
MOST_FILLED: Final = 2_000_000
"""Most filled cells of a sheet of a workbook."""
MOST_MERGED: Final = 10_000
"""Most merged areas of a sheet, and a twentieth of the cells in them."""
_MOST_EMPTY: Final = 500_000
_MOST_OTHER: Final = 300_000
_MOST_TEXTS: Final = 12_000_000
_DEEPEST: Final = 100
_LONGEST: Final = 50_000
_PART: Final = 1 << 16
_SHEETS: Final = ("worksheet", "document-content")
_CELLS: Final = frozenset({"c", "v", "f", "is", "t", "r", "row"})
_TEXTS: Final = frozenset({"si", "t", "r", "rPr", "rPh", "phoneticPr"})


def check_part(archive: zipfile.ZipFile, name: str, file: str) -> None:
    """Refuse a part of a workbook that would cost too much to read, or defines entities.

    A part that is no markup is left to the reader; so is a damaged one that is no sheet.

    Raises
    ------
    FileError
        At the first element that is too much, or where a sheet is damaged.
    """
    measure = _Measure(file)
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = measure.start
    parser.EndElementHandler = measure.end
    parser.StartDoctypeDeclHandler = measure.entities
    parser.EntityDeclHandler = measure.entities
    with archive.open(name) as stream:
        try:
            while piece := stream.read(_PART):
                parser.Parse(piece, False)
            parser.Parse(b"", True)
            measure.refuse_empty()
        except expat.ExpatError as problem:
            if measure.kind in _SHEETS:
                raise FileError(
                    "a sheet of the workbook is damaged",
                    [file],
                    "open it in a spreadsheet and save it again",
                ) from problem


class _Measure:
    """Counts the elements of one part; the root says what kind of part it is."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.depth = self.others = self.texts = self.filled = self.merged = self.area = 0
        self.row = self.column = self.wide = self.long = 0
        self.pending = self.width = self.last = 0
        self.kind = ""

    def entities(self, *_: object) -> None:
        raise FileError(
            "the workbook defines entities, which no spreadsheet program writes",
            [self.file],
            "do not open it; ask where it comes from",
        )

    def start(self, tag: str, values: dict[str, str]) -> None:
        name = tag.rpartition(":")[2]
        self.depth += 1
        if not self.kind:
            self.kind = name
        if self.depth > _DEEPEST or any(len(value) > _LONGEST for value in values.values()):
            raise absurd(self.file)
        match self.kind:
            case "worksheet":
                self._in_sheet(name, values)
            case "document-content":
                self._in_document(name, values)
            case "sst" if name in _TEXTS:
                self.texts += 1
            case _:
                self.others += 1
        if self.others > _MOST_OTHER or self.texts > _MOST_TEXTS:
            raise absurd(self.file)

    def end(self, tag: str) -> None:
        self.depth -= 1
        of_row = self.kind == "document-content" and tag.rpartition(":")[2] == "table-row"
        if of_row and self.last:
            self.long, self.pending = self.long + self.pending, 0
            self.wide = max(self.wide, self.last)
            self._vast()

    def _in_sheet(self, name: str, values: dict[str, str]) -> None:
        if name == "c":
            self._cell(values.get("r", ""))
        elif name == "row":
            self.row = _number(values.get("r"), self.row + 1)
            self.column = 0
        elif name == "mergeCell":
            self._merge(values.get("ref", ""))
        elif name not in _CELLS:
            self.others += 1
        elif name in ("t", "r", "f"):
            self.texts += 1

    def _cell(self, place: str) -> None:
        column, row = _address(place)
        self.column = column or self.column + 1
        self.row = row or self.row
        self.filled += 1
        self.wide, self.long = max(self.wide, self.column), max(self.long, self.row)
        self._vast()

    def _merge(self, place: str) -> None:
        first, _, last = place.partition(":")
        (column, row), (until, below) = _address(first), _address(last or first)
        self.merged += 1
        self.area += (abs(until - column) + 1) * (abs(below - row) + 1)
        if self.merged > MOST_MERGED or self.area > 20 * MOST_MERGED:
            raise FileError(
                f"the sheet has more than {MOST_MERGED} merged areas, or vast ones",
                [self.file],
                "unmerge its cells, or save it as CSV",
            )

    def _in_document(self, name: str, values: dict[str, str]) -> None:
        """A cell or row of an ODS sheet; repeated ones count as often as they are repeated."""
        repeated = {key.rpartition(":")[2]: value for key, value in values.items()}
        if name == "table":
            self.pending = self.long = self.wide = 0
        elif name == "table-row":
            self.pending += _number(repeated.get("number-rows-repeated"), 1)
            self.width = self.last = 0
            self.texts += 1
        elif name in ("table-cell", "covered-table-cell"):
            self.width += _number(repeated.get("number-columns-repeated"), 1)
            self.texts += 1
            if "value-type" in repeated or "value" in repeated:
                self.last = self.width
                self.filled += 1
                self._vast()
        elif name in ("p", "span"):
            self.texts += 1
        else:
            self.others += 1

    def refuse_empty(self) -> None:
        """Refuse a sheet that is nearly all empty area, once it has been seen to its end."""
        if self.wide * self.long > _MOST_EMPTY + 20 * self.filled:
            raise vast_sheet(self.file)

    def _vast(self) -> None:
        if self.wide * self.long > MOST_CELLS or self.filled > MOST_FILLED:
            raise vast_sheet(self.file)


def _address(place: str) -> tuple[int, int]:
    """Column and row of an address such as ``$B$12``; 0 where it has none."""
    bare = place.replace("$", "")
    letters = bare.rstrip("0123456789")
    column = 0
    for letter in letters[:4].upper():
        column = 26 * column + ord(letter) - 64
    return max(column, 0), _number(bare[len(letters) :], 0)


def _number(text: str | None, otherwise: int) -> int:
    """A whole number of at most nine digits; more are as good as infinite."""
    if not text or not text.isdecimal():
        return otherwise
    return int(text) if len(text) < 10 else 10**9


def vast_sheet(file: str) -> FileError:
    """Make the error for a sheet that is too large."""
    return FileError(
        "the sheet has more than five million cells, two million filled ones, or a vast empty area",
        [file],
        "delete its empty area, or save it as CSV or Parquet",
    )


def absurd(file: str) -> FileError:
    """Make the error for a packed file that no program would have written so."""
    return FileError(
        "the packed file would unpack to an absurd size and was not read",
        [file],
        "do not open it; ask where it comes from",
    )
