"""The page of a class and its server: what is inside, what is refused, what goes over the wire."""

import json
import re
import threading
import urllib.error
import urllib.request

import pytest
from typer.testing import CliRunner

from motorlearn.commands import app
from motorlearn.exceptions import FileError, InputError
from motorlearn.teaching import Classroom, ClassServer, read_classroom, write_classroom
from motorlearn.teaching.aiming import make_programme, rehearse_sitting
from motorlearn.teaching.classroom import serving
from motorlearn.teaching.classroom.page import classroom_page
from motorlearn.trials.sharing.data_package import table_bytes

SEED = 7


def data_of(page):
    return json.loads(re.search(r'id="data">(.*?)</script>', page)[1])


def test_the_page_holds_every_programme_as_the_notebook_has_it():
    data = data_of(classroom_page(Classroom(SEED, 6)))
    for seat in range(1, 7):
        programme = make_programme(seat, class_seed=SEED)
        group, order = data["programmes"][seat - 1]
        assert data["groups"][group] == programme.group
        for push, step, task in zip(programme.pushes, data["steps"], order, strict=True):
            part = data["parts"][step[0]]
            told = (part["phase"], part["session"], *step[1:], data["tasks"][int(task)])
            told = (*told, part["feedback"], part["farther"])
            planned = (push.phase, push.session, push.block, push.trial, push.task)
            assert told == (*planned, push.feedback, push.farther)


def test_the_page_forbids_connections_and_has_no_address_in_it():
    page = classroom_page(Classroom(SEED, 6))
    assert "default-src 'none'" in page and "connect-src 'none'" in page
    assert not re.findall(r"https?://|src=|@import|url\(", page)
    assert "connect-src 'self'" in classroom_page(Classroom(SEED, 6), sends=True)


@pytest.mark.slow
def test_the_largest_class_stays_below_the_limit_of_size():
    assert len(classroom_page(Classroom(SEED, 200)).encode()) < 300_000


def test_consent_and_cautions_are_told():
    words = json.dumps(data_of(classroom_page(Classroom(SEED, 2))))
    for told in ("no name", "free", "stop at any time", "under age", "Nothing is sent anywhere"):
        assert told in words


def test_a_class_is_read_back_and_not_overwritten_by_another(tmp_path):
    folder = tmp_path / "monday"
    write_classroom(folder, seats=4, class_seed=SEED, retention_days=7)
    (folder / "results" / "kept.csv").write_text("mine")
    assert read_classroom(folder) == Classroom(SEED, 4, 7)
    write_classroom(folder, seats=4, class_seed=SEED, retention_days=7)
    assert (folder / "results" / "kept.csv").read_text() == "mine"
    with pytest.raises(FileError, match="other seats"):
        write_classroom(folder, seats=5, class_seed=SEED, retention_days=7)
    with pytest.raises(FileError, match="in use"):
        write_classroom(folder / "results", seats=4, class_seed=SEED)
    (folder / "class.json").write_text("{}")
    with pytest.raises(FileError, match="changed"):
        read_classroom(folder)


@pytest.mark.parametrize("wrong", [(SEED, 0), (SEED, 201), (-1, 4), (SEED, 4, 0.1), (SEED, 4, 999)])
def test_absurd_classes_are_refused(wrong):
    with pytest.raises(InputError):
        Classroom(*wrong)


def test_the_command_writes_a_class_and_takes_it_up_again(tmp_path):
    folder = str(tmp_path / "monday")
    first = CliRunner().invoke(app, ["classroom", folder, "--seats", "4", "--seed", "7"])
    assert first.exit_code == 0 and "class-experiment.html" in first.output
    again = CliRunner().invoke(app, ["classroom", folder])
    assert again.exit_code == 0 and again.output == first.output
    half = CliRunner().invoke(app, ["classroom", folder + "2", "--seats", "4"])
    assert half.exit_code != 0 and "--seed" in str(half.exception)


# The server, on this computer's own address only. -------------------------------------------------


@pytest.fixture
def server(tmp_path):
    folder = write_classroom(tmp_path / "monday", seats=4, class_seed=SEED).parent
    with ClassServer(folder, address="127.0.0.1", port=0) as made:
        thread = threading.Thread(target=made.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        yield made
        made.shutdown()
        thread.join()


def ask(server, path="", content=None, **headers):
    headers = {name.replace("_", "-"): value for name, value in headers.items()}
    request = urllib.request.Request(server.address + path, data=content, headers=headers)
    try:
        with urllib.request.urlopen(request, timeout=10) as answer:
            return answer.status, answer.read().decode(), answer.headers
    except urllib.error.HTTPError as problem:
        return problem.code, problem.read().decode(), problem.headers


def pushes(seat, seed=1, made=102, class_seed=SEED):
    sitting = rehearse_sitting(seat, class_seed=class_seed, seed=seed, pushes=made)
    return table_bytes(sitting.records())


def test_the_server_gives_the_page_and_the_address_to_project(server):
    status, page, headers = ask(server)
    assert status == 200 and page == classroom_page(server.room, sends=True)
    assert headers["X-Content-Type-Options"] == "nosniff" and headers["Server"].strip() == "class"
    assert server.address in ask(server, "screen")[1]
    for nowhere in ("class.json", "../class.json", "results/", "favicon.ico"):
        assert ask(server, nowhere)[0] == 404


def test_results_are_kept_whole_under_their_seat_and_never_overwritten(server):
    assert ask(server, "result", pushes(2, made=30))[:2] == (
        200, "Received: seat 2, 30 pushes. Thank you.",
    )  # fmt: skip
    for _ in range(2):
        assert ask(server, "result", pushes(2))[0] == 200
    names = sorted(file.name for file in server.results.iterdir() if file.suffix == ".csv")
    assert names == ["class-experiment-S002-2.csv", "class-experiment-S002.csv"]
    assert (server.results / names[0]).read_bytes() == pushes(2)
    assert server.received() == 1 and "1 of 4 seats" in ask(server, "screen")[1]


def test_too_much_too_often_foreign_or_broken_is_not_kept(server, monkeypatch):
    assert ask(server, "result", b"x" * 70_000)[0] == 413
    assert ask(server, "result", b"a,b\n1,2\n")[0] == 400
    assert "another class" in ask(server, "result", pushes(1, class_seed=8))[1]
    assert "no such seat" in ask(server, "result", pushes(9))[1]
    assert ask(server, "elsewhere", pushes(1))[0] == 404
    assert ask(server, "result", pushes(1), Origin="http://evil.example")[0] == 404
    assert ask(server, "result", pushes(1), Host="evil.example")[0] == 404
    assert not list(server.results.glob("*.csv"))
    monkeypatch.setattr(serving, "_STATES", 2)
    answers = [ask(server, "result", pushes(1, made=n))[0] for n in (3, 4, 5)]
    assert answers == [200, 200, 429]


def test_without_uploads_nothing_is_taken(tmp_path):
    folder = write_classroom(tmp_path / "monday", seats=4, class_seed=SEED).parent
    with ClassServer(folder, address="127.0.0.1", port=0, uploads=False) as made:
        thread = threading.Thread(target=made.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        assert ask(made, "result", pushes(1))[0] == 404
        assert "connect-src 'none'" in ask(made)[1]
        made.shutdown()
        thread.join()


def test_an_address_that_cannot_be_had_is_one_sentence(server, tmp_path):
    port = server.server_address[1]
    with pytest.raises(FileError, match="cannot be had"):
        ClassServer(tmp_path / "monday", address="127.0.0.1", port=port)
    with pytest.raises(FileError, match="cannot be had"):
        ClassServer(tmp_path / "monday", address="no.such.address.invalid", port=0)


def test_the_qr_code_is_drawn_where_segno_is_there(monkeypatch):
    monkeypatch.setattr(serving, "segno", None)
    assert serving.qr_picture("http://127.0.0.1:8765/") == ""


def test_the_qr_code_is_a_picture_inside_the_page():
    assert serving.qr_picture("http://127.0.0.1:8765/").startswith("<svg")
