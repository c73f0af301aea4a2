"""Identifiers that may be one person written differently: ``P7``, ``P07``, ``p 7``, ``PO7``."""

import re
import unicodedata
from collections import defaultdict
from collections.abc import Sequence

_LETTER_FOR_DIGIT = str.maketrans("oil", "011")
_LONG_ENOUGH, _TOO_LONG = 5, 60


def near_duplicates(identifiers: Sequence[str]) -> list[tuple[int, tuple[int, ...]]]:
    """Give the place of each identifier that resembles others, with the places of those.

    Two identifiers resemble each other if they are equal once case, accents, spaces, signs and
    leading zeros are taken away; if they then differ only in letters taken for digits (O and 0, l
    and 1); or, where they hold no digit and five to sixty letters, if one letter was added, left
    out, changed or swapped with its neighbour.

    Examples
    --------
    >>> near_duplicates(["P7", "P07", "P8", "anders", "andres"])
    [(0, (1,)), (1, (0,)), (3, (4,)), (4, (3,))]
    """
    alike: dict[int, set[int]] = defaultdict(set)
    for places in _classes(identifiers):
        for place in places:
            alike[place] |= set(places) - {place}
    return [(place, tuple(sorted(alike[place]))) for place in sorted(alike)]


def plain_identifier(identifier: str) -> str:
    """Take away case, accents, spaces, signs and leading zeros.

    Examples
    --------
    >>> plain_identifier("p 07"), plain_identifier("Ré-012")
    ('p7', 're12')
    """
    bare = unicodedata.normalize("NFKD", identifier).casefold()
    kept = "".join(sign for sign in bare if sign.isalnum())
    return re.sub(r"(?<!\d)0+(?=\d)", "", kept)


def _classes(identifiers: Sequence[str]) -> list[list[int]]:
    by_key: dict[str, list[int]] = defaultdict(list)
    for place, identifier in enumerate(identifiers):
        plain = plain_identifier(identifier)
        if not plain:
            continue
        by_key[_digits_meant(plain)].append(place)
        if _LONG_ENOUGH <= len(plain) <= _TOO_LONG and plain.isalpha():
            for shape in {plain[:i] + "?" + plain[i + 1 :] for i in range(len(plain))}:
                by_key["one letter:" + shape].append(place)
            for shape in {plain[:i] + "+" + plain[i:] for i in range(len(plain) + 1)}:
                by_key["left out:" + shape].append(place)
            for shape in {plain[:i] + "+" + plain[i + 1 :] for i in range(len(plain))}:
                by_key["left out:" + shape].append(place)
            for i in range(len(plain) - 1):
                pair = "".join(sorted(plain[i : i + 2]))
                by_key[f"swapped:{plain[:i]}<{pair}>{plain[i + 2 :]}"].append(place)
    return [places for places in by_key.values() if len(set(places)) > 1]


def _digits_meant(plain: str) -> str:
    if not any(sign.isdigit() for sign in plain):
        return plain
    first = next(i for i, sign in enumerate(plain) if sign.isdigit() or sign in "oil")
    head = max(first, 1) if plain[0].isalpha() else first
    return plain[:head] + re.sub(r"(?<!\d)0+(?=\d)", "", plain[head:].translate(_LETTER_FOR_DIGIT))
