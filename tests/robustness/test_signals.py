"""Real signals: Ctrl-C reaches every process of a command, a kill only the one it names."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import motorlearn as ml

SHIPPED = ml.trials.shipped_study()
UNGUARDED = """
import sys
import motorlearn as ml

design = ml.read_design(sys.argv[1])
print(ml.power(design, n=12, simulations=5_000_000, seed=1, effects=[], workers=2))
"""
# Tells the numbers of the worker processes as soon as a first piece of work is done and counted.
WORKING = """
import multiprocessing, sys
import motorlearn as ml
from motorlearn.plan.power import grid

def telling(results, **options):
    for count, result in enumerate(results):
        if count:
            print(*(child.pid for child in multiprocessing.active_children()), flush=True)
        yield result

if __name__ == "__main__":
    grid.tqdm = telling
    design = ml.read_design(sys.argv[1])
    found = ml.power(design, n=12, simulations=5_000_000, seed=1, effects=[], workers=2)
    print("kept", found.table["simulations"].item(), found.warnings[-1], flush=True)
"""

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/task").is_dir(), reason="processes are watched in /proc"
)


def hears_interrupts() -> None:
    signal.signal(signal.SIGINT, signal.default_int_handler)


def started(*command: str, cwd: Path | None = None) -> subprocess.Popen:
    """A process at the head of a group of its own, as a terminal starts it."""
    return subprocess.Popen(
        [sys.executable, *map(str, command)],
        cwd=cwd,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=hears_interrupts,
    )


@pytest.fixture
def working():
    """A simulation that the main process shares with another, and the number of that one."""
    process = started("-c", WORKING, str(SHIPPED))
    workers = [int(number) for number in process.stdout.readline().split()]
    assert len(workers) == 1, process.communicate()[1]
    yield process, workers
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.communicate()


def gone(processes: list[int]) -> bool:
    """Whether processes end within a while."""
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        if not any(running(number) for number in processes):
            return True
        time.sleep(0.05)
    return False


def children(number: int) -> list[int]:
    """Numbers of the processes that a process started."""
    lists = Path(f"/proc/{number}/task").glob("*/children")
    return [int(child) for listed in lists for child in listed.read_text().split()]


def running(number: int) -> bool:
    try:
        state = Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state != "Z"


def test_ctrl_c_ends_the_workers_and_keeps_what_was_finished(working):
    process, workers = working
    os.killpg(process.pid, signal.SIGINT)
    told, noise = process.communicate(timeout=60)
    kept = told.splitlines()[-1].split()
    assert process.returncode == 0 and noise == ""
    assert kept[0] == "kept" and int(kept[1]) % 250 == 0 and "Interrupted:" in kept
    assert gone(workers)


def test_ctrl_c_while_workers_start_keeps_what_was_finished():
    arguments = ("--workers", "2", "--simulations", "5000000", "--n", "12")
    process = started("-m", "motorlearn", "power", str(SHIPPED), *arguments)
    while len(children(process.pid)) < 2:  # the worker and the keeper of what is shared
        assert process.poll() is None, process.communicate()[1]
        time.sleep(0.01)
    workers = children(process.pid)
    os.killpg(process.pid, signal.SIGINT)
    told, noise = process.communicate(timeout=60)
    assert process.returncode == 0 and "Traceback" not in noise
    assert "Interrupted: only the studies that were finished are counted" in told
    assert gone(workers)


def test_workers_do_not_outlive_a_killed_main_process(working):
    process, workers = working
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    assert gone(workers)


def test_a_lost_worker_is_told_with_a_remedy(working):
    process, workers = working
    os.kill(workers[0], signal.SIGKILL)
    _, noise = process.communicate(timeout=60)
    assert process.returncode == 1
    assert "InputError: a worker process ended before its work was done" in noise
    assert gone(workers)


def test_a_script_without_its_guard_hears_what_it_lacks(tmp_path):
    (tmp_path / "script.py").write_text(UNGUARDED)
    process = started("script.py", str(SHIPPED), cwd=tmp_path)
    _, noise = process.communicate(timeout=120)
    assert process.returncode == 1
    assert "if __name__ == '__main__':" in noise.splitlines()[-1]


def report(out: Path) -> subprocess.Popen:
    return started("-m", "motorlearn", "report", str(SHIPPED), "--out", str(out), "--quiet")


@pytest.mark.slow
@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGKILL], ids=["interrupt", "kill"])
def test_a_stopped_report_of_the_shipped_study_leaves_the_earlier_one(tmp_path, sent):
    out = tmp_path / "out"
    assert report(out).wait(timeout=300) == 0
    (out / "kept.json").write_text("{}")  # everything is drawn anew
    before = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}
    for pause in (0.5, 4, 8, 16):
        process = report(out)
        time.sleep(pause)
        os.killpg(process.pid, sent)
        _, noise = process.communicate(timeout=60)
        assert process.returncode in (130, -sent) and noise == ""
        assert {path: path.read_bytes() for path in out.rglob("*") if path.is_file()} == before
    assert report(out).wait(timeout=300) == 0
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
