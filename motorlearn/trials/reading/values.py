"""From texts to values: numbers, labels and flags, with every doubt named and every change logged.

A column is converted as a whole; only the distinct texts that are not plain numbers are looked at
one by one.
"""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

MISSING_WORDS: Final = frozenset(
    {
        *("na", "n/a", "n.a.", "#n/a", "nan", "null", "none"),
        *("abs", "absent", "missing", "-", "--", "–", "—", ".", "?"),
    }
)
"""Words that stand for a missing number, in lower case; never applied to identifiers."""

_Reader = Callable[[str, str], tuple[float, str]]
"""Reads one text, given the decimal mark: the value, and the rule that made it one."""

FLAG_WORDS: Final = {
    "true": 1.0,
    "false": 0.0,
    "yes": 1.0,
    "no": 0.0,
    "hit": 1.0,
    "miss": 0.0,
}
"""Words read as 1 or 0 in a column of flags."""

RULES: Final = {
    "word read as missing": (
        "note",
        "name the reason in column 'void' if it matters",
    ),
    "other decimal mark": (
        "doubt",
        "read with this decimal mark although the file uses the other one; check the cell",
    ),
    "ambiguous number": (
        "error",
        "the mark may separate decimals or thousands; write the number without it, or declare "
        "the decimal mark in the import recipe",
    ),
    "thousands separator": ("doubt", "read without the separator; check the cell"),
    "number stored as text": ("doubt", "read as the number it shows; check the cell"),
    "word read as flag": ("note", "read as 1 or 0"),
    "error cell": ("error", "mend the formula in the spreadsheet; read as missing"),
    "date among numbers": (
        "error",
        "a spreadsheet may have turned a decimal such as 1.5 into 1 May; type the number again",
    ),
    "clock time among numbers": ("error", "write the time as a number in the declared unit"),
    "score notation": (
        "error",
        "hits and attempts share a cell or a percentage is given; 'motorlearn import' reads this",
    ),
    "number with a unit": ("error", "move the unit into study.toml and leave the number alone"),
    "text among numbers": ("error", "type a number or leave the cell empty; read as missing"),
    "impossible value": ("error", "type a number that can be; read as missing"),
    "more digits than a number keeps": (
        "doubt",
        "numbers keep about 16 digits, so the last ones were lost; keep identifiers in a column "
        "of texts",
    ),
}
"""Severity and advice of each finding."""

_KEPT: Final = frozenset(
    {
        *("other decimal mark", "thousands separator", "number stored as text"),
        *("word read as flag", "more digits than a number keeps"),
    }
)
_SPACES: Final = "\u00a0\u2009\u202f\u2007\ufeff\u200b"
_GROUPED_SPACE: Final = re.compile(r"[+-]?\d{1,3}(?: \d{3})+(?:[.,]\d+)?")
_BOTH_MARKS: Final = re.compile(r"[+-]?\d{1,3}(?:([.,'’])\d{3})+([.,])\d+")
_GROUPED: Final = re.compile(r"[+-]?[1-9]\d{0,2}(?:[.,'’]\d{3})+")
_ONE_MARK: Final = re.compile(r"[+-]?(?:\d+[.,]\d*|[.,]\d+)(?:[eE][+-]?\d+)?")
_PLAIN: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_DATE: Final = re.compile(
    r"\d{4}-\d{2}-\d{2}([T ].*)?|\d{1,2}[/.]\d{1,2}[/.]\d{2,4}|\d{1,2}[-. ]?[A-Za-zäéû]{3}\.?"
)
_CLOCK: Final = re.compile(r"\d{1,2}:\d{2}(:\d{2}([.,]\d+)?)?")
_NOTATION: Final = re.compile(
    r"\d+\s*(?:/|of|out of|von|sur)\s*\d+|\d+(?:[.,]\d+)?\s*%", re.IGNORECASE
)
_LONG_WHOLE: Final = r"^[+-]?0*[1-9][0-9]{15,}$"
_EXACT: Final = 2**53
_WITH_UNIT: Final = re.compile(r"[+-]?\d+(?:[.,]\d+)?\s*[A-Za-zµ°]+(?:/[A-Za-z]+)?")


@dataclass(frozen=True)
class Finding:
    """Lines of a column on which one rule spoke."""

    rule: str
    lines: np.ndarray
    texts: tuple[str, ...]
    after: tuple[str, ...] | None


def read_number(text: str, decimal: str = ".") -> tuple[float, str]:
    """Read one text that is no plain number; gives the value and the rule that was needed.

    Examples
    --------
    >>> read_number("1 234,5", ",")
    (1234.5, 'thousands separator')
    >>> read_number("abs"), read_number("12/20")
    ((nan, 'word read as missing'), (nan, 'score notation'))
    """
    bare = text.strip().strip(_SPACES)
    if bare.lower() in MISSING_WORDS:
        return math.nan, "word read as missing"
    if bare.startswith("#") and bare.rstrip("!?").isascii() and len(bare) < 16:
        return math.nan, "error cell"
    number = re.sub(f"[{_SPACES}]", " ", bare.replace("−", "-"))
    return _marked_number(number, decimal, bare)


def _marked_number(number: str, decimal: str, bare: str) -> tuple[float, str]:
    other = "," if decimal == "." else "."
    if number.startswith("'") and (_PLAIN.fullmatch(number[1:]) or _ONE_MARK.fullmatch(number[1:])):
        return float(number[1:].replace(",", ".")), "number stored as text"
    if _GROUPED_SPACE.fullmatch(number):
        return float(number.replace(" ", "").replace(",", ".")), "thousands separator"
    if found := _BOTH_MARKS.fullmatch(number):
        if found[1] != found[2]:
            whole = number.replace(found[1], "")
            return float(whole.replace(",", ".")), "thousands separator"
        return math.nan, "text among numbers"
    if _GROUPED.fullmatch(number) and decimal not in number:
        return math.nan, "ambiguous number"
    if _PLAIN.fullmatch(number.replace(decimal, ".")) and other not in number:
        return float(number.replace(decimal, ".")), "number stored as text"
    if _ONE_MARK.fullmatch(number):
        return float(number.replace(",", ".")), "other decimal mark"
    return math.nan, _refusal(bare)


def _refusal(text: str) -> str:
    for pattern, rule in (
        (_NOTATION, "score notation"),
        (_CLOCK, "clock time among numbers"),
        (_DATE, "date among numbers"),
        (_WITH_UNIT, "number with a unit"),
    ):
        if pattern.fullmatch(text):
            return rule
    return "text among numbers"


def read_flag(text: str, decimal: str = ".") -> tuple[float, str]:
    """Read one text of a column of flags."""
    word = FLAG_WORDS.get(text.strip().lower())
    return (word, "word read as flag") if word is not None else read_number(text, decimal)


def to_numbers(
    column: pa.ChunkedArray,
    decimal: str = ".",
    *,
    read: _Reader = read_number,
    counted: bool = False,
) -> tuple[np.ndarray, list[Finding]]:
    """Convert a column of texts to float64 (missing = NaN) with the findings on the way.

    ``counted`` columns hold whole numbers; none of them can be so large that it is not exact.
    """
    texts = trimmed(column)
    quick = _quick_cast(texts) if decimal == "." else None
    if quick is not None:
        return quick, _vast(texts, quick, counted)
    point = re.escape(decimal)
    pattern = rf"^[+-]?(\d+({point}\d*)?|{point}\d+)([eE][+-]?\d+)?$"
    plain = pc.match_substring_regex(texts, pattern)
    numbers = pc.replace_substring(pc.if_else(plain, texts, None), decimal, ".")
    numbers = pc.replace_substring_regex(numbers, r"^\+", "")
    values = _as_floats(pc.cast(numbers, pa.float64()))
    left = np.flatnonzero(_as_bools(pc.and_(pc.invert(plain), pc.not_equal(texts, ""))))
    findings = _read_left(texts, left, values, decimal, read)
    findings += _grouped_too(texts, left, values, decimal)
    findings += _infinite(texts, values)
    return values, findings + _vast(texts, values, counted)


def _read_left(
    texts: pa.ChunkedArray, left: np.ndarray, values: np.ndarray, decimal: str, read: _Reader
) -> list[Finding]:
    if not len(left):
        return []
    coded = pc.dictionary_encode(pc.take(texts, pa.array(left))).combine_chunks()
    distinct = coded.dictionary.to_pylist()
    codes = coded.indices.to_numpy()
    outcomes = [read(text, decimal) for text in distinct]
    values[left] = np.array([value for value, _ in outcomes])[codes]
    rules = np.array([rule for _, rule in outcomes], dtype=object)[codes]
    findings = []
    for rule in dict.fromkeys(rules):
        here = np.flatnonzero(rules == rule)
        shown = tuple(distinct[code] for code in codes[here])
        after = _after(rule, values[left[here]])
        findings.append(Finding(rule, left[here], shown, after))
    return findings


def _after(rule: str, values: np.ndarray) -> tuple[str, ...] | None:
    if rule in _KEPT:
        return tuple(f"{value:.15g}" for value in values)
    return ("",) * len(values)


def _infinite(texts: pa.ChunkedArray, values: np.ndarray) -> list[Finding]:
    lines = np.flatnonzero(np.isinf(values))
    return _taken_out("impossible value", lines, texts, values) if len(lines) else []


def _grouped_too(
    texts: pa.ChunkedArray, left: np.ndarray, values: np.ndarray, decimal: str
) -> list[Finding]:
    """Find 1,234 in a column where 1,234.5 shows that the decimal mark parts thousands too."""
    others = pc.take(texts, pa.array(left)).unique().to_pylist() if len(left) else []
    both = [_BOTH_MARKS.fullmatch(text) for text in others]
    if not any(found and found[1] == decimal != found[2] for found in both):
        return []
    pattern = rf"^[+-]?[1-9][0-9]{{0,2}}({re.escape(decimal)}[0-9]{{3}})+$"
    lines = np.flatnonzero(_as_bools(pc.match_substring_regex(texts, pattern)))
    lines = lines[np.isfinite(values[lines])]
    return _taken_out("ambiguous number", lines, texts, values) if len(lines) else []


def _vast(texts: pa.ChunkedArray, values: np.ndarray, counted: bool) -> list[Finding]:
    """Find numbers beyond which not every whole number can be told apart (2 to the power of 53)."""
    with np.errstate(invalid="ignore"):
        lines = np.flatnonzero(np.abs(values) >= _EXACT)
    if not len(lines):
        return []
    if counted:
        return _taken_out("impossible value", lines, texts, values)
    lines = lines[[_loses_digits(texts[int(line)].as_py()) for line in lines]]
    if not len(lines):
        return []
    shown = tuple(texts[int(line)].as_py() for line in lines)
    rule = "more digits than a number keeps"
    return [Finding(rule, lines, shown, _after(rule, values[lines]))]


def _taken_out(
    rule: str, lines: np.ndarray, texts: pa.ChunkedArray, values: np.ndarray
) -> list[Finding]:
    shown = tuple(texts[int(line)].as_py() for line in lines)
    values[lines] = np.nan
    return [Finding(rule, lines, shown, ("",) * len(lines))]


def _loses_digits(text: str) -> bool:
    """Whether a whole number, as written, is another one once it is a number of 64 bits."""
    if not re.fullmatch(_LONG_WHOLE, text):
        return False
    return len(text) > 300 or int(float(text)) != int(text)


def trimmed(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """Remove outer spaces, non-breaking ones included."""
    return pc.utf8_trim(pc.utf8_trim_whitespace(column), characters=_SPACES + " ")


def to_labels(column: pa.ChunkedArray) -> tuple[pa.ChunkedArray, np.ndarray]:
    """Convert a column of texts to labels (missing = null); gives the lines that were trimmed."""
    texts = trimmed(column)
    altered = np.flatnonzero(_as_bools(pc.not_equal(texts, column)))
    return pc.if_else(pc.equal(texts, ""), None, texts), altered


def looks_numeric(column: pa.ChunkedArray, decimal: str) -> bool:
    """Whether every filled cell is a plain number: no leading zero, no digit that would be lost."""
    texts = trimmed(column)
    filled = texts.filter(pc.not_equal(texts, ""))
    if not len(filled):
        return False
    point = re.escape(decimal)
    pattern = rf"^[+-]?(0|[1-9]\d*)?({point}\d*)?([eE][+-]?\d+)?$"
    fits = pc.all(pc.match_substring_regex(filled.slice(0, 1000), pattern)).as_py()
    digits = fits and pc.all(pc.match_substring_regex(filled, r"\d")).as_py()
    if not digits or not pc.all(pc.match_substring_regex(filled, pattern)).as_py():
        return False
    long = filled.filter(pc.match_substring_regex(filled, _LONG_WHOLE)).unique().to_pylist()
    return not any(_loses_digits(text) for text in long)


def apply_levels(
    column: pa.ChunkedArray, levels: Mapping[object, object]
) -> tuple[pa.ChunkedArray, dict[str, tuple[str, int]], dict[str, int]]:
    """Replace codes by levels; gives the column, what was mapped how often, and what was not.

    Where a level stands in the column as such, names are mended, and other words are names too.
    """
    coded = pc.dictionary_encode(trimmed(column)).combine_chunks()
    distinct = coded.dictionary.to_pylist()
    counts = np.bincount(coded.indices.to_numpy(), minlength=len(distinct))
    wanted = {_code(key): str(level) for key, level in levels.items()}
    names = set(wanted.values())
    replaced, mapped, strange = [], {}, {}
    for text, count in zip(distinct, counts, strict=True):
        level = wanted.get(_code(text))
        if level is not None and text:
            mapped[text] = (level, int(count))
        elif text and text not in names:
            strange[text] = int(count)
        replaced.append(text if level is None else level)
    if names & (set(distinct) - set(mapped)):
        strange = {text: count for text, count in strange.items() if text.isdigit()}
    values = pc.take(pa.array(replaced, pa.string()), coded.indices)
    return pa.chunked_array([values]), mapped, strange


def without_empty_decimals(column: pa.ChunkedArray) -> pa.ChunkedArray | None:
    """Labels without their decimals, where all are whole numbers written as 1.000; else None.

    Examples
    --------
    >>> without_empty_decimals(pa.chunked_array([["1.000", "", "12.000"]])).to_pylist()
    ['1', '', '12']
    >>> without_empty_decimals(pa.chunked_array([["1.000", "P2"]])) is None
    True
    """
    texts = trimmed(column)
    fits = pc.match_substring_regex(texts, r"^(?:[1-9]\d{0,8}\.0+)?$")
    if not pc.all(fits).as_py() or not pc.any(pc.not_equal(texts, "")).as_py():
        return None
    return pc.replace_substring_regex(texts, r"\.0+$", "")


def _code(value: object) -> str:
    text = str(value).strip()
    try:
        number = float(text)
    except ValueError:
        return text
    plain = number.is_integer() and abs(number) < 1e15 and not re.match(r"0\d", text)
    return str(int(number)) if plain else text


def _quick_cast(texts: pa.ChunkedArray) -> np.ndarray | None:
    try:
        cast = pc.cast(pc.if_else(pc.equal(texts, ""), None, texts), pa.float64())
    except pa.ArrowInvalid:
        return None
    values = _as_floats(cast)
    odd = ~np.isfinite(values)
    return values if int(odd.sum()) == cast.null_count else None


def _as_floats(array: pa.ChunkedArray) -> np.ndarray:
    return np.array(array.to_numpy(zero_copy_only=False), dtype=np.float64)


def _as_bools(array: pa.ChunkedArray) -> np.ndarray:
    return np.asarray(array.to_numpy(zero_copy_only=False), dtype=bool)
