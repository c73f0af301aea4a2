"""An import or a share that is killed leaves the earlier state whole; two at once do no harm."""

import hashlib
import os
import signal
import subprocess
import sys
import time

import pytest

import motorlearn as ml
from motorlearn.design import read_design

SHARE = """
import sys
from motorlearn.trials import share_study
while True:
    share_study(sys.argv[1], sys.argv[2])
"""
IMPORT = """
import sys
from pathlib import Path
from motorlearn.trials import take_in
while True:
    Path(sys.argv[1], "log.csv").unlink(missing_ok=True)
    take_in(sys.argv[2], sys.argv[1])
"""


def run_and_kill(script, arguments, ready, pause):
    process = subprocess.Popen(
        [sys.executable, "-c", script, *map(str, arguments)], stderr=subprocess.PIPE
    )
    wait_for(ready, process)
    time.sleep(pause)
    os.kill(process.pid, signal.SIGKILL)
    process.communicate()


def wait_for(ready, process):
    deadline = time.monotonic() + 60
    while not ready():
        assert process.poll() is None, process.communicate()[1].decode()
        assert time.monotonic() < deadline
        time.sleep(0.01)


def sums_agree(folder):
    lines = (folder / "SHA256SUMS").read_text().splitlines()
    return len(lines) == 9 and all(
        hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest
        for digest, name in (line.split("  ") for line in lines)
    )


def test_a_killed_share_leaves_a_whole_package(study_folder, tmp_path_factory):
    out = tmp_path_factory.mktemp("shared") / "pack"
    study_folder.write()
    for turn in range(3):
        run_and_kill(SHARE, [study_folder.path, out], out.exists, 0.05 + 0.031 * turn)
        assert sums_agree(out)
    ml.trials.share_study(study_folder.path, out)
    assert [entry.name for entry in out.parent.iterdir()] == ["pack"]


def test_two_shares_at_once_leave_a_whole_package(study_folder, tmp_path_factory):
    out = tmp_path_factory.mktemp("shared") / "pack"
    study_folder.write()
    command = [sys.executable, "-c", SHARE, str(study_folder.path), str(out)]
    processes = [subprocess.Popen(command, stderr=subprocess.PIPE) for _ in range(2)]
    wait_for(out.exists, processes[0])
    time.sleep(2)
    for process in processes:
        assert process.poll() is None, process.communicate()[1].decode()
        process.kill()
        process.communicate()
    assert sums_agree(out)


@pytest.mark.parametrize("turn", range(3))
def test_a_killed_import_leaves_a_plan_that_reads(study_folder, tmp_path_factory, turn):
    file = tmp_path_factory.mktemp("elsewhere") / "log.csv"
    study_folder.trials.to_csv(file, index=False, sep=";", decimal=",")
    folder = study_folder.write()
    before = (folder / "study.toml").read_text()

    def copied():
        return (folder / "log.csv").exists()

    run_and_kill(IMPORT, [folder, file], copied, 0.02 + 0.03 * turn)
    text = (folder / "study.toml").read_text()
    design = read_design(folder)
    if design.recipe is None:
        assert text == before
    else:
        assert text.startswith(before.rstrip())
    if copied():
        assert (folder / "log.csv").read_bytes() == file.read_bytes()
    ml.trials.take_in(file, folder)
    assert len(ml.read_study(folder).trials.table) == 32
