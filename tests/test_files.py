"""Writing whole or not at all: errors, kills at any moment, and two runs at once."""

import errno
import hmac
import os
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from motorlearn import files
from motorlearn.exceptions import FileError
from motorlearn.files import LISTED, is_signed, signature

MARK = "mark.txt"
UMASK = os.umask(0o022)
os.umask(UMASK)


def leftovers(folder):
    return [entry.name for entry in Path(folder).iterdir() if entry.name.startswith(".")]


def names(folder):
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*"))


def unfinished_by(process, target, host=None):
    """Name of unfinished work as another process of this host, or of another, leaves it."""
    place = files.unfinished.place_beside(target)
    name = place.name.replace(f"-{os.getpid()}-", f"-{process}-")
    own = files.unfinished._host()
    return place.with_name(name.replace(own, host or own))


def test_a_file_is_written_with_its_permissions(tmp_path):
    files.write_text(tmp_path / "a.txt", "grün\n")
    assert (tmp_path / "a.txt").read_bytes() == "grün\n".encode()
    assert mode_of(tmp_path / "a.txt") == 0o666 & ~UMASK
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
    assert names(tmp_path / "out") == [LISTED, "a.txt"]
    assert (tmp_path / "out" / "a.txt").read_text() == "later"
    assert leftovers(tmp_path) == []


def test_a_folder_is_replaced_where_the_system_cannot_exchange(tmp_path, monkeypatch):
    monkeypatch.setattr(files.writing, "_exchanged", lambda work, target: False)
    make_folder(tmp_path / "out", "earlier")
    make_folder(tmp_path / "out", "later")
    assert (tmp_path / "out" / "a.txt").read_text() == "later"
    assert leftovers(tmp_path) == []


def test_a_folder_that_a_kill_left_under_another_name_comes_back(tmp_path):
    """Killed between the two steps; the next run puts it back even if that fails."""
    make_folder(tmp_path / "out", "earlier")
    process = subprocess.Popen([sys.executable, "-c", ""])
    process.wait()
    aside = unfinished_by(process.pid, tmp_path / "out")
    aside.mkdir()
    (tmp_path / "out").rename(aside / "earlier-state")
    with pytest.raises(RuntimeError), files.new_folder(tmp_path / "out", mark=MARK):
        raise RuntimeError
    assert (tmp_path / "out" / "a.txt").read_text() == "earlier"
    assert leftovers(tmp_path) == []


@pytest.mark.parametrize("moves", [1, 2])
def test_an_interruption_between_two_steps_leaves_a_whole_folder(tmp_path, monkeypatch, moves):
    make_folder(tmp_path / "out", "earlier")
    monkeypatch.setattr(files.writing, "_exchanged", lambda work, target: False)
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
import sys, itertools, time
from pathlib import Path
from motorlearn import files
for turn in itertools.count():
    with files.new_folder(sys.argv[1] + "/out", mark="mark.txt") as work:
        for name in "abcdefgh":
            (work / name).write_text(str(turn % 10) * 2_000)
    time.sleep(0.02)
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
    texts = {(folder / "out" / name).read_text() for name in "abcdefgh"}
    return (
        names(folder / "out") == [LISTED, *"abcdefgh"]
        and len(texts) == 1
        and len(texts.pop()) == 2_000
    )


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


def mode_of(path):
    return path.stat().st_mode & 0o777


def test_a_folder_without_our_list_is_nobodys_but_its_owners(tmp_path):
    """A package from elsewhere, a study, a thesis beside a page: a name is no proof."""
    for name in ("datapackage.json", "report.html", LISTED):
        out = tmp_path / name.strip(".")
        out.mkdir()
        (out / name).write_text("{}")
        (out / "thesis.docx").write_text("years of work")
        with (
            pytest.raises(FileError, match="not made by this command"),
            files.new_folder(out, mark=name),
        ):
            pass
        assert names(out) == sorted([name, "thesis.docx"])


def test_a_list_that_was_altered_is_not_believed(tmp_path):
    make_folder(tmp_path / "out", "earlier")
    place = tmp_path / "out" / LISTED
    place.write_text(place.read_text().replace('"a.txt"', '"thesis.docx"'))
    with pytest.raises(FileError, match="not made by this command"):
        make_folder(tmp_path / "out", "later")


def test_a_folder_of_another_kind_is_not_replaced(tmp_path):
    make_folder(tmp_path / "out", "earlier")
    with (
        pytest.raises(FileError, match="not made by this command"),
        files.new_folder(tmp_path / "out", mark="another"),
    ):
        pass


@pytest.mark.parametrize("linked", [True, False], ids=["links", "copies"])
def test_what_somebody_put_into_a_folder_is_carried_over(tmp_path, monkeypatch, linked):
    if not linked:
        monkeypatch.setattr(os, "link", lambda *a, **k: (_ for _ in ()).throw(OSError("none")))
    out = tmp_path / "out"
    make_folder(out, "earlier", extra=True)
    (out / "my_notes.docx").write_text("mine")
    (out / "talk" / "slides").mkdir(parents=True)
    (out / "talk" / "slides" / "1.txt").write_text("one")
    (out / "empty").mkdir()
    (out / "link").symlink_to("my_notes.docx")
    (out / "a.txt").write_text("changed by hand")
    for text in ("later", "later still"):
        make_folder(out, text)
        assert (out / "a.txt").read_text() == text
        assert (out / "a (kept).txt").read_text() == "changed by hand"
        assert (out / "my_notes.docx").read_text() == "mine"
        assert (out / "talk" / "slides" / "1.txt").read_text() == "one"
        assert (out / "empty").is_dir() and os.readlink(out / "link") == "my_notes.docx"
        assert not (out / "b.txt").exists()
    (out / "a.txt").write_text("changed again")
    make_folder(out, "last")
    assert (out / "a (kept 2).txt").read_text() == "changed again"
    assert leftovers(tmp_path) == []


def test_what_a_run_keeps_itself_stays_somebodys(tmp_path):
    out = tmp_path / "out"
    make_folder(out, "blank")
    (out / "a.txt").write_text("filled in")
    make_folder(out, "filled in")
    make_folder(out, "blank again")
    assert (out / "a (kept).txt").read_text() == "filled in"


@pytest.mark.parametrize("linked", [True, False])
def test_a_file_that_is_written_again_alike_stays_the_file_it_was(tmp_path, monkeypatch, linked):
    out = tmp_path / "out"
    make_folder(out, "alike")
    before = (out / "a.txt").stat()
    if not linked:
        monkeypatch.setattr(os, "link", raising_of_link)
    make_folder(out, "alike")
    again = (out / "a.txt").stat()
    assert (again.st_ino == before.st_ino and again.st_nlink == 1) == linked
    assert (out / "a.txt").read_text() == "alike"
    assert leftovers(out) == [LISTED] and leftovers(tmp_path) == []
    make_folder(out, "other")
    assert (out / "a.txt").stat().st_ino != again.st_ino
    assert (out / "a.txt").read_text() == "other"


def raising_of_link(*where, **how):
    raise NotImplementedError


def test_a_folder_in_the_way_of_a_file_and_a_file_in_the_way_of_a_folder(tmp_path):
    out = tmp_path / "out"
    make_folder(out, "earlier")
    (out / "a.txt").unlink()
    (out / "a.txt").mkdir()
    (out / "a.txt" / "mine").write_text("mine")
    make_folder(out, "later")
    assert (out / "a.txt").read_text() == "later"
    assert (out / "a (kept).txt" / "mine").read_text() == "mine"


def test_other_names_beside_the_target_are_left_alone(tmp_path):
    """A backup of somebody's, and live work of another host on a shared drive."""
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    theirs = [tmp_path / f".out.{ended.pid}.backup", tmp_path / ".out.2024.backup"]
    theirs.append(unfinished_by(ended.pid, tmp_path / "out", host="0123456789ab"))
    own = unfinished_by(ended.pid, tmp_path / "out")
    for place in [*theirs, own]:
        place.mkdir()
        (place / "work.txt").write_text("work")
    make_folder(tmp_path / "out", "later")
    assert all((place / "work.txt").exists() for place in theirs)
    assert not own.exists()


def test_permissions_stay_and_the_umask_counts(tmp_path):
    make_folder(tmp_path / "out", "earlier")
    files.write_text(tmp_path / "private.txt", "x")
    (tmp_path / "private.txt").chmod(0o640)
    (tmp_path / "out").chmod(0o710)
    make_folder(tmp_path / "out", "later")
    files.write_text(tmp_path / "private.txt", "y")
    assert mode_of(tmp_path / "private.txt") == 0o640 and mode_of(tmp_path / "out") == 0o710
    before = os.umask(0o077)
    try:
        files.write_text(tmp_path / "new.txt", "x")
        make_folder(tmp_path / "new", "x")
    finally:
        os.umask(before)
    assert mode_of(tmp_path / "new.txt") == 0o600 and mode_of(tmp_path / "new") == 0o700


def test_a_linked_target_stays_a_link(tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "a.txt").write_text("earlier")
    (tmp_path / "a.txt").symlink_to(tmp_path / "elsewhere" / "a.txt")
    make_folder(tmp_path / "elsewhere" / "real", "earlier")
    (tmp_path / "out").symlink_to(tmp_path / "elsewhere" / "real")
    files.write_text(tmp_path / "a.txt", "later")
    make_folder(tmp_path / "out", "later")
    assert (tmp_path / "a.txt").is_symlink() and (tmp_path / "out").is_symlink()
    assert (tmp_path / "elsewhere" / "a.txt").read_text() == "later"
    assert (tmp_path / "elsewhere" / "real" / "a.txt").read_text() == "later"


def itself(folder):
    (folder / "loop").symlink_to("loop")
    return folder / "loop"


def pipe(folder):
    os.mkfifo(folder / "pipe")
    return folder / "pipe"


@pytest.mark.parametrize("write", [files.write_text, lambda path, text: make_folder(path, text)])
@pytest.mark.parametrize(
    "place",
    [
        lambda folder: folder / ("n" * 300),
        lambda folder: f"{folder}/a\x00b",
        itself,
        pipe,
        lambda folder: Path("/proc/none"),
    ],
    ids=["long", "NUL", "loop", "pipe", "no place"],
)
def test_places_that_are_none_are_refused_in_words(tmp_path, place, write):
    with pytest.raises(FileError) as told:
        write(place(tmp_path), "x")
    assert 20 < len(str(told.value)) < 400 and "Errno" not in str(told.value)
    assert [name for name in names(tmp_path) if "unfinished" in name] == []


def test_a_full_disk_is_told_and_leaves_the_earlier_state(tmp_path, monkeypatch):
    make_folder(tmp_path / "out", "earlier")
    files.write_text(tmp_path / "b.txt", "earlier")

    def full(*arguments, **more):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(FileError, match="No space left"):
        make_folder(tmp_path / "out", "later")
    with pytest.raises(FileError, match="No space left"):
        files.write_text(tmp_path / "b.txt", "later")
    monkeypatch.undo()
    assert (tmp_path / "out" / "a.txt").read_text() == "earlier"
    assert (tmp_path / "b.txt").read_text() == "earlier"
    assert leftovers(tmp_path) == []


def test_a_file_protected_against_writing_is_not_replaced(tmp_path, monkeypatch):
    (tmp_path / "a.txt").write_text("mine")
    monkeypatch.setattr(os, "access", lambda path, kind: False)
    with pytest.raises(FileError, match="protected against writing"):
        files.write_text(tmp_path / "a.txt", "later")


def test_only_a_file_of_the_same_making_is_written_over(tmp_path):
    files.write_text(tmp_path / "new.html", "<!-- ours -->", only_over="ours")
    files.write_text(tmp_path / "new.html", "<!-- ours --> later", only_over="ours")
    (tmp_path / "thesis.html").write_text("years of work")
    with pytest.raises(FileError, match="not made by this command"):
        files.write_text(tmp_path / "thesis.html", "<!-- ours -->", only_over="ours")
    assert (tmp_path / "thesis.html").read_text() == "years of work"


def test_a_second_run_on_a_folder_waits_and_then_refuses_in_words(tmp_path, monkeypatch):
    script = "import sys, time\nfrom motorlearn import files\n"
    script += "with files.new_folder(sys.argv[1], mark='m') as work:\n"
    script += "    print('in', flush=True); time.sleep(60)"
    first = subprocess.Popen(
        [sys.executable, "-c", script, str(tmp_path / "out")], stdout=subprocess.PIPE, text=True
    )
    try:
        assert first.stdout.readline() == "in\n"
        monkeypatch.setattr(files.unfinished.locked.__wrapped__, "__kwdefaults__", {"wait": 0.2})
        with pytest.raises(FileError, match="another run is writing there"):
            make_folder(tmp_path / "out", "second")
    finally:
        first.kill()
        first.communicate()
    make_folder(tmp_path / "out", "third")
    assert leftovers(tmp_path) == [] and names(tmp_path / "out") == [LISTED, "a.txt"]


def test_json_nested_without_end_is_refused():
    for content in ("[" * 200_000, '{"a":' * 100_000, b"\xff", "1" * 10_000, ""):
        with pytest.raises(FileError, match="the page is damaged"):
            files.parsed_json(content, "the page")


def test_a_signature_is_the_users_own(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "one"))
    signed = signature(b"as written")
    assert is_signed(b"as written", signed) and not is_signed(b"as altered", signed)
    secret = tmp_path / "one" / "motorlearn" / "signing-key"
    assert stat.S_IMODE(secret.stat().st_mode) == 0o600
    assert signed == hmac.new(secret.read_bytes(), b"as written", "sha256").hexdigest()
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "two"))
    assert not is_signed(b"as written", signed)


@pytest.mark.parametrize("secret", [b"", b"short", None])
def test_without_a_secret_nothing_is_signed_and_nothing_believed(tmp_path, monkeypatch, secret):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    place = tmp_path / "motorlearn"
    if secret is None:
        place.write_text("a file where the folder would be")
    else:
        place.mkdir()
        (place / "signing-key").write_bytes(secret)
    assert signature(b"as written") == ""
    empty = hmac.new(b"", b"as written", "sha256").hexdigest()
    assert not any(is_signed(b"as written", signed) for signed in ("", empty, "\ud800"))
