"""An import or a share that is killed leaves the earlier state whole; two at once do no harm."""

import functools
import hashlib
import multiprocessing
import time

import pytest

import motorlearn as ml
from motorlearn.design import read_design
from motorlearn.exceptions import FileError
from motorlearn.files import locked
from motorlearn.trials import share_study, take_in
from motorlearn.trials.importing import intake

pytestmark = pytest.mark.skipif(
    "fork" not in multiprocessing.get_all_start_methods(), reason="runs are forked"
)


def sharing(folder, out):
    while True:
        share_study(folder, out)


def importing(folder, file):
    while True:
        (folder / file.name).unlink(missing_ok=True)
        take_in(file, folder)


def started(function, *arguments):
    process = multiprocessing.get_context("fork").Process(target=function, args=arguments)
    process.start()
    return process


def run_and_kill(function, arguments, ready, pause):
    process = started(function, *arguments)
    wait_for(ready, process)
    time.sleep(pause)
    process.kill()
    process.join()


def wait_for(ready, process):
    deadline = time.monotonic() + 60
    while not ready():
        assert process.is_alive() and time.monotonic() < deadline
        time.sleep(0.01)


def sums_agree(folder):
    lines = (folder / "SHA256SUMS").read_text().splitlines()
    return len(lines) == 10 and all(
        hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest
        for digest, name in (line.split("  ") for line in lines)
    )


def test_a_killed_share_leaves_a_whole_package(study_folder, tmp_path_factory):
    out = tmp_path_factory.mktemp("shared") / "pack"
    study_folder.write()
    for turn in range(3):
        run_and_kill(sharing, [study_folder.path, out], out.exists, 0.05 + 0.031 * turn)
        assert sums_agree(out)
    share_study(study_folder.path, out)
    assert [entry.name for entry in out.parent.iterdir()] == ["pack"]


def test_two_shares_at_once_leave_a_whole_package(study_folder, tmp_path_factory):
    out = tmp_path_factory.mktemp("shared") / "pack"
    study_folder.write()
    processes = [started(sharing, study_folder.path, out) for _ in range(2)]
    wait_for(out.exists, processes[0])
    time.sleep(0.5)
    for process in processes:
        assert process.is_alive()
        process.kill()
        process.join()
    assert sums_agree(out)


@pytest.fixture
def foreign(study_folder, tmp_path_factory):
    """A file from elsewhere, in the notation of another country."""
    file = tmp_path_factory.mktemp("elsewhere") / "log.csv"
    study_folder.trials.to_csv(file, index=False, sep=";", decimal=",")
    return file


@pytest.mark.parametrize("turn", range(3))
def test_a_killed_import_leaves_a_plan_that_reads(study_folder, foreign, turn):
    folder = study_folder.write()
    before = (folder / "study.toml").read_text()

    def copied():
        return (folder / "log.csv").exists()

    run_and_kill(importing, [folder, foreign], copied, 0.02 + 0.03 * turn)
    text = (folder / "study.toml").read_text()
    design = read_design(folder)
    if design.recipe is None:
        assert text == before
    else:
        assert text.startswith(before.rstrip())
    if copied():
        assert (folder / "log.csv").read_bytes() == foreign.read_bytes()
    take_in(foreign, folder)
    assert len(ml.read_study(folder).trials.table) == 32


def importing_twice(folder, file):
    """Import again and again; another run may be in the way, and nothing else."""
    for _ in range(2):
        try:
            take_in(file, folder)
        except FileError as problem:
            assert "another run is writing there" in str(problem)


def test_two_imports_at_once_leave_one_file_with_its_recipe(study_folder, foreign):
    folder, other = study_folder.write(), foreign.with_name("other.csv")
    before = (folder / "study.toml").read_text()
    study_folder.trials.to_csv(other, index=False)
    files = {file.name: file for file in (foreign, other)}
    processes = [started(importing_twice, folder, file) for file in files.values()]
    for process in processes:
        process.join()
        assert process.exitcode == 0
    assert (folder / "study.toml").read_text().startswith(before.rstrip())
    used = read_design(folder).recipe.file
    assert (folder / used).read_bytes() == files[used].read_bytes()
    assert len(ml.read_study(folder).trials.table) == 32
    assert not list(folder.glob(".*"))


def test_an_import_waits_for_the_one_before_it_and_then_refuses(study_folder, foreign, monkeypatch):
    folder = study_folder.write()
    monkeypatch.setattr(intake, "locked", functools.partial(locked, wait=0.05))
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    with locked(folder / "import"):
        with pytest.raises(FileError, match="another run is writing there at this moment"):
            take_in(foreign, folder)
        kept = {p.name: p.read_bytes() for p in folder.iterdir() if not p.name.endswith(".lock")}
        assert kept == before
    take_in(foreign, folder)
    assert not list(folder.glob(".*"))
