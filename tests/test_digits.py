"""Numbers are written once: hand answers (the style itself is common practice, no source)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from motorlearn import digits


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (3.14159, 2, "3.14"), (-3.14159, 1, "−3.1"), (-0.004, 2, "0.00"), (0.0, 0, "0"),
        (math.nan, 2, "–"), (None, 2, "–"), (math.inf, 2, "∞"), (-math.inf, 2, "−∞"),
    ],
)  # fmt: skip
def test_number(value, decimals, text):
    assert digits.number(value, decimals) == text


def test_decimal_comma_reaches_every_writer():
    assert digits.number(1.5, 1, decimal=",") == "1,5"
    assert digits.p_value(0.042, decimal=",") == ",042"
    assert digits.p_value(0.0, decimal=",") == "< ,001"
    assert digits.percent(0.125, 1, decimal=",") == "12,5 %"
    assert [digits.percent(share) for share in (0.0, 0.004, 0.0004, 0.006, 0.994, 0.996, 1.0)] == [
        "0 %", "0.4 %", "0.04 %", "1 %", "99 %", "99.6 %", "100 %",
    ]  # fmt: skip
    assert digits.degrees_of_freedom(88.1028, decimal=",") == "88,1"
    assert digits.significant(0.0123456, 3, decimal=",") == "0,0123"
    assert digits.interval(-1.5, 2, 1, decimal=",") == "−1,5 to 2,0"


@given(st.floats(0, 1))
def test_a_p_value_is_never_written_as_zero_or_one(p):
    text = digits.p_value(p)
    assert text not in (".000", "1.000", "0.000")
    assert text.startswith(("< .", "> .", "."))


@given(st.floats(-1e5, 1e5, allow_nan=False), st.integers(2, 6))
def test_significant_figures_keep_the_value(value, figures):
    text = digits.significant(value, figures).replace("−", "-")
    assert float(text) == pytest.approx(value, rel=0.6 * 10 ** (1 - figures), abs=1e-12)


def test_large_and_tiny_values_get_an_exponent():
    assert digits.significant(9.99996) == "10.0" and digits.significant(0.0999999, 4) == "0.1000"
    assert digits.significant(1.5e-7) == "1.50e−07"
    assert digits.significant(2.5e9) == "2.50e+09"


def test_degrees_of_freedom_are_whole_only_where_they_are_whole():
    assert digits.degrees_of_freedom(9.00000005) == "9"
    assert digits.degrees_of_freedom(9.1099) == "9.1"
    assert digits.degrees_of_freedom(math.inf) == "∞"
