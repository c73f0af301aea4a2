"""Writing whole or not at all: errors, kills at any moment, and two runs at once."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from motorlearn import files
from motorlearn.exceptions import FileError

MARK = "mark.txt"


def leftovers(folder):
    return [entry.name for entry in Path(folder).iterdir() if entry.name.startswith(".")]


def test_a_file_is_written_with_its_permissions(tmp_path):
    files.write_text(tmp_path / "a.txt", "grün\n")
    assert (tmp_path / "a.txt").read_bytes() == "grün\n".encode()
    assert (tmp_path / "a.txt").stat().st_mode & 0o777 == 0o644
    files.write_bytes(tmp_path / "key.csv", b"x", mode=0o600)
    assert (tmp_path / "key.csv").stat().st_mode & 0o777 == 0o600
    assert leftovers(tmp_path) == []


def test_a_failure_leaves_the_earlier_file_and_nothing_else(tmp_path):
    files.write_text(tmp_path / "a.txt", "earlier")
    with pytest.raises(RuntimeError), files.new_file(tmp_path / "a.txt") as temporary:
        temporary.write_text("half")
        raise RuntimeError
    assert (tmp_path / "a.txt").read_text() == "earlier"
    assert leftovers(tmp_path) == []


def test_a_failure_leaves_the_earlier_folder_and_nothing_else(tmp_path):
    make_folder(tmp_path / "out", "earlier")
    with pytest.raises(RuntimeError), files.new_folder(tmp_path / "out", mark=MARK) as work:
        (work / "a.txt").write_text("half")
        raise RuntimeError
    assert (tmp_path / "out" / "a.txt").read_text() == "earlier"
    assert leftovers(tmp_path) == []


def test_a_folder_is_replaced_as_a_whole(tmp_path):
    make_folder(tmp_path / "out", "earlier", extra=True)
    make_folder(tmp_path / "out", "later")
    assert sorted(entry.name for entry in (tmp_path / "out").iterdir()) == ["a.txt", MARK]
    assert (tmp_path / "out" / "a.txt").read_text() == "later"
    assert leftovers(tmp_path) == []


def test_a_folder_is_replaced_where_the_system_cannot_exchange(tmp_path, monkeypatch):
    monkeypatch.setattr(files, "_exchanged", lambda work, target: False)
    make_folder(tmp_path / "out", "earlier")
    make_folder(tmp_path / "out", "later")
    assert (tmp_path / "out" / "a.txt").read_text() == "later"
    assert leftovers(tmp_path) == []


def test_a_folder_that_a_kill_left_under_another_name_comes_back(tmp_path):
    """Killed between the two steps; the next run puts it back even if that fails."""
    make_folder(tmp_path / "out", "earlier")
    process = subprocess.Popen([sys.executable, "-c", ""])
    process.wait()
    aside = tmp_path / f".out.{process.pid}.abcdefgh"
    aside.mkdir()
    (tmp_path / "out").rename(aside / "earlier-state")
    with pytest.raises(RuntimeError), files.new_folder(tmp_path / "out", mark=MARK):
        raise RuntimeError
    assert (tmp_path / "out" / "a.txt").read_text() == "earlier"
    assert leftovers(tmp_path) == []


@pytest.mark.parametrize("moves", [1, 2])
def test_an_interruption_between_two_steps_leaves_a_whole_folder(tmp_path, monkeypatch, moves):
    make_folder(tmp_path / "out", "earlier")
    monkeypatch.setattr(files, "_exchanged", lambda work, target: False)
    rename, made = Path.rename, []

    def interrupted(path, target):
        moved = rename(path, target)
        made.append(target)
        if len(made) == moves:
            raise KeyboardInterrupt
        return moved

    monkeypatch.setattr(Path, "rename", interrupted)
    with pytest.raises(KeyboardInterrupt):
        make_folder(tmp_path / "out", "later")
    assert (tmp_path / "out" / "a.txt").read_text() == ["earlier", "later"][moves - 1]
    assert leftovers(tmp_path) == []


def test_somebody_elses_folder_and_a_file_are_not_replaced(tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "thesis.docx").write_text("years of work")
    (tmp_path / "file").write_text("x")
    for name in ("out", "file"):
        with pytest.raises(FileError, match="not made by this command"):
            make_folder(tmp_path / name, "later")
    assert (tmp_path / "out" / "thesis.docx").read_text() == "years of work"


def test_a_place_that_cannot_be_written_is_refused(tmp_path):
    with pytest.raises(FileError, match="does not exist"):
        files.write_text(tmp_path / "none" / "a.txt", "x")


def make_folder(path, text, extra=False):
    with files.new_folder(path, mark=MARK) as work:
        (work / "a.txt").write_text(text)
        if extra:
            (work / "b.txt").write_text(text)


WRITE_FILES = """
import sys, itertools
from motorlearn import files
for turn in itertools.count():
    files.write_text(sys.argv[1] + "/a.txt", str(turn % 10) * 200_000)
"""

WRITE_FOLDERS = """
import sys, itertools
from pathlib import Path
from motorlearn import files
for turn in itertools.count():
    with files.new_folder(sys.argv[1] + "/out", mark="mark.txt") as work:
        for name in "abcdefgh":
            (work / name).write_text(str(turn % 10) * 2_000)
"""


def start(script, folder):
    return subprocess.Popen([sys.executable, "-c", script, str(folder)], stderr=subprocess.PIPE)


def wait_for_either(folder):
    deadline = time.monotonic() + 60
    while not any((folder / name).exists() for name in ("a.txt", "out")):
        assert time.monotonic() < deadline
        time.sleep(0.01)


def whole(folder):
    """Whether what stands there is one complete turn of the writer."""
    if (folder / "a.txt").exists():
        text = (folder / "a.txt").read_text()
        return len(text) == 200_000 and len(set(text)) == 1
    texts = {entry.read_text() for entry in (folder / "out").iterdir() if entry.name != MARK}
    names = sorted(entry.name for entry in (folder / "out").iterdir())
    return names == [*"abcdefgh", MARK] and len(texts) == 1 and len(texts.pop()) == 2_000


@pytest.mark.parametrize("script", [WRITE_FILES, WRITE_FOLDERS], ids=["file", "folder"])
def test_a_killed_writer_leaves_a_whole_state(tmp_path, script):
    for turn in range(6):
        process = start(script, tmp_path)
        wait_for_either(tmp_path)
        time.sleep(0.05 + 0.013 * turn)
        os.kill(process.pid, signal.SIGKILL)
        process.communicate()
        assert whole(tmp_path)
    if script == WRITE_FILES:
        files.write_text(tmp_path / "a.txt", "x")
    else:
        make_folder(tmp_path / "out", "x")
    assert leftovers(tmp_path) == []


@pytest.mark.parametrize("script", [WRITE_FILES, WRITE_FOLDERS], ids=["file", "folder"])
def test_two_writers_at_once_leave_a_whole_state(tmp_path, script):
    processes = [start(script, tmp_path) for _ in range(2)]
    wait_for_either(tmp_path)
    time.sleep(1)
    for process in processes:
        assert process.poll() is None, process.communicate()[1].decode()
        process.kill()
        process.communicate()
    assert whole(tmp_path)
