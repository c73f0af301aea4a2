import numpy as np
import pytest

from motorlearn.exceptions import InputError
from motorlearn.measures import longest_run, mean_lag, switch_rate


def by_hand_lag(order):
    last, lags = {}, []
    for i, task in enumerate(order):
        if task in last:
            lags.append(i - last[task])
        last[task] = i
    return np.mean(lags)


def test_blocked_and_serial_orders():
    blocked, serial = "A" * 6 + "B" * 6 + "C" * 6, "ABC" * 6
    assert switch_rate(blocked) == pytest.approx(2 / 17)
    assert switch_rate(serial) == 1
    assert (mean_lag(blocked), mean_lag(serial)) == (1, 3)
    assert (longest_run(blocked), longest_run(serial)) == (6, 1)


def test_lag_of_any_order_agrees_with_counting():
    order = np.random.default_rng(8).integers(0, 4, size=200).tolist()
    assert mean_lag(order) == pytest.approx(by_hand_lag(order))


def test_names_of_the_tasks_do_not_matter():
    order = list("ABBACACC")
    other = [{"A": 3, "B": "bank", "C": ("lob",)}[task] for task in order]
    for index in (switch_rate, mean_lag, longest_run):
        assert index(order) == index(other)


def test_no_repetition_has_no_lag():
    assert np.isnan(mean_lag("ABC"))


def test_one_trial_is_no_order():
    with pytest.raises(InputError, match="two trials"):
        switch_rate("A")
