"""Labels with signs that cannot be seen, and labels too long to be any."""

import re
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.exceptions import UNSEEN
from motorlearn.trials.checking.problems import gather
from motorlearn.trials.reading.sheet import Sheet, first_lines
from motorlearn.vocabulary import COLUMNS

LONGEST_IDENTIFIER: Final = 100
"""Most letters of an identifier, a group, a task or another label of a row."""

_FREE: Final = ("void", "feedback")
_SIGNS: Final = re.compile(UNSEEN.pattern.replace("[", "[\n\t", 1))


def labels_with_unseen_signs(sheet: Sheet) -> pd.DataFrame:
    """Find control signs, signs of no width and signs that turn the direction of writing."""
    return gather([_with_signs(sheet, name) for name in _labels(sheet)])


def labels_too_long(sheet: Sheet) -> pd.DataFrame:
    """Find labels of more than a hundred letters; a quotation mark may never have been closed."""
    return gather([_too_long(sheet, name) for name in _labels(sheet) if name not in _FREE])


def _with_signs(sheet: Sheet, name: str) -> pd.DataFrame:
    numbers, labels = pd.factorize(sheet.table[name])
    odd = [place for place, label in enumerate(labels) if _SIGNS.search(str(label))]
    return sheet.problems(
        "sign that cannot be seen",
        first_lines(numbers)[odd].astype(int),
        column=name,
        severity="error",
        advice="it is shown here as its code: two labels that look alike are then different; type "
        "the label again",
    )


def _too_long(sheet: Sheet, name: str) -> pd.DataFrame:
    numbers, labels = pd.factorize(sheet.table[name])
    long = [place for place, label in enumerate(labels) if len(str(label)) > LONGEST_IDENTIFIER]
    return sheet.problems(
        "label too long",
        first_lines(numbers)[long].astype(int),
        column=name,
        severity="error",
        advice=f"a label has at most {LONGEST_IDENTIFIER} letters; look for a quotation mark that "
        "is never closed, or give it a short name",
    )


def _labels(sheet: Sheet) -> list[str]:
    """Standard columns of texts."""
    names = [name for name in COLUMNS if sheet.has(name)]
    return [n for n in names if not np.issubdtype(sheet.table[n].to_numpy().dtype, np.number)]
