"""No room where something is written, or none for temporary files: nothing is half written."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from writers import WRITERS

FULL_DISK = Path(__file__).parent / "full_disk.py"
OWN_MOUNTS = ["unshare", "--map-root-user", "--mount"]
FEW = ("folder", "import")


def may_mount():
    if shutil.which("unshare") is None:
        return False
    wanted = [*OWN_MOUNTS, "mount", "-t", "tmpfs", "tmpfs", "/mnt"]
    return subprocess.run(wanted, capture_output=True).returncode == 0


pytestmark = pytest.mark.skipif(not may_mount(), reason="a small disk needs namespaces of Linux")


def examined(folder, *writers):
    done = subprocess.run(
        [*OWN_MOUNTS, sys.executable, str(FULL_DISK), str(folder), *writers],
        env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    return dict(json.loads(line) for line in done.stdout.splitlines())


def test_a_full_disk_leaves_a_whole_state(tmp_path):
    assert examined(tmp_path, *FEW) == {name: [] for name in FEW}


@pytest.mark.slow
def test_a_full_disk_leaves_a_whole_state_of_every_writer(tmp_path):
    assert examined(tmp_path, *WRITERS) == {name: [] for name in WRITERS}
