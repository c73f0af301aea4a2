"""The table of what computes what: every row again, and the page has all of them."""

import numpy as np
import pandas as pd
import pytest
from computed_by import PIECES, SETS, TABLE, largest
from statsmodels.stats.power import TTestIndPower

from motorlearn.plan.power.closed_form import t_power

MEASURED = [piece for piece in PIECES if piece.differences is not None]


@pytest.mark.parametrize("piece", MEASURED, ids=lambda piece: piece.name)
@pytest.mark.parametrize("sets", [3, pytest.param(SETS, marks=pytest.mark.slow)])
def test_two_ways_to_a_statistic_agree_or_differ_as_told(piece, sets):
    found = largest(piece, sets)
    assert found <= piece.most
    assert found >= piece.least


def test_the_page_holds_every_row_and_no_difference_beyond_its_bound():
    table = pd.read_csv(TABLE, keep_default_na=False).set_index("piece")
    assert list(table.index) == [piece.name for piece in PIECES]
    for piece in PIECES:
        row = table.loc[piece.name]
        assert (row["computed by"], row["held against"]) == (piece.now, piece.beside)
        assert row["why ours, or what differs"] == piece.note
        assert (row["largest difference"] == "") == (piece.differences is None)
        if piece.differences is not None:
            assert piece.least <= float(row["largest difference"]) <= 1.05 * piece.most


def test_the_library_has_no_power_for_few_people_and_large_effects():
    with np.errstate(all="ignore"):
        assert np.isnan(TTestIndPower().power(20.0, 2, 0.05, 1.0))
    assert t_power(2, 20.0) == pytest.approx(1.0)
