"""Who is left-handed, by the participants' column ``hand``."""

from typing import Final

import numpy as np
import pandas as pd

from motorlearn.trials.checking.problems import gather
from motorlearn.trials.reading.sheet import Sheet

HAND: Final = "hand"
LEFT: Final = frozenset({"l", "left", "left-handed", "links", "gauche"})
RIGHT: Final = frozenset({"r", "right", "right-handed", "rechts", "droite"})
_OTHER: Final = frozenset({"", "both", "b", "none", "unknown"})


def left_handed(people: pd.DataFrame | None) -> tuple[str, ...]:
    """Identifiers of the participants whose column ``hand`` says left, in their order.

    Examples
    --------
    >>> left_handed(pd.DataFrame({"participant": ["a", "b", "c"], "hand": ["Left", "right", ""]}))
    ('a',)
    """
    if people is None or HAND not in people:
        return ()
    said = _words(people[HAND]).isin(LEFT)
    return tuple(people.loc[said, "participant"].astype("str"))


def check_hands(people: Sheet, trials: Sheet) -> pd.DataFrame:
    """Name hands that cannot be read, and left-handers whose sideways errors are not mirrored."""
    if not people.has(HAND):
        return gather([])
    words = _words(people.table[HAND])
    found = [
        people.problems(
            "hand not understood",
            np.flatnonzero(~words.isin(LEFT | RIGHT | _OTHER)),
            column=HAND,
            severity="doubt",
            advice="write left, right or both; nothing is mirrored for this person",
        )
    ]
    if trials.has("x") and trials.table["x"].notna().any():
        found.append(
            people.problems(
                "left-hander, x not mirrored",
                np.flatnonzero(words.isin(LEFT)),
                column=HAND,
                severity="note",
                advice="x is as it was measured: mirror it (x = -x) before signed errors to the "
                "side are averaged over both hands",
            )
        )
    return gather(found)


def _words(hands: pd.Series) -> pd.Series:
    return hands.astype("object").fillna("").astype("str").str.strip().str.casefold()
