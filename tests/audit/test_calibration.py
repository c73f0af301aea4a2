"""Simulation evidence: whole audits leave clean studies alone and name what does harm."""

import numpy as np
import pytest
from calibration import FAULTS, clean_rows, fault_row
from variants import CELLS, rates

NAMED = 0.9
"""Share of faulty studies that are named at least."""


@pytest.mark.slow
def test_clean_studies_seldom_hold_an_act():
    studies = 60
    shares = [row[4] for row in clean_rows(studies)]
    assert np.mean(shares) <= 0.05
    assert max(shares) <= 0.05 + 2.6 * np.sqrt(0.05 * 0.95 / studies)


@pytest.mark.slow
@pytest.mark.parametrize("place", range(len(FAULTS)), ids=[fault.check for fault in FAULTS])
def test_faults_that_do_harm_are_named_and_their_remedies_hold(place):
    fault, studies, replicates = FAULTS[place], 40, 300
    row = fault_row(fault, studies, replicates, place)
    named, remedied = row[4], row[9]
    assert named >= NAMED - 2 * np.sqrt(0.9 * 0.1 / studies)
    assert remedied <= 0.065 + 2 * np.sqrt(0.05 * 0.95 / replicates)


@pytest.mark.slow
@pytest.mark.parametrize("cell", [CELLS[1], CELLS[4], CELLS[8]], ids=["plain", "spread", "shape"])
def test_variants_that_hold_wherever_they_are_shown(cell):
    studies = 400
    found = rates(studies, [cell]).iloc[0]
    most = 0.065 + 2 * np.sqrt(0.05 * 0.95 / studies)
    assert found["a variance for each group"] <= most
    assert found["residuals resampled"] <= most
    assert found["permutation test"] <= most + 0.02


def test_one_clean_and_one_faulty_study():
    wide = fault_row(FAULTS[1], 3, 40, 1)
    assert wide[4] == 1
    assert wide[6] > 0.1 > wide[9]
