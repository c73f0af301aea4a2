"""A sitting as a code of 30 characters, to be read aloud or typed, with three check characters.

The code carries the class, the seat, how many pushes were made, and for each block of practice and
each test the mean radial error and the hits; no single push. Its 27 characters of content and 3
check characters are a word of a Reed-Solomon code over 32 symbols: up to three wrong characters are
always found, and a single one is located.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import pandas as pd

from motorlearn.exceptions import InputError
from motorlearn.teaching.aiming.programme import Programme
from motorlearn.teaching.aiming.sitting import DEVICES

ALPHABET: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Digits and letters without I, L, O and U, which are misread."""
LENGTH: Final = 30
_CHECKS: Final = 3
_GROUP: Final = 5
_MEANT: Final = {"I": "1", "L": "1", "O": "0"}
_BETWEEN: Final = " -–—_.,\t\r\n"
_CLASS_BITS, _SEAT_BITS, _MADE_BITS, _DEVICE_BITS, _GAP_BITS = 10, 8, 7, 2, 6
_ERROR_BITS: Final = 10
_STEPS: Final = 2**_ERROR_BITS - 1
_FARTHEST: Final = 4100.0
_GAP_STEPS: Final = 4
_SPARE_BITS: Final = 1


@dataclass(frozen=True)
class Cell:
    """One block of practice or one test: pushes made, mean radial error in cm, hits."""

    phase: str
    session: int
    block: int
    attempts: int
    radial_error: float
    hits: int


@dataclass(frozen=True)
class CodedSitting:
    """What a code says.

    Parameters
    ----------
    seat, made : int
        Seat, and pushes made.
    device : str
        What most pushes were made with.
    gap_minutes : float
        Minutes between the last push before the retention test and its first, to about a tenth;
        0 where it was not begun.
    back : bool
        Whether the clock of the device ran backwards in between.
    cells : tuple of Cell
        Blocks and tests that were begun.
    """

    seat: int
    made: int
    device: str
    gap_minutes: float
    back: bool
    cells: tuple[Cell, ...]


def class_mark(class_seed: int) -> int:
    """Give the ten bits by which a code names its class: CRC-16/XMODEM of the seed, folded."""
    rest = 0
    for letter in str(class_seed).encode("ascii"):
        rest ^= letter << 8
        for _ in range(8):
            rest = (rest << 1 ^ (0x1021 if rest & 0x8000 else 0)) & 0xFFFF
    return (rest ^ rest >> 6) & 0x3FF


def write_code(table: pd.DataFrame, programme: Programme) -> str:
    """Write the code of a sitting from its rows in the standard columns.

    Parameters
    ----------
    table : DataFrame
        ``radial_error, hit, device, elapsed`` of every push made, in order; cm and s.
    programme : Programme
        What the seat was to do.

    Returns
    -------
    str
        Six groups of five characters. A mean of at most 4100 cm is kept to .41 %.
    """
    errors, hits = table["radial_error"].to_numpy(float), table["hit"].to_numpy(int)
    fields = [
        (class_mark(programme.class_seed), _CLASS_BITS),
        (programme.seat, _SEAT_BITS),
        (len(table), _MADE_BITS),
        (_device(table["device"].tolist()), _DEVICE_BITS),
        (_gap(table["elapsed"].tolist(), programme), _GAP_BITS),
    ]
    for first, end, size in _spans(programme):
        made = errors[first : min(end, len(errors))]
        step = _step(float(sum(made)) / len(made)) if len(made) else 0
        fields += [(step, _ERROR_BITS), (int(hits[first:end].sum()), size.bit_length())]
    fields.append((int((table["elapsed"].diff() < 0).any()), _SPARE_BITS))
    return grouped(_letters(_symbols(fields)))


def read_code(text: str, programmes: Mapping[int, Programme], *, class_seed: int) -> CodedSitting:
    """Read a code, in capitals or not, with or without blanks and hyphens.

    Parameters
    ----------
    text : str
        The code.
    programmes : mapping of int to Programme
        Programme of each seat of the class.
    class_seed : int
        Seed of the class.

    Raises
    ------
    InputError
        If characters are missing, too many, or wrong (the place is named where one is), or the code
        is of another class, or says what no sitting can be.
    """
    word = _word(text)
    values, place = "".join(f"{symbol:05b}" for symbol in word[:-_CHECKS]), 0

    def take(bits: int) -> int:
        nonlocal place
        place += bits
        return int(values[place - bits : place], 2)

    mark, seat, made = take(_CLASS_BITS), take(_SEAT_BITS), take(_MADE_BITS)
    if mark != class_mark(class_seed):
        raise InputError("the code is of another class", [text], "check the seed of the class")
    if seat not in programmes:
        raise InputError("this class has no such seat", [seat], "ask what the code was read from")
    device, gap = DEVICES[take(_DEVICE_BITS)], take(_GAP_BITS)
    cells = []
    for first, end, size in _spans(programmes[seat]):
        error, hits = take(_ERROR_BITS), take(size.bit_length())
        attempts = max(0, min(end, made) - first)
        push = programmes[seat].pushes[first]
        if hits > attempts:
            raise InputError("the code says more hits than pushes", [text], "ask for it again")
        if attempts:
            where = (push.phase, push.session, push.block, attempts)
            cells.append(Cell(*where, round(_centimetres(error), 1), hits))
    back = bool(take(_SPARE_BITS))
    minutes = 2 ** (gap / _GAP_STEPS) - 1
    return CodedSitting(seat, made, device, round(minutes, 1), back, tuple(cells))


def grouped(word: str) -> str:
    """Write a code in groups of five."""
    return "-".join(word[i : i + _GROUP] for i in range(0, len(word), _GROUP))


def _word(text: str) -> list[int]:
    letters = "".join(_MEANT.get(c, c) for c in text.upper() if c not in _BETWEEN)
    strange = sorted({letter for letter in letters if letter not in ALPHABET})
    if strange:
        raise InputError(
            "a code has digits and letters without I, L, O and U",
            [", ".join(strange)],
            f"look at {grouped(letters)} again",
        )
    if len(letters) != LENGTH:
        much = "too many" if len(letters) > LENGTH else "missing"
        raise InputError(
            f"a code has {LENGTH} characters, and {abs(LENGTH - len(letters))} are {much} here",
            [grouped(letters)],
            "look at the code again, group by group",
        )
    word = [ALPHABET.index(letter) for letter in letters]
    wrong = _syndromes(word)
    if any(wrong):
        raise InputError("the code has a typing error", [grouped(letters)], _advice(word, wrong))
    return word


def _advice(word: list[int], wrong: Sequence[int]) -> str:
    """Name the one wrong character, where one explains everything."""
    if all(wrong):
        place = (_LOG[wrong[1]] - _LOG[wrong[0]]) % 31
        if (_LOG[wrong[2]] - _LOG[wrong[1]]) % 31 == place and place < LENGTH:
            at = LENGTH - 1 - place
            error = _EXP[(_LOG[wrong[0]] - place) % 31]
            group, within = at // _GROUP, at % _GROUP
            meant = _letters([*word[:at], word[at] ^ error, *word[at + 1 :]])
            likely = meant[group * _GROUP : (group + 1) * _GROUP]
            return (
                f"look at character {within + 1} of group {group + 1}: the group may be {likely}; "
                "ask, do not guess"
            )
    return "more than one character is wrong; ask for the code again, group by group"


def _spans(programme: Programme) -> list[tuple[int, int, int]]:
    """First push, push after the last, and length of each block and test."""
    spans: list[tuple[int, int, int]] = []
    start = 0
    for index, push in enumerate([*programme.pushes[1:], None], 1):
        before = programme.pushes[index - 1]
        if push is None or (push.phase, push.block) != (before.phase, before.block):
            spans.append((start, index, index - start))
            start = index
    return spans


def _device(devices: Sequence[str]) -> int:
    counts = [sum(device == name for device in devices) for name in DEVICES]
    return counts.index(max(counts))


def _gap(elapsed: Sequence[float], programme: Programme) -> int:
    first = next(i for i, push in enumerate(programme.pushes) if push.phase == "retention")
    if len(elapsed) <= first:
        return 0
    minutes = max(0.0, elapsed[first] - elapsed[first - 1]) / 60
    return min((1 << _GAP_BITS) - 1, math.floor(_GAP_STEPS * math.log2(1 + minutes) + 0.5))


def _step(error: float) -> int:
    share = math.log1p(error) / math.log1p(_FARTHEST)
    return min(_STEPS, math.floor(_STEPS * share + 0.5))


def _centimetres(step: int) -> float:
    return math.expm1(step / _STEPS * math.log1p(_FARTHEST))


# Arithmetic of 32 symbols: x^5 + x^2 + 1 over two. ----------------------------------------------


def _powers() -> list[int]:
    powers = [1]
    for _ in range(30):
        doubled = powers[-1] << 1
        powers.append(doubled ^ 0x25 if doubled & 32 else doubled)
    return powers[:31]


_EXP: Final = _powers()
_LOG: Final = {value: power for power, value in enumerate(_EXP)}


def _times(one: int, other: int) -> int:
    return _EXP[(_LOG[one] + _LOG[other]) % 31] if one and other else 0


def _generator() -> list[int]:
    """Coefficients of (x - a)(x - a^2)(x - a^3), the highest first."""
    whole = [1]
    for power in range(1, _CHECKS + 1):
        shifted, scaled = [*whole, 0], [0, *(_times(c, _EXP[power]) for c in whole)]
        whole = [a ^ b for a, b in zip(shifted, scaled, strict=True)]
    return whole


def _symbols(fields: Sequence[tuple[int, int]]) -> list[int]:
    """Pack fields of bits into symbols and add the check symbols."""
    bits = "".join(f"{value:0{size}b}" for value, size in fields)
    content = [int(bits[i : i + 5], 2) for i in range(0, len(bits), 5)]
    rest = [*content, *[0] * _CHECKS]
    for index in range(len(content)):
        factor = rest[index]
        for offset, coefficient in enumerate(_generator()):
            rest[index + offset] ^= _times(coefficient, factor)
    return [*content, *rest[-_CHECKS:]]


def _syndromes(word: Sequence[int]) -> list[int]:
    """Values of the word at a, a^2, a^3: all 0 where nothing is wrong."""
    found = []
    for power in range(1, _CHECKS + 1):
        value = 0
        for symbol in word:
            value = _times(value, _EXP[power]) ^ symbol
        found.append(value)
    return found


def _letters(word: Sequence[int]) -> str:
    return "".join(ALPHABET[symbol] for symbol in word)
