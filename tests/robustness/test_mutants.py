"""Sound files of every kind, changed where their structure is: read, or refused in words."""

from pathlib import Path

import pytest
from mutants import survive

FEW, MANY = 300, 20_000

pytestmark = pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="limits need /proc")


def test_three_hundred_mutants(tmp_path):
    found = survive(FEW, 3, tmp_path)
    assert found["wrong"] == []
    assert min(found["read"], found["refused"]) > FEW / 10


@pytest.mark.slow
def test_twenty_thousand_mutants(tmp_path):
    found = survive(MANY, 2026, tmp_path)
    assert found["wrong"] == []
    assert min(found["read"], found["refused"]) > MANY / 10
