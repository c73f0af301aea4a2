import numpy as np
import pytest

from motorlearn import measures as m
from motorlearn.exceptions import InputError


def test_twenty_attempts():
    sem = m.binomial_sem(0.6, 20)
    assert sem == pytest.approx(2.19, abs=0.005)
    assert m.smallest_detectable_change(sem) == pytest.approx(6.07, abs=0.005)


def test_detectable_change_is_exceeded_by_chance_in_one_pair_of_twenty():
    rng = np.random.default_rng(1)
    pairs = rng.normal(50, 3, size=(2, 200_000))
    beyond = np.abs(pairs[1] - pairs[0]) > m.smallest_detectable_change(3.0)
    assert beyond.mean() == pytest.approx(0.05, abs=0.003)


def test_measurement_error_from_reliability():
    assert m.standard_error_of_measurement(5.0, 0.64) == pytest.approx(3)
    assert m.standard_error_of_measurement(5.0, 1.0) == 0


def test_refusals():
    with pytest.raises(InputError, match="reliability"):
        m.standard_error_of_measurement(5.0, 64)
    with pytest.raises(InputError, match="hit rate"):
        m.binomial_sem(60, 20)


def test_impossible_spreads_and_correlations_are_refused():
    with pytest.raises(InputError, match="negative"):
        m.standard_error_of_measurement(-5.0, 0.8)
    with pytest.raises(InputError, match="below -1"):
        m.standard_error_of_measurement(5.0, -1.5)
    with pytest.raises(InputError, match="negative"):
        m.smallest_detectable_change(-2.0)
    with pytest.raises(InputError, match="between -1 and 1"):
        m.paired_g((10.0, 2.0), (11.0, 2.0), 1.5, 20)
    with pytest.raises(InputError, match="negative"):
        m.hedges_g((10.0, 11.0), (2.0, -2.0), (20, 20))
