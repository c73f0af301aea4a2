"""Rows of a file that hold no data: blank ones, repeated headings, totals at the end."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from motorlearn.trials.reading.headings import Headings
from motorlearn.trials.reading.values import trimmed

TOTAL_WORDS: Final = frozenset(
    {
        *("mean", "average", "total", "total:", "totals", "sum", "median"),
        *("mittelwert", "durchschnitt", "summe", "moyenne", "media", "promedio"),
    }
)
"""First words of a row of totals, in lower case."""

_INITIALS_TOO: Final = frozenset({"sd", "se", "min", "max", "n", "count"})
_KINDS: Final = ("group", "phase", "task")

Columns = Sequence[pa.ChunkedArray]


def set_aside_reasons(columns: Columns, every: Columns, headings: Headings) -> dict[int, str]:
    """Find the lines to set aside and why.

    Parameters
    ----------
    columns : sequence of pyarrow.ChunkedArray
        Columns under the headings.
    every : sequence of pyarrow.ChunkedArray
        All columns of the sheet; a row is blank if all of these are.
    headings : Headings
        The headings of ``columns``.
    """
    key = headings.names.index("participant") if "participant" in headings.names else 0
    texts = trimmed(columns[key])
    reasons: dict[int, str] = {}
    blank = _equal(texts, "")
    if blank.any():
        for column in every:
            blank &= _equal(trimmed(column), "")
        reasons = dict.fromkeys(np.flatnonzero(blank).tolist(), "blank row")
    for line in np.flatnonzero(_equal(texts, headings.originals[key])).tolist():
        if content_of(columns, line).split(" | ") == [h for h in headings.originals if h]:
            reasons[line] = "heading repeated"
    return reasons | _totals(columns, texts, reasons, headings)


def content_of(columns: Columns, line: int) -> str:
    """Put the filled cells of a line together as one text."""
    return " | ".join(text for column in columns if (text := column[line].as_py()))


def _totals(
    columns: Columns, texts: pa.ChunkedArray, blank: dict[int, str], headings: Headings
) -> dict[int, str]:
    """Find the rows of totals at the end; SD, N and the like may also be somebody's initials.

    They count as totals where the row has no group, phase or task although others do, or where a
    row of means or sums stands with them.
    """
    others = [place for place, name in enumerate(headings.names) if name in _KINDS]
    found: list[int] = []
    certain = bool(others)
    for line in range(len(texts) - 1, -1, -1):
        if line in blank:
            continue
        labels = (texts[line].as_py(), columns[0][line].as_py())
        words = {word.lower() for label in labels for word in label.split()[:1]}
        empty = all(not columns[place][line].as_py().strip() for place in others)
        if not words & (TOTAL_WORDS | _INITIALS_TOO) or not empty:
            break
        certain = certain or bool(words & TOTAL_WORDS)
        found.append(line)
    return dict.fromkeys(found, "row of totals") if certain else {}


def _equal(texts: pa.ChunkedArray, text: str) -> np.ndarray:
    return np.array(pc.equal(texts, text).to_numpy(), dtype=bool)
