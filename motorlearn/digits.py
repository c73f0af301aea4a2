"""How a number is written: the one place that turns a value into characters.

Tables, sentences, captions and alt texts call these, so that the same value reads the same
everywhere. Where no decimal sign is given, that of the text which is being made counts:
:func:`decimal_sign` sets it for everything that is written inside.
"""

import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

MINUS: Final = "−"
_LETTERS: Final = (
    *("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"),
)
_SIGN: Final = ContextVar("decimal sign of the text that is being made", default=".")


@contextmanager
def decimal_sign(sign: str) -> Iterator[None]:
    """Write every number inside with this decimal sign.

    Examples
    --------
    >>> with decimal_sign(","):
    ...     number(1.5), p_value(0.042)
    ('1,50', ',042')
    """
    token = _SIGN.set(sign)
    try:
        yield
    finally:
        _SIGN.reset(token)


def number(value: float | None, decimals: int = 2, *, decimal: str | None = None) -> str:
    """Write a number with a fixed count of decimals, ``–`` where it is missing.

    A value that would round to zero keeps no sign; infinities are written as ``∞``.

    Examples
    --------
    >>> number(-1.234), number(-0.001), number(None)
    ('−1.23', '0.00', '–')
    """
    if value is None or math.isnan(value):
        return "–"
    if math.isinf(value):
        return "∞" if value > 0 else MINUS + "∞"
    text = f"{abs(value):.{decimals}f}"
    sign = MINUS if value < 0 and any(c not in "0." for c in text) else ""
    return sign + text.replace(".", decimal or _SIGN.get())


def significant(value: float | None, figures: int = 3, *, decimal: str | None = None) -> str:
    """Write a number to so many significant figures, without an exponent between 1e-4 and 1e6.

    Examples
    --------
    >>> significant(0.012345), significant(1234.5), significant(27.5)
    ('0.0123', '1234', '27.5')
    """
    if value is None or not math.isfinite(value) or value == 0:
        return number(value, 0 if value == 0 else figures, decimal=decimal)
    place = int(f"{value:.{figures - 1}e}".split("e")[1])
    if not -4 <= place < 6:
        text = f"{value:.{figures - 1}e}".replace("-", MINUS)
        return text.replace(".", decimal or _SIGN.get())
    return number(value, max(0, figures - 1 - place), decimal=decimal)


def lapse(days: float) -> str:
    """Write a time between two parts of a study: in days, below one day in hours or minutes.

    Examples
    --------
    >>> lapse(7), lapse(1), lapse(0.25), lapse(0.003)
    ('7 days', '1 day', '6 hours', '4 minutes')
    """
    size, noun = days, "day"
    if 0 < days < 1 / 24:
        size, noun = max(1, round(days * 1440)), "minute"
    elif 0 < days < 1:
        size, noun = round(days * 24, 1), "hour"
    return f"{plain(size)} {noun if size == 1 else plural(noun)}"


def plain(value: float, figures: int = 6) -> str:
    """Write a number as it was declared: to six significant figures, without trailing zeros.

    Examples
    --------
    >>> plain(20.0), plain(0.25), plain(-1.5)
    ('20', '0.25', '−1.5')
    """
    text = f"{value:.{figures}g}".replace("-", MINUS)
    return text.replace(".", _SIGN.get())


def whole(value: float | None, figures: int = 3, *, decimal: str | None = None) -> str:
    """Write a whole number as such, another one to so many significant figures.

    Examples
    --------
    >>> whole(3.0), whole(0.0972)
    ('3', '0.0972')
    """
    if value is not None and math.isfinite(value) and value == round(value) and abs(value) < 1e6:
        return number(value, 0)
    return significant(value, figures, decimal=decimal)


def p_value(p: float | None, *, decimal: str | None = None) -> str:
    """Write a p value to three decimals without a leading zero, never as zero.

    Examples
    --------
    >>> p_value(0.0421), p_value(0.00001), p_value(0.9999)
    ('.042', '< .001', '> .999')
    """
    if p is None or math.isnan(p):
        return "–"
    sign = decimal or _SIGN.get()
    if p < 0.001:
        return f"< {sign}001"
    if p > 0.999:
        return f"> {sign}999"
    return f"{p:.3f}"[1:].replace(".", sign)


def share(value: float | None, *, decimal: str | None = None) -> str:
    """Write a share of variance to three decimals without a leading zero, as zero only where it is.

    Examples
    --------
    >>> share(0.0421), share(0.0002), share(0.0), share(-0.012), share(0.9999)
    ('.042', '< .001', '.000', '−.012', '> .999')
    """
    if value is not None and (0 < value < 0.001 or 0.999 < value < 1):
        return p_value(value, decimal=decimal)
    text = number(value, 3, decimal=decimal)
    return text.replace("0", "", 1) if text.lstrip(MINUS).startswith("0") else text


def share_clause(value: float, *, decimal: str | None = None) -> str:
    """Write ``= .042`` or ``< .001`` as a sentence needs it behind its name.

    Examples
    --------
    >>> share_clause(0.0421), share_clause(0.0002)
    ('= .042', '< .001')
    """
    return _related(share(value, decimal=decimal))


def _related(text: str) -> str:
    return text if text[:1] in "<>" else f"= {text}"


def p_clause(p: float | None, *, decimal: str | None = None) -> str:
    """Write ``p = .042`` or ``p < .001`` as a sentence needs it.

    Examples
    --------
    >>> p_clause(0.0421), p_clause(1e-9)
    ('p = .042', 'p < .001')
    """
    return f"p {_related(p_value(p, decimal=decimal))}"


def percent(share: float | None, decimals: int = 0, *, decimal: str | None = None) -> str:
    """Write a share between 0 and 1 as a percentage.

    A share that is neither takes up to two more decimals before it is written as 0 or 100 %.

    Examples
    --------
    >>> percent(0.614, 1), percent(0.004), percent(0.998)
    ('61.4 %', '0.4 %', '99.8 %')
    """
    if share is None or math.isnan(share):
        return "–"
    value = 100 * share
    ends = {0, 100} - {value}
    more = next((d for d in (0, 1) if round(value, decimals + d) not in ends), 2)
    return number(value, decimals + more, decimal=decimal) + " %"


def interval(
    low: float | None, high: float | None, decimals: int = 2, *, decimal: str | None = None
) -> str:
    """Write an interval as ``low to high``, which survives negative numbers.

    Examples
    --------
    >>> interval(-1.5, 0.25)
    '−1.50 to 0.25'
    """
    return f"{number(low, decimals, decimal=decimal)} to {number(high, decimals, decimal=decimal)}"


def count(number: float, noun: str, *, spelt: bool = False) -> str:
    """Write a number with its noun in the right form, small numbers in letters where asked.

    Examples
    --------
    >>> count(1, "day"), count(7.0, "day"), count(3, "study", spelt=True)
    ('1 day', '7 days', 'three studies')
    >>> count(1, "person"), count(2, "person"), count(4, "class"), count(1234567, "trial")
    ('1 person', '2 people', '4 classes', '1234567 trials')
    """
    written = f"{number:.0f}" if float(number).is_integer() else f"{number:g}"
    form = noun if written == "1" else plural(noun)
    if spelt and written.isdigit() and int(written) < len(_LETTERS):
        written = _LETTERS[int(written)]
    return f"{written} {form}"


def plural(noun: str) -> str:
    """Write a noun for several of its kind.

    Examples
    --------
    >>> plural("trial"), plural("study"), plural("class")
    ('trials', 'studies', 'classes')
    """
    if noun == "person":
        return "people"
    if re.search("[^aeiou]y$", noun):
        return f"{noun[:-1]}ies"
    return f"{noun}es" if noun.endswith(("s", "x", "ch", "sh")) else f"{noun}s"


def decimals_apart(low: float | None, high: float | None, null: float, decimals: int = 2) -> int:
    """Decimals at which no limit is written as the null that it is not; up to three more.

    An upper limit of 0.998 beside a null of 1 is not written as ``1.00``.

    Examples
    --------
    >>> decimals_apart(0.83, 0.998, 1.0), decimals_apart(0.83, 1.0, 1.0)
    (3, 2)
    """
    limits = [value for value in (low, high) if value is not None and value != null]
    for extra in range(3):
        wanted = number(null, decimals + extra)
        if all(number(value, decimals + extra) != wanted for value in limits):
            return decimals + extra
    return decimals + 3


def degrees_of_freedom(df: float | None, *, decimal: str | None = None) -> str:
    """Write degrees of freedom: whole where they are whole, otherwise with one decimal.

    Examples
    --------
    >>> degrees_of_freedom(17.0), degrees_of_freedom(88.1028)
    ('17', '88.1')
    """
    if df is None or math.isnan(df):
        return "–"
    if math.isinf(df):
        return "∞"
    return number(df, 0 if abs(df - round(df)) < 5e-7 * max(1.0, df) else 1, decimal=decimal)
