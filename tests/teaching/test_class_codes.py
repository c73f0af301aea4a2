"""Codes of sittings: what they keep, and that no typing error passes for another sitting."""

import itertools

import numpy as np
import pytest

from motorlearn.exceptions import InputError
from motorlearn.teaching.aiming import make_programme, rehearse_sitting
from motorlearn.teaching.aiming.merging import to_cells
from motorlearn.teaching.classroom import codes
from motorlearn.teaching.classroom.codes import ALPHABET, class_mark, read_code, write_code

PROGRAMMES = {seat: make_programme(seat, class_seed=7) for seat in (1, 2)}


@pytest.fixture(scope="module")
def table():
    return rehearse_sitting(2, class_seed=7, seed=1).records()


@pytest.fixture(scope="module")
def word(table):
    return write_code(table, PROGRAMMES[2]).replace("-", "")


def read(code):
    return read_code(code, PROGRAMMES, class_seed=7)


def test_a_code_is_six_groups_and_keeps_means_and_hits(table, word):
    assert len(word) == 30 and set(word) <= set(ALPHABET)
    said = read(codes.grouped(word).lower())
    cells = to_cells(table)
    assert (said.seat, said.made, said.device, said.back) == (2, 102, "mouse", False)
    assert [(c.phase, c.block, c.attempts) for c in said.cells] == list(
        cells[["phase", "block", "attempts"]].itertuples(index=False, name=None)
    )
    assert [c.hits for c in said.cells] == cells["hits"].tolist()
    errors = np.array([c.radial_error for c in said.cells])
    assert np.abs(errors / cells["radial_error"].to_numpy() - 1).max() < 0.0055
    pause = table["elapsed"].diff().iloc[78] / 60
    assert said.gap_minutes == pytest.approx(pause, rel=0.13)


@pytest.mark.parametrize("made", [1, 11, 12, 13, 50, 78, 79, 101])
def test_an_unfinished_sitting_keeps_what_was_made(table, made):
    said = read(write_code(table.head(made), PROGRAMMES[2]))
    assert said.made == made == sum(cell.attempts for cell in said.cells)
    assert [c.hits for c in said.cells] == to_cells(table.head(made))["hits"].tolist()
    assert (said.gap_minutes > 0) == (made > 78)


@pytest.mark.parametrize("error", [0.0, 0.4, 30.0, 1200.0, 4100.0])
def test_the_mean_is_kept_to_half_a_percent_over_the_whole_floor(error):
    kept = codes._centimetres(codes._step(error))
    assert abs(kept - error) <= 0.0041 * (1 + error)


def test_every_single_wrong_character_is_found_and_located(word):
    groups = codes.grouped(word).split("-")
    for place, letter in itertools.product(range(30), ALPHABET):
        if letter == word[place]:
            continue
        with pytest.raises(InputError) as refused:
            read(word[:place] + letter + word[place + 1 :])
        said = f"character {place % 5 + 1} of group {place // 5 + 1}"
        assert said in refused.value.remedy and groups[place // 5] in refused.value.remedy


def test_swapped_and_up_to_three_wrong_characters_are_always_found(word):
    rng = np.random.default_rng(1)
    for first, second in itertools.combinations(range(30), 2):
        swapped = list(word)
        swapped[first], swapped[second] = swapped[second], swapped[first]
        if "".join(swapped) != word:
            with pytest.raises(InputError):
                read("".join(swapped))
    for count in (2, 3) * 150:
        letters = list(word)
        for place in rng.choice(30, count, replace=False):
            letters[place] = rng.choice([c for c in ALPHABET if c != word[place]])
        with pytest.raises(InputError):
            read("".join(letters))


def test_misread_letters_blanks_and_hyphens_do_no_harm(word):
    misread = word.replace("0", "O").replace("1", "l")
    assert read(" ".join(misread)) == read(word) == read(codes.grouped(word))


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda w: w[:-1], "1 are missing"),
        (lambda w: w + "00", "2 are too many"),
        (lambda w: "U" + w[1:], "without I, L, O and U"),
        (lambda w: w[:5] + "*" + w[6:], "without I, L, O and U"),
        (lambda w: "", "30 are missing"),
        (lambda w: "ABCDE" + w[5:], "typing error"),
    ],
)
def test_what_is_no_code_is_refused_in_words(word, spoil, words):
    with pytest.raises(InputError, match=words):
        read(spoil(word))


def test_another_class_and_a_seat_it_does_not_have_are_named(table, word):
    with pytest.raises(InputError, match="another class"):
        read_code(word, PROGRAMMES, class_seed=8)
    with pytest.raises(InputError, match="no such seat"):
        read_code(word, {1: PROGRAMMES[1]}, class_seed=7)


def test_a_clock_that_was_put_back_is_told(table):
    back = table.assign(elapsed=table["elapsed"].where(table.index < 40, table["elapsed"] - 5000))
    assert read(write_code(back, PROGRAMMES[2])).back


def test_the_mark_of_a_class_follows_the_published_check_value():
    """CRC-16/XMODEM of 123456789 is 0x31C3 (the catalogue's check value, recalled)."""
    assert class_mark(123456789) == (0x31C3 ^ 0x31C3 >> 6) & 0x3FF
    assert len({class_mark(seed) for seed in range(200)}) > 170
