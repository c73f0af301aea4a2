"""Simulation evidence: each check flags its fault often, and clean data in at most 5 %."""

import numpy as np
import pytest
from flagging import FAULTS, rates


@pytest.mark.slow
def test_faults_are_found_and_clean_data_left_alone():
    clean, faulty = 100, 30
    found = rates(clean, faulty, FAULTS)
    # Seven kinds of clean studies, 21 rates.
    slack = 2.6 * np.sqrt(0.05 * 0.95 / clean)
    too_often = found[found["flagged_clean"] > 0.05 + slack]
    assert too_often.empty, too_often.to_string()
    missed = found[found["flagged_faulty"] < 0.4]
    assert missed.empty, missed.to_string()


def test_the_rates_are_a_share_of_the_studies():
    found = rates(4, 4, FAULTS[7:8])
    assert found["flagged_faulty"].item() == 1
    assert found["flagged_clean"].item() == 0
