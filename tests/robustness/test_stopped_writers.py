"""Ctrl-C and kill at any moment: every writer leaves the earlier or the later state, whole."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from writers import WRITERS

STOPPING = Path(__file__).parent / "stopping.py"
QUICK = [name for name, writer in WRITERS.items() if writer.quick]
ONES_OWN = ("file", "folder", "folder in two steps", "import", "share with key")
"""Writers that reach the disk each in a way of their own; the others share these ways."""

ONCE, FEW, MANY, ALL = 1, 8, 60, 10_000

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked to be killed")


def examined(folder: Path, most: dict[str, int]) -> dict[str, list[str]]:
    """What was wrong with each writer after it was stopped at so many of its steps."""
    wanted = [str(part) for pair in most.items() for part in pair]
    done = subprocess.run(
        [sys.executable, str(STOPPING), str(folder), *wanted],
        env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    return dict(json.loads(line) for line in done.stdout.splitlines())


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    most = {name: FEW if name in ONES_OWN else ONCE for name in QUICK}
    return examined(tmp_path_factory.mktemp("stopped"), most)


@pytest.mark.parametrize("writer", QUICK)
def test_a_stopped_writer_leaves_a_whole_state(found, writer):
    assert found[writer] == []


@pytest.mark.slow
@pytest.mark.parametrize("writer", WRITERS)
def test_a_writer_stopped_at_every_step_leaves_a_whole_state(tmp_path, writer):
    assert examined(tmp_path, {writer: ALL if writer in QUICK else MANY}) == {writer: []}
