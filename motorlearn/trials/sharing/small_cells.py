"""Characteristics that few people share: what is known of a person may tell who it is."""

from collections.abc import Iterable
from typing import Final

import pandas as pd

from motorlearn.digits import count

SMALLEST_CELL: Final = 5
"""Fewest people that should share a combination of characteristics (common practice)."""

CHARACTERISTICS: Final = ("age", "sex", "gender", "hand", "handedness", "experience", "stratum")
"""Columns that tell something about a person that others may know too."""


def small_cells(people: pd.DataFrame | None) -> list[str]:
    """Warn of characteristics that fewer than five people share, singly or together.

    Examples
    --------
    >>> import pandas as pd
    >>> people = pd.DataFrame({"participant": list("abcdefg"), "hand": ["r"] * 6 + ["l"]})
    >>> small_cells(people)
    ["1 value of 'hand' is shared by fewer than 5 people"]
    """
    if people is None:
        return []
    names = [name for name in people.columns if name not in ("participant",)]
    found = []
    for name in names:
        small = values_of_few(people, name)
        if small:
            found.append(
                f"{small} value{'s' if small > 1 else ''} of {name!r} "
                f"{'are' if small > 1 else 'is'} shared by fewer than {SMALLEST_CELL} people"
            )
    if len(names) > 1:
        together = people.groupby(names, dropna=False, observed=True)["participant"].nunique()
        alone = int(together[together < SMALLEST_CELL].sum())
        if alone:
            stand = "stands" if alone == 1 else "stand"
            found.append(
                f"{count(alone, 'person')} {stand} in cells of fewer than {SMALLEST_CELL} when "
                f"{', '.join(names)} are put together"
            )
    return found


def values_of_few(table: pd.DataFrame, name: str) -> int:
    """Number of values of a column that fewer than five people have."""
    people = table.groupby(name, observed=True)["participant"].nunique()
    return int((people < SMALLEST_CELL).sum())


def told_of_few(table: pd.DataFrame, characteristics: Iterable[str]) -> list[str]:
    """Characteristics in a table that have a value which fewer than five people share.

    Examples
    --------
    >>> import pandas as pd
    >>> people = pd.DataFrame({"participant": list("abcdefg"), "hand": ["r"] * 6 + ["l"]})
    >>> told_of_few(people.assign(sex="f"), ["hand", "sex"])
    ['hand']
    """
    names = [name for name in characteristics if name in table.columns]
    return [name for name in names if values_of_few(table, name)]
