"""Without a browser its tests are skipped with the reason; where it is demanded, they fail."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TEST = "tests/browser/test_study_series_in_browser.py"


@pytest.mark.parametrize("demand", [None, "CI", "MOTORLEARN_NEEDS_BROWSER"])
def test_an_absent_browser_is_a_failure_only_where_it_is_demanded(tmp_path, demand):
    environment = os.environ | {"PATH": str(tmp_path), "PYTHONPATH": str(ROOT)}
    for name in ("CI", "MOTORLEARN_NEEDS_BROWSER"):
        environment.pop(name, None)
    if demand:
        environment[demand] = "true"
    command = [sys.executable, "-m", "pytest", "-m", "browser", "-p", "no:cacheprovider", TEST]
    done = subprocess.run(
        command, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=120
    )
    assert "no browser: Chromium and chromedriver are not both installed" in done.stdout
    assert done.returncode == (1 if demand else 0)
    assert ("2 errors" if demand else "2 skipped") in done.stdout
