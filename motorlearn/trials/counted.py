"""Which rows count: said once, for every room that scores, compares or fits."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.rows import LEFT_OUT

VOID = "void"
"""Column that holds the reason why a row does not count."""

NO_REASON = frozenset({"", "0", "0.0", "false", "no"})
"""Entries of the column ``void`` that are no reason: the row counts."""

FLAGS = frozenset({"1", "1.0", "true", "yes"})
"""Entries that say a row is void without saying why."""


def void_reasons(table: pd.DataFrame) -> NDArray[np.object_]:
    """Reason of every row: empty where it counts, ``void`` for a flag, else ``void: …``.

    Parameters
    ----------
    table : DataFrame
        Any rows; without a column ``void`` every row counts. Text is compared without regard to
        case and surrounding blanks; empty, ``0``, ``false`` and ``no`` are no reason.

    Returns
    -------
    ndarray of str objects, shape (rows,)

    Examples
    --------
    >>> void_reasons(pd.DataFrame({"void": [None, "0", "slipped", True, "No"]})).tolist()
    ['', '', 'void: slipped', 'void', '']
    """
    if VOID not in table:
        return np.full(len(table), "", dtype=object)
    codes, entries = pd.factorize(table[VOID])
    said = np.array([*(_said(entry) for entry in entries), ""], dtype=object)
    reasons: NDArray[np.object_] = said[codes]
    return reasons


def _said(entry: object) -> str:
    text = str(entry).strip()
    plain = text.casefold()
    if plain in NO_REASON:
        return ""
    return VOID if plain in FLAGS else f"{VOID}: {text}"


def counted_rows(table: pd.DataFrame) -> NDArray[np.bool_]:
    """Rows that count: those without a reason in the column ``void``.

    Examples
    --------
    >>> counted_rows(pd.DataFrame({"void": [False, True, None]})).tolist()
    [True, False, True]
    """
    if VOID not in table:
        return np.ones(len(table), dtype=bool)
    return np.asarray(void_reasons(table) == "", dtype=bool)


def is_void(table: pd.DataFrame) -> NDArray[np.bool_]:
    """Rows that do not count; the name of version 1 for what ``~counted_rows`` says."""
    return ~counted_rows(table)


def set_aside_void(
    table: pd.DataFrame, *, participant: str | Sequence[str], group: str | None = "group"
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Part a table into the rows that count and a list of those that do not.

    Parameters
    ----------
    table : DataFrame
        Rows of trials.
    participant : str or sequence of str
        Columns that name the person; several are joined by a comma in the list.
    group : str, optional
        Column of the group, for the list; left empty where there is none.

    Returns
    -------
    counted : DataFrame
        The rows that count, with the index of ``table``; the same object where every row counts.
    left_out : DataFrame
        ``participant, group, reason, rows``: void rows by person and reason.

    Examples
    --------
    >>> rows = pd.DataFrame({"participant": ["a", "a"], "void": ["", "slipped"]})
    >>> counted, left_out = set_aside_void(rows, participant="participant")
    >>> len(counted), left_out[["participant", "reason", "rows"]].values.tolist()
    (1, [['a', 'void: slipped', 1]])
    """
    use = counted_rows(table)
    if use.all():
        return table, LEFT_OUT.frame()
    gone = table[~use]
    names = [participant] if isinstance(participant, str) else list(participant)
    names = [name for name in names if name in gone]
    who = gone[names].astype(str).agg(", ".join, axis=1) if len(names) > 1 else gone.get(names[:1])
    listed = pd.DataFrame(
        {
            "participant": who.to_numpy(object).ravel() if names else "",
            "group": gone[group].to_numpy(object) if group in gone else "",
            "reason": void_reasons(gone),
        }
    )
    counts = listed.groupby(["participant", "group", "reason"], dropna=False, sort=False).size()
    return table[use], counts.rename("rows").reset_index()
