"""Columns that may identify a person: found by heading and by what is in them, and set aside.

The table never holds them unless a person maps them on purpose; the value is never repeated in a
problem, a change or a report.
"""

import re
from collections.abc import Mapping, Sequence
from typing import Final

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from motorlearn.trials.checking.problems import problem_frame, split_column
from motorlearn.trials.sharing.personal_words import names_a_role, told_by_heading
from motorlearn.vocabulary import COLUMNS

WITHHELD: Final = "(withheld)"
SET_ASIDE: Final = "personal column set aside"
"""Rule of a column that looks personal and was not read."""

_HEADINGS: Final = (
    (
        "official numbers",
        r"national id|(?:insurance|licen[cs]e) (?:no|nr|number)|ahv.*|.*s[ée]curit[ée] "
        r"sociale",
    ),
    ("addresses", r"post code|zip(?: code)?"),
    ("telephone numbers", r"t[ée]l\.?(?:[ -]*(?:nr|no|num)\.?)?|(?:tele)?fon|next of kin|portable"),
    ("dates of birth", r"d\.?o\.?b\.?|n[ée]e? le|née"),
    ("notes on health", r"(?:general )?health(?: (?:status|notes?|issues|problems|history))?"),
    ("signatures", r"signature|consent signed by"),
    ("network addresses", r"ip(?: address)?"),
    ("exact places", r"lat(?:itude)?|lon(?:gitude)?|gps.*"),
    (
        "faces or voices",
        r".*\b(?:video|photo|foto|picture|audio|recording)\b.*(?:url|link|path|file)?",
    ),
)
_MAIL: Final = r"^[^@\s]+@[^@\s]+\.[A-Za-z]{2,}$"
_PHONE: Final = r"^(?:\+|0|\()[0-9][0-9 ()/.-]{6,}[0-9]$"
_DATE: Final = r"^\d{1,4}[./-]\d{1,2}[./-]\d{1,4}(?:[T ].*)?$"
_NAME: Final = r"^[\p{Lu}][\p{L}'’-]+,? +(?:[\p{Lu}][\p{L}'’.-]*\s*)+$"
_GIVEN_NAME: Final = r"^[\p{Lu}][\p{Ll}]{2,}(?:-[\p{Lu}][\p{Ll}]+)?\.?(?: [\p{Lu}]\.?)?$"
_JOINED_NAME: Final = (
    r"^(?:[\p{L}]{2,}[._-][\p{L}]{2,}|[\p{L}][._][\p{L}]{3,}"
    r"|[\p{Lu}][\p{Ll}]{2,}[\p{Lu}][\p{Ll}]{2,})$"
)
_LETTER: Final = r"[^\x00-\x40\x5b-\x60\x7b-\x7f]"
_FOREIGN: Final = r"[^\x00-\x7f]"
_PLAIN: Final = {r"\p{Lu}": "A-Z", r"\p{Ll}": "a-z", r"\p{L}": "A-Za-z"}
"""Classes of letters among the first 128 signs, which are read far quicker."""
_SAMPLE: Final = 2000


def personal_columns(
    names: Sequence[str], originals: Sequence[str], body: Sequence[pa.ChunkedArray]
) -> dict[str, str]:
    """Find columns that look as if they identified people; gives what each seems to hold.

    Standard columns are not looked at by heading; ``participant`` is looked at by content, since
    an e-mail address is no study identifier. A column that was mapped to a name of its own is what
    the person who mapped it says.
    """
    people = 0
    if "participant" in names:
        people = len(_sample(body[list(names).index("participant")]).unique())
    found: dict[str, str] = {}
    for name, original, column in zip(names, originals, body, strict=True):
        if name not in COLUMNS and name not in (original, f"{original} (file)"):
            continue
        kind = "" if name in COLUMNS else _by_heading(original)
        kind = kind or _by_content(column, people, name in COLUMNS)
        if not kind and name not in COLUMNS and names_a_role(original) and look_like_names(column):
            kind = "names"
        if kind and (name not in COLUMNS or name == "participant"):
            found[name] = kind
    return found


def privacy_problems(
    found: Mapping[str, str], *, file: str, sheet: str, shown: Mapping[str, str]
) -> list[pd.DataFrame]:
    """Say which columns were set aside, and which identifiers should not be what they are."""
    problems = []
    for name, kind in found.items():
        identifier = name == "participant"
        problems.append(
            problem_frame(
                "identifiers look personal" if identifier else SET_ASIDE,
                severity="doubt",
                file=file,
                sheet=sheet,
                column=shown[name],
                value=WITHHELD,
                advice=f"they look like {kind}: replace them by study identifiers and keep the key "
                "elsewhere (motorlearn.trials.replace_identifiers)"
                if identifier
                else f"it looks like {kind} and is not in the table; delete it from the file, or "
                "map it in columns under another name if it is something else",
            )
        )
    return problems


def withhold(marks: pd.DataFrame, letters: Sequence[str]) -> pd.DataFrame:
    """Blank the values of marks that stand in columns of these letters."""
    if marks.empty or not letters:
        return marks
    inside = marks["column"].map(lambda text: split_column(str(text))[1]).isin(list(letters))
    return marks.assign(value=marks["value"].mask(inside, WITHHELD))


def _by_heading(heading: str) -> str:
    text = re.sub(r"[_\s]+", " ", heading.strip().lower())
    for kind, pattern in _HEADINGS:
        if re.fullmatch(pattern, text):
            return kind
    return told_by_heading(heading)


def look_like_names(column: pa.ChunkedArray) -> bool:
    """Whether most of the distinct texts have the shape of somebody's name.

    Examples
    --------
    >>> import pyarrow as pa
    >>> look_like_names(pa.chunked_array([["anna.meier", "Jan Smit"]]))
    True
    >>> look_like_names(pa.chunked_array([["T1", "T2", "blue fox"]]))
    False
    """
    distinct = _sample(column).unique()
    shapes = (_NAME, _GIVEN_NAME, _JOINED_NAME)
    return len(distinct) > 0 and sum(_share(distinct, shape) for shape in shapes) > 0.5


def _by_content(column: pa.ChunkedArray, people: int, standard: bool) -> str:
    sample = _sample(column)
    if not len(sample) or (standard and not _holds(sample, _LETTER)):
        return ""  # a number is no name and no e-mail address
    if _holds(sample, "@") and _share(sample, _MAIL) > 0.2:
        return "e-mail addresses"
    if not standard and _share(sample, _PHONE) > 0.5 and _share(sample, _DATE) < 0.5:
        return "telephone numbers"
    distinct = sample.unique()
    each_their_own = len(distinct) >= max(3, 0.8 * people)
    if each_their_own and _share(distinct, _NAME) > 0.5:
        return "names"
    if standard and len(distinct) > 2 and _share(distinct, _JOINED_NAME) > 0.5:
        return "names"
    lone = standard and len(distinct) > 2 and _share(distinct, _GIVEN_NAME) > 0.8
    return "given names" if lone else ""


def _sample(column: pa.ChunkedArray) -> pa.ChunkedArray:
    texts = pc.utf8_trim_whitespace(column.slice(0, _SAMPLE))
    return texts.filter(pc.not_equal(texts, ""))


def _holds(texts: pa.ChunkedArray, pattern: str) -> bool:
    """Whether any text holds this; quick, where the long patterns take milliseconds to read."""
    return bool(pc.any(pc.match_substring_regex(texts, pattern)).as_py())


def _share(texts: pa.ChunkedArray, pattern: str) -> float:
    if not _holds(texts, _FOREIGN):
        for letters, plain in _PLAIN.items():
            pattern = pattern.replace(letters, plain)
    return pc.mean(pc.cast(pc.match_substring_regex(texts, pattern), pa.float64())).as_py() or 0.0
