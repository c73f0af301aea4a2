import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from motorlearn.exceptions import InputError
from motorlearn.linear import holm


@pytest.mark.parametrize("n", [1, 2, 3, 5, 12])
def test_agrees_with_independent_software(n):
    p = np.random.default_rng(n).uniform(size=n).round(2)
    np.testing.assert_allclose(holm(p), multipletests(p, method="holm")[1], atol=1e-12)


@given(st.lists(st.floats(0, 1), min_size=1, max_size=8))
def test_never_below_the_raw_value_nor_above_bonferroni(p):
    adjusted = holm(p)
    assert (adjusted >= np.array(p) - 1e-15).all()
    assert (adjusted <= np.minimum(1, len(p) * np.array(p)) + 1e-12).all()


def test_missing_p_values_do_not_count():
    adjusted = holm([0.01, np.nan, 0.04])
    assert adjusted[[0, 2]] == pytest.approx([0.02, 0.04]) and np.isnan(adjusted[1])
    assert holm([]).size == 0


def test_impossible_p_is_refused():
    with pytest.raises(InputError, match="between 0 and 1"):
        holm([0.5, 1.2])
