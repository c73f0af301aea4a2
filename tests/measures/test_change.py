import numpy as np
import pytest

from motorlearn import measures as m
from motorlearn.exceptions import InputError


def test_textbook_savings():
    assert m.savings(20, 12) == 40


def test_improvement_is_positive_in_either_direction():
    assert m.gain(38.0, 25.0, better="lower") == 13
    assert m.gain(9, 13, better="higher") == 4
    assert m.retention_loss(22.0, 25.0, better="lower") == 3
    assert m.retention_loss(15, 12, better="higher") == 3


def test_percent_transfer_flips_where_less_is_better():
    assert m.percent_transfer(24.0, 30.0, better="lower") == pytest.approx(20)
    assert m.percent_transfer(36.0, 30.0, better="higher") == pytest.approx(20)
    assert m.bounded_transfer(0.0, 30.0, better="lower") == 100
    assert np.isnan(m.percent_transfer(1.0, 0.0, better="lower"))


def test_relative_retention_without_a_gain_is_not_a_number():
    assert m.relative_retention(38.0, 22.0, 26.0, better="lower") == 0.75
    assert np.isnan(m.relative_retention(38.0, 40.0, 39.0, better="lower"))


def test_criterion_has_to_be_met_in_a_row():
    scores = [30, 19, 25, 18, 17]
    assert m.trials_to_criterion(scores, 20, better="lower") == 2
    assert m.trials_to_criterion(scores, 20, better="lower", in_a_row=2) == 5
    assert m.trials_to_criterion(scores, 10, better="lower") is None
    assert m.trials_to_criterion([5, np.nan, 6], 6, better="higher") == 3


def test_warm_up_decrement_leaves_missing_trials_out():
    assert m.warm_up_decrement([30, np.nan, 24, 22], 2, better="lower") == 7


def test_refusals():
    with pytest.raises(
        InputError, match=r"must say which direction is better.*'lower' or 'higher'"
    ):
        m.gain(1, 2, better="less")
    with pytest.raises(InputError, match="at least one trial"):
        m.savings(0, 1)
    with pytest.raises(InputError, match="warm-up"):
        m.warm_up_decrement([1, 2, 3], 3, better="lower")
