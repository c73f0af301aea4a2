"""Sound files of every kind, changed where their structure is: read, or refused in words."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

FEW, MANY = 300, 20_000

pytestmark = pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="limits need /proc")


def survived(folder: Path, count: int, seed: int) -> dict:
    script = Path(__file__).parent / "mutants.py"
    done = subprocess.run(
        [sys.executable, str(script), str(count), str(seed), str(folder)],
        env=os.environ | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_three_hundred_mutants(tmp_path):
    found = survived(tmp_path, FEW, seed=3)
    assert found["wrong"] == []
    assert min(found["read"], found["refused"]) > FEW / 10


@pytest.mark.slow
def test_twenty_thousand_mutants(tmp_path):
    found = survived(tmp_path, MANY, seed=2026)
    assert found["wrong"] == []
    assert min(found["read"], found["refused"]) > MANY / 10
