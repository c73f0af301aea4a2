"""Files of the class: saved whole, merged with checks, analysed as any study."""

import pandas as pd
import pytest
from aiming_players import play

import motorlearn as ml
from motorlearn.exceptions import FileError
from motorlearn.teaching.aiming import AimingTask, merge_class, save_sitting, write_class_study


@pytest.fixture
def folder(tmp_path):
    for seat in range(1, 9):
        save_sitting(play(seat, noise=1), tmp_path)
    return tmp_path


def rules(merged):
    return dict(zip(merged.problems["file"], merged.problems["rule"]))


def test_a_clean_class_merges_without_a_word(folder):
    merged = merge_class(folder, class_seed=1)
    assert merged.problems.empty and merged.left_out.empty
    assert len(merged.table) == 8 * 102
    assert merged.participants["group"].value_counts().to_dict() == {"blocked": 4, "random": 4}
    assert "Seats by group" in str(merged)


def test_the_class_study_reads_as_any_study(folder, tmp_path):
    merged = merge_class(folder, class_seed=1)
    study = ml.read_study(write_class_study(merged, tmp_path / "class"))
    assert not (study.problems["severity"] == "error").any(), study.problems.to_string()
    scores = ml.score_trials(study.trials.table, ["participant", "phase"])
    assert len(scores) == 8 * 5


def test_unfinished_sittings_are_kept_and_noted(folder):
    save_sitting(play(3, pushes=80, noise=1), folder)
    merged = merge_class(folder, class_seed=1)
    assert rules(merged) == {"class-experiment-S003.csv": "not finished"}
    assert not merged.participants.set_index("participant").loc["S003", "complete"]


def test_copies_count_once_and_rival_files_are_set_aside(folder):
    (folder / "again").mkdir()
    save_sitting(play(2, noise=1), folder / "again")
    save_sitting(play(5, noise=2), folder / "again")
    merged = merge_class(folder, class_seed=1)
    assert set(rules(merged).values()) == {"copy of another file", "two students on one seat"}
    assert merged.participants["participant"].tolist() == [
        "S001", "S002", "S003", "S004", "S006", "S007", "S008",
    ]  # fmt: skip
    assert merged.left_out["reason"].tolist() == ["two students on one seat"] * 2
    assert merged.left_out["participant"].tolist() == ["S005"] * 2


def change(folder, seat, edit):
    file = folder / f"class-experiment-S{seat:03d}.csv"
    table = pd.read_csv(file)
    edit(table).to_csv(file, index=False)


@pytest.mark.parametrize(
    ("edit", "rule"),
    [
        (lambda t: t.assign(hit=1), "contradicts itself"),
        (lambda t: t.assign(radial_error=t["radial_error"] / 2), "contradicts itself"),
        (lambda t: t.assign(group="random" if t["group"][0] == "blocked" else "blocked"),
         "not as planned"),
        (lambda t: t.iloc[::-1], "not as planned"),
        (lambda t: t.drop(columns="x"), "columns changed"),
        (lambda t: t.assign(name="somebody"), "columns changed"),
        (lambda t: t.assign(x=t["x"].astype(str).replace("0.1", "") + "a"), "not a number"),
        (lambda t: t.assign(feedback=""), "not a whole number"),
        (lambda t: t.assign(class_seed="inf"), "not a whole number"),
        (lambda t: t.assign(session=1.5), "not a whole number"),
        (lambda t: t.assign(class_seed=2), "another class"),
        (lambda t: t.assign(participant="someone"), "not one seat"),
        (lambda t: t.iloc[:0], "columns changed"),
    ],
)  # fmt: skip
def test_a_changed_file_is_set_aside_with_its_reason(folder, edit, rule):
    change(folder, 6, edit)
    merged = merge_class(folder, class_seed=1)
    assert rules(merged) == {"class-experiment-S006.csv": rule}
    assert "S006" not in set(merged.table["participant"])
    assert merged.left_out["reason"].tolist() == [rule]


@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00\x01", b'"' * 50, b"a,b\n1,2,3\n4,5,6,7\n"])
def test_rubbish_is_set_aside(folder, content):
    (folder / "class-experiment-S099.csv").write_bytes(content)
    merged = merge_class(folder, class_seed=1)
    assert list(rules(merged)) == ["class-experiment-S099.csv"]
    assert len(merged.table) == 8 * 102


def test_an_empty_folder_says_what_to_collect(tmp_path):
    with pytest.raises(FileError, match=r"class-experiment-S\*\.csv"):
        merge_class(tmp_path, class_seed=1)


# The face without a browser ---------------------------------------------------------------------


class Clock:
    now = 0.0

    def __call__(self):
        return self.now


def report(task, **content):
    task._hear(task, content, None)


def test_the_face_saves_every_push_and_forgets_on_withdrawal(tmp_path):
    task = AimingTask(1, class_seed=1, folder=tmp_path, clock=Clock())
    file = tmp_path / "class-experiment-S001.csv"
    assert task.screen["page"] == "consent" and not file.exists()
    report(task, event="agree")
    report(task, event="push", direction=1.0, speed=700.0, time=0.3, device="keyboard")
    assert task.screen["made"] == 1 and len(pd.read_csv(file)) == 1
    report(task, event="push", direction=1.0, speed=1.0, time=0.3, device="keyboard")
    report(task, event="push", direction="left")
    report(task, event="agree")
    assert task.screen["made"] == 1
    report(task, event="withdraw")
    assert task.screen["page"] == "left" and not file.exists()


def test_the_next_screen_is_there_before_the_outcome_is_told(tmp_path, monkeypatch):
    task = AimingTask(1, class_seed=1, folder=tmp_path, clock=Clock())
    report(task, event="agree")
    told = []
    monkeypatch.setattr(task, "send", lambda content: told.append((task.screen["made"], content)))
    report(task, event="push", direction=1.0, speed=700.0, time=0.3, device="keyboard")
    assert [(made, content["kind"]) for made, content in told] == [(1, "outcome")]


def test_a_seat_that_was_used_is_not_overwritten(tmp_path):
    save_sitting(play(1, pushes=5), tmp_path)
    with pytest.raises(FileError, match="S001"):
        AimingTask(1, class_seed=1, folder=tmp_path)
    with pytest.raises(FileError, match="no such folder"):
        AimingTask(1, class_seed=1, folder=tmp_path / "absent")


def test_a_second_sitting_takes_up_where_the_file_ends(tmp_path):
    played = play(3, pushes=78, noise=1)
    file = save_sitting(played, tmp_path)
    clock, saved = Clock(), file.stat().st_mtime
    clock.now = saved + 60
    task = AimingTask(3, class_seed=1, folder=tmp_path, resume=True, clock=clock)
    assert task.screen["page"] == "pause"
    clock.now = saved + 7 * 86_400
    report(task, event="look")
    assert (task.screen["page"], task.screen["phase"]) == ("floor", "retention")
    report(task, event="push", direction=1.0, speed=700.0, time=0.3, device="mouse")
    table = pd.read_csv(file)
    pd.testing.assert_frame_equal(
        table.head(78), played.records(), check_dtype=False, check_exact=False, atol=0.11
    )
    assert table["elapsed"].diff().iloc[-1] == pytest.approx(7 * 86_400, abs=1)
    found = merge_class(tmp_path, class_seed=1).problems
    assert found["rule"].tolist() == ["not finished", "retention at another time"]
    assert found["value"].tolist() == ["23 pushes", "7.0 days"]


def test_a_file_of_somebody_else_is_not_taken_up(tmp_path):
    with pytest.raises(FileError, match="no file"):
        AimingTask(3, class_seed=1, folder=tmp_path, resume=True)
    save_sitting(play(3, class_seed=2, pushes=5), tmp_path)
    with pytest.raises(FileError, match="another class"):
        AimingTask(3, class_seed=1, folder=tmp_path, resume=True)


def test_an_exported_page_shows_the_tasks(tmp_path):
    data, _ = AimingTask(1, class_seed=1, folder=tmp_path)._repr_mimebundle_()
    assert "data:image/png;base64" in data["text/html"] and "Three floors" in data["text/html"]
