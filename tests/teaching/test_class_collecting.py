"""What a class hands in: merged into a study that reads as any other, and every mishap named."""

import re

import pandas as pd
import pytest
from typer.testing import CliRunner

import motorlearn as ml
from motorlearn.commands import app
from motorlearn.exceptions import FileError, InputError
from motorlearn.teaching import collect_class, rehearse_class, write_classroom
from motorlearn.teaching.aiming import make_programme, rehearse_sitting, save_sitting
from motorlearn.teaching.aiming.pushes import ClassFrame, parse_pushes
from motorlearn.teaching.classroom.codes import write_code
from motorlearn.trials.sharing.data_package import table_bytes

SEED = 7


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    folder = tmp_path_factory.mktemp("played")
    rehearse_class(folder, seats=6, class_seed=SEED)
    return {file.name: file.read_bytes() for file in folder.iterdir()}


@pytest.fixture
def room(tmp_path, played):
    folder = tmp_path / "monday"
    write_classroom(folder, seats=6, class_seed=SEED)
    for name, content in played.items():
        (folder / "results" / name).write_bytes(content)
    return folder


def code_of(seat, seed=1, pushes=102):
    sitting = rehearse_sitting(seat, class_seed=SEED, seed=seed, pushes=pushes)
    return write_code(sitting.records(), sitting.programme)


def seat_file(room, seat):
    return room / "results" / f"class-experiment-S{seat:03d}.csv"


def rules(merged):
    return merged.problems[["file", "rule"]].apply(tuple, axis=1).tolist()


def seats(merged):
    return merged.participants["participant"].tolist()


def test_a_clean_class_becomes_a_study_without_a_word(room):
    merged = collect_class(room)
    study = ml.read_study(room / "study")
    assert merged.problems.empty and len(study.trials.table) == 6 * 102
    assert not (study.problems["severity"] != "note").any(), study.problems.to_string()
    primary = ml.analyse_study(study).primary.iloc[0]
    assert (primary["n_group"], primary["n_reference"], primary["phase"]) == (3, 3, "retention")


def test_a_code_stands_beside_files_with_nearly_the_same_means(room):
    collect_class(room, out=room / "files")
    full = ml.read_study(room / "files").trials.table
    seat_file(room, 2).unlink()
    collect_class(room, [room / "results"], codes=[code_of(2)])
    coded = ml.read_study(room / "study").trials.table
    by = ["participant", "phase"]
    full, coded = (t.groupby(by, observed=True)["radial_error"].mean() for t in (full, coded))
    assert coded.index.equals(full.index) and (coded / full - 1).abs().max() < 0.006


@pytest.mark.slow
def test_codes_alone_and_codes_beside_files_give_the_same_answer(room):
    files = ml.analyse_study(_study(room, collect_class(room))).primary.iloc[0]
    seat_file(room, 2).unlink()
    mixed = collect_class(room, [room / "results"], codes=[code_of(2)])
    assert seats(mixed) == [f"S{seat:03d}" for seat in range(1, 7)]
    study = _study(room, mixed)
    assert {"hits", "attempts"} <= set(study.trials.table) and len(study.trials.table) == 6 * 7
    assert len(pd.read_csv(room / "study" / "pushes.csv")) == 5 * 102
    both = ml.analyse_study(study)
    assert both.primary["estimate"].iloc[0] == pytest.approx(files["estimate"], rel=0.08)
    codes = collect_class(room, codes=[code_of(seat) for seat in range(1, 7)])
    alone = ml.analyse_study(_study(room, codes)).primary.iloc[0]
    assert codes.table.empty and alone["estimate"] == pytest.approx(files["estimate"], rel=0.08)


def _study(room, merged):
    assert not merged.participants.empty
    study = ml.read_study(room / "study")
    assert not (study.problems["severity"] == "error").any(), study.problems.to_string()
    return study


def test_two_students_on_one_seat_are_named_set_aside_and_copied(room):
    other = save_sitting(rehearse_sitting(3, class_seed=SEED, seed=2), room.parent)
    rival = other.rename(room / "results" / "class-experiment-S003 (1).csv")
    merged = collect_class(room)
    assert {rule for _, rule in rules(merged)} == {"two students on one seat"}
    assert "S003" not in seats(merged) and merged.left_out["participant"].tolist() == ["S003"] * 2
    copies = {file.read_bytes() for file in (room / "study" / "set-aside").iterdir()}
    assert copies == {rival.read_bytes(), seat_file(room, 3).read_bytes()}
    assert "S003" in (room / "study" / "problems.csv").read_text()
    kept = collect_class(room, both=True)
    assert {"S003", "S003-2"} <= set(seats(kept)) and len(kept.table) == 7 * 102
    assert kept.left_out.empty and set(kept.problems["severity"]) == {"doubt"}


def test_a_seat_twice_counts_once_with_its_fuller_state(room):
    early = rehearse_sitting(4, class_seed=SEED, seed=1, pushes=40)
    save_sitting(early, room.parent).rename(room / "results" / "class-experiment-S004 early.csv")
    copy = room / "results" / "class-experiment-S005 copy.csv"
    copy.write_bytes(seat_file(room, 5).read_bytes())
    merged = collect_class(room, [room / "results"], codes=[code_of(6), code_of(6, pushes=30)])
    assert len(merged.table) == 6 * 102 and merged.cells.empty and merged.left_out.empty
    assert sorted({rule for _, rule in rules(merged)}) == [
        "copy of another file", "earlier state of another file", "not finished",
    ]  # fmt: skip


def test_half_a_file_keeps_its_whole_pushes_wherever_it_is_cut(room, played):
    content = played["class-experiment-S001.csv"]
    frame = ClassFrame(SEED)
    whole = parse_pushes(content, frame)[0]
    for end in [*range(len(content) - 90, len(content) - 2, 9), 4000]:
        table, faults = parse_pushes(content[:end], frame)
        pushes = content[:end].count(b"\r\n") - 1
        assert table is not None, (end, faults)
        assert len(table) - pushes in (0, 1)
        pd.testing.assert_frame_equal(table, whole.head(len(table)))
    file = seat_file(room, 1)
    file.write_bytes(content[:4000])
    merged = collect_class(room)
    found = merged.problems.set_index("rule")
    assert set(found.index) == {"half a file", "not finished"} and "S001" in seats(merged)
    assert "whole pushes before it are kept" in found.loc["half a file", "advice"]


def test_a_code_with_a_typo_is_named_with_its_group_and_kept_aside(room):
    seat_file(room, 2).unlink()
    code = code_of(2)
    wrong = code[:-1] + ("0" if code[-1] != "0" else "1")
    (room / "results" / "codes.txt").write_text(f"# read aloud\nseat 2: {wrong}\n\n")
    merged = collect_class(room)
    assert rules(merged) == [("codes.txt line 2", "the code has a typing error")]
    assert "character 5 of group 6" in merged.problems["advice"].iloc[0]
    assert code[-5:] in merged.problems["advice"].iloc[0]
    assert wrong in (room / "study" / "set-aside" / "codes.txt").read_text()
    assert seats(merged) == ["S001", "S003", "S004", "S005", "S006"]


def test_a_file_of_another_class_or_seat_or_of_nothing_is_named(room):
    save_sitting(rehearse_sitting(2, class_seed=8, seed=1), room / "results")
    save_sitting(rehearse_sitting(60, class_seed=SEED, seed=1), room / "results")
    (room / "results" / "holiday.csv").write_text("a,b\n1,2\n")
    (room / "results" / "notes.pdf").write_text("not asked for")
    merged = collect_class(room)
    assert dict(rules(merged)) == {
        "class-experiment-S002.csv": "another class",
        "class-experiment-S060.csv": "no such seat",
        "holiday.csv": "columns changed",
    }
    assert "this class has 7" in merged.problems["advice"].iloc[0]


def test_times_that_jump_are_named_and_the_pushes_kept(room):
    def shift(seat, start, seconds):
        table = pd.read_csv(seat_file(room, seat))
        table.loc[start:, "elapsed"] += seconds
        seat_file(room, seat).write_bytes(table_bytes(table))

    shift(1, 30, -900)
    shift(2, 40, 7300)
    shift(3, 78, -200)
    merged = collect_class(room)
    found = merged.problems.set_index("file")
    assert found["rule"].tolist() == ["times that jump"] * 2 + ["retention at another time"]
    assert found["row"].tolist() == [32, 42, 80] and len(merged.table) == 6 * 102
    assert "put back" in found["advice"].iloc[0] and "2.0 h" in found["value"].iloc[1]
    assert "4 minutes to a day" in found["advice"].iloc[2]


def test_a_spreadsheet_that_saved_semicolons_and_commas_is_read(room):
    file = seat_file(room, 1)
    table = pd.read_csv(file)
    table.to_csv(file, index=False, sep=";", decimal=",")
    merged = collect_class(room)
    assert merged.problems.empty and len(merged.table) == 6 * 102


def test_nothing_absent_or_everything_wrong_is_said_in_one_sentence(room, tmp_path):
    with pytest.raises(FileError, match="no such file"):
        collect_class(room, ["absent.csv"])
    with pytest.raises(FileError, match="holds no class experiment"):
        collect_class(tmp_path)
    write_classroom(tmp_path / "empty", seats=2, class_seed=1)
    with pytest.raises(FileError, match="nothing was handed in"):
        collect_class(tmp_path / "empty")
    with pytest.raises(InputError, match=r"no seat was kept.*another class"):
        collect_class(tmp_path / "empty", [seat_file(room, 1)])


def test_a_class_with_a_test_a_week_later_holds_the_plan_to_it(tmp_path):
    room = write_classroom(tmp_path / "week", seats=2, class_seed=1, retention_days=7).parent
    plan = ml.read_design(room)
    assert [test.interval_days for test in plan.tests] == [None, 0, 7, 7]
    programme = make_programme(1, class_seed=1, plan=plan)
    assert {push.session for push in programme.pushes if push.phase == "retention"} == {2}
    table = rehearse_sitting(1, class_seed=1, seed=1).records()
    table.loc[78:, "session"] = 2
    for days, expected in ((7, []), (3, ["retention at another time"])):
        table.loc[78:, "elapsed"] = table["elapsed"].iloc[77] + days * 86400 + range(24)
        seat_file(room, 1).write_bytes(table_bytes(table))
        assert [rule for _, rule in rules(collect_class(room))] == expected


def test_the_command_says_what_it_did_and_ends_with_1_where_something_is_aside(room):
    def run(*arguments):
        return CliRunner().invoke(app, arguments)

    made = run("collect", str(room))
    assert made.exit_code == 0 and "6 seats, 6 of them complete." in made.output
    (room / "results" / "holiday.csv").write_text("a,b\n1,2\n")
    made = run("collect", str(room), "--out", str(room.parent / "again"))
    assert made.exit_code == 1 and "columns changed" in made.output
    assert re.search(r"motorlearn report .*again", made.output)
