"""The document model: what a report holds, in order, before any format is chosen.

A text refers to a figure as ``{fig:practice-curve}`` and to a table as ``{tab:means}``; a writer
turns this into the number, with a link where the format has links.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.tables import Table

REFERENCE = re.compile(r"\{(fig|tab):([a-z0-9-]+)\}")
NOUN = {"fig": "Figure", "tab": "Table"}
LIMITS_TOLD = "Columns called lower and upper hold 95 % intervals."


def slug(text: str) -> str:
    """Name for a file or a reference."""
    return "".join(c if c.isalnum() else "-" for c in text.lower()).strip("-")


def unbroken(text: str) -> str:
    """Keep a number with its unit, and the parts of ``p = .042``, on one line.

    Examples
    --------
    >>> unbroken("95 % CI, p = .042").count(chr(160))
    3
    """
    text = re.sub(r"(?<=\d) (?=%|(?:mm|cm|m|ms|s|min|h|kg|N)\b)", "\u00a0", text)
    return re.sub(r" ([=<>]) ", "\u00a0\\1\u00a0", text)


@dataclass(frozen=True)
class Heading:
    """A heading of level 1 (section) or 2; ``aside`` where its section belongs to the appendix."""

    text: str
    level: int = 1
    aside: bool = False

    @property
    def anchor(self) -> str:
        """Name of the heading for links."""
        return re.sub(r"[^a-z0-9]+", "-", self.text.lower()).strip("-")


@dataclass(frozen=True)
class Text:
    """A paragraph, an item of a list, a caution, or something the author must still write."""

    text: str
    kind: Literal["paragraph", "item", "caution", "author"] = "paragraph"


@dataclass(frozen=True)
class Document:
    """A report.

    Parameters
    ----------
    title : str
        Title of the study.
    subtitle : str
        What this document is.
    blocks : tuple of Heading, Text, Drawing and Table
        Contents in order.
    decimal : str
        Decimal sign.
    """

    title: str
    subtitle: str
    blocks: tuple[Heading | Text | Drawing | Table, ...]
    decimal: str = "."

    @property
    def drawings(self) -> list[Drawing]:
        """Figures in order."""
        return [block for block in self.blocks if isinstance(block, Drawing)]

    @property
    def tables(self) -> list[Table]:
        """Tables in order."""
        return [block for block in self.blocks if isinstance(block, Table)]

    @property
    def appendix(self) -> int:
        """Place of the first block of the appendix; the number of blocks where there is none."""
        places = (i for i, b in enumerate(self.blocks) if isinstance(b, Heading) and b.aside)
        return next(places, len(self.blocks))

    @property
    def headings(self) -> list[Heading]:
        """Headings in order."""
        return [block for block in self.blocks if isinstance(block, Heading)]

    @property
    def texts(self) -> list[str]:
        """Every generated text: paragraphs, captions, alternative texts, titles and notes."""
        found = []
        for block in self.blocks:
            if isinstance(block, Text | Heading):
                found.append(block.text)
            elif isinstance(block, Drawing):
                found += [block.caption, block.alt]
            else:
                found += [block.title, *block.notes]
        return found

    def numbers(self) -> dict[tuple[str, str], int]:
        """Number of each figure and table by kind and name."""
        found = {("fig", drawing.name): i for i, drawing in enumerate(self.drawings, 1)}
        return found | {("tab", table.name): i for i, table in enumerate(self.tables, 1)}

    def resolved(self, text: str, write: Callable[[str, str, str], str]) -> str:
        """Replace every reference by what ``write(kind, name, "Figure 3")`` gives."""
        numbers = self.numbers()

        def one(match: re.Match[str]) -> str:
            kind, name = match[1], match[2]
            if (kind, name) not in numbers:
                raise InputError("a text refers to something the report lacks", [match[0]])
            return write(kind, name, f"{NOUN[kind]} {numbers[kind, name]}")

        return REFERENCE.sub(one, text)

    def pieces(self, text: str) -> Iterator[tuple[str, str]]:
        """Cut a text at its references: pairs of plain text and the reference after it."""
        numbers = self.numbers()
        start = 0
        for match in REFERENCE.finditer(text):
            if (match[1], match[2]) not in numbers:
                raise InputError("a text refers to something the report lacks", [match[0]])
            yield text[start : match.start()], f"{match[1]}:{match[2]}"
            start = match.end()
        yield text[start:], ""
