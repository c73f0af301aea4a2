"""The primary row alone is the row of the whole analysis, though other tests are not compared."""

import pandas as pd
import pytest
import studies

import motorlearn as ml


@pytest.mark.parametrize("made", [studies.two_transfers, studies.three_groups])
def test_the_primary_row_alone_is_that_of_the_whole_analysis(made):
    study = made()
    whole, alone = ml.analyse_study(study), ml.analysis.primary_comparison(study)
    pd.testing.assert_frame_equal(alone.primary, whole.primary)
    assert alone.method == whole.method
