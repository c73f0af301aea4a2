import numpy as np
import pytest

from motorlearn.exceptions import InputError
from motorlearn.measures import mean_time


def test_empty_cells_are_left_out():
    assert mean_time([[9.0, 11.0], [np.nan, 8.0]]).tolist() == [10.0, 8.0]
    assert np.isnan(mean_time([np.nan]))


def test_negative_time_is_refused():
    with pytest.raises(InputError, match="negative"):
        mean_time([9.0, -1.0])
