"""How a result is written in a cell: 12, 12/20, 12 of 20, 60 %, 0.6, or a word for missing."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from motorlearn.trials.reading.values import RULES, read_number

_FRACTION: Final = re.compile(r"(\d+)\s*(?:/|of|out of|von|sur|de)\s*(\d+)", re.IGNORECASE)
_PERCENT: Final = re.compile(r"(\d+(?:[.,]\d+)?)\s*%")
_SHARE: Final = re.compile(r"0?[.,]\d+|[01](?:[.,]0+)?")
_PLAIN: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")

SCORE_RULES: Final = RULES | {
    "fraction read": ("note", "read as hits of attempts"),
    "percentage read": ("note", "read as hits, given the number of attempts"),
    "share read": ("note", "read as hits, given the number of attempts"),
    "no whole number of hits": (
        "error",
        "this share of the attempts is no whole number of hits; check the cell and the attempts",
    ),
    "attempts unknown": (
        "error",
        "a share needs a number of attempts: set attempts or attempts_in in the import recipe",
    ),
    "share among counts": (
        "error",
        "a share of the attempts, or a number mistyped? Ask; write the number of hits, or set "
        "notation = 'share' for the column",
    ),
    "attempts differ": (
        "doubt",
        "the cell names another number of attempts than the recipe; the cell was followed",
    ),
}


@dataclass(frozen=True)
class Score:
    """What one cell says: hits (or a measurement), attempts, the rule needed, why it is missing."""

    value: float = math.nan
    attempts: float = math.nan
    rule: str = ""
    missing: str = ""


def read_score(
    text: str,
    notation: str,
    *,
    attempts: float = math.nan,
    decimal: str = ".",
    missing: Mapping[str, str] | None = None,
) -> Score:
    """Read one cell of results.

    Parameters
    ----------
    text : str
        The cell.
    notation : {"count", "fraction", "percent", "share", "number"}
        How results are written in this column; a fraction such as 12/20 is understood in any.
    attempts : float
        Attempts behind the result where the cell does not say.
    decimal : str
        Decimal mark.
    missing : mapping of str to str, optional
        Word for a missing result to its reason.

    Examples
    --------
    >>> read_score("12/20", "count")
    Score(value=12.0, attempts=20.0, rule='fraction read', missing='')
    >>> read_score("60 %", "percent", attempts=20).value
    12.0
    >>> read_score("0,6", "count", attempts=20, decimal=",").rule
    'share among counts'
    """
    bare = text.replace("\u00a0", " ").strip()
    if not bare:
        return Score(attempts=attempts)
    reasons = {word.lower(): reason for word, reason in (missing or {}).items()}
    if bare.lower() in reasons:
        return Score(attempts=attempts, rule="word read as missing", missing=reasons[bare.lower()])
    if found := _FRACTION.fullmatch(bare):
        own = float(found[2])
        agree = math.isnan(attempts) or attempts == own
        return Score(float(found[1]), own, "fraction read" if agree else "attempts differ")
    if notation != "number" and (found := _PERCENT.fullmatch(bare)):
        share = float(found[1].replace(",", ".")) / 100
        return _from_share(share, attempts, "percentage read")
    if notation in ("share", "percent") and (number := _number(bare)) is not None:
        share = number / 100 if notation == "percent" else number
        return _from_share(share, attempts, f"{'percentage' if share != number else 'share'} read")
    return _plain_score(bare, notation, attempts, decimal)


def _plain_score(text: str, notation: str, attempts: float, decimal: str) -> Score:
    if notation != "number" and _SHARE.fullmatch(text) and not text.isdigit():
        return Score(attempts=attempts, rule="share among counts")
    number = text.replace(decimal, ".")
    if _PLAIN.fullmatch(number) and ("." not in text or decimal == "."):
        value = float(number)
        if math.isinf(value):
            return Score(attempts=attempts, rule="impossible value")
        return Score(value, attempts)
    value, rule = read_number(text, decimal)
    return Score(value, attempts, rule)


def _from_share(share: float, attempts: float, rule: str) -> Score:
    if math.isnan(attempts):
        return Score(rule="attempts unknown")
    hits = share * attempts
    if abs(hits - round(hits)) > 1e-6 * attempts:
        return Score(attempts=attempts, rule="no whole number of hits")
    return Score(float(round(hits)), attempts, rule)


def _number(text: str) -> float | None:
    number = text.replace(",", ".")
    return float(number) if _PLAIN.fullmatch(number) else None
