"""A study in many files: taken in by one call, every file accounted for, every row found again."""

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

import motorlearn as ml
from motorlearn.commands import app
from motorlearn.design import ImportRecipe
from motorlearn.exceptions import FileError
from motorlearn.trials import take_in
from motorlearn.trials.importing.gathering import gather_files, guess_name_parts

PHASES = {1: 6, 2: 24, 3: 6}


def rows(person, session):
    """Trials of one person and session; practice numbers its trials anew in each block of 6."""
    rng = np.random.default_rng([person, session])
    trial = np.arange(PHASES[session]) % 6 + 1
    return pd.DataFrame(
        {
            "Grp": f"{1 + person % 2}.000",
            "sID": f"{person}.000",
            "Phase": f"{session}.000",
            "Trial": [f"{n}.000" for n in trial],
            "S/L": rng.normal(0, 20, len(trial)).round(3),
            "L/R": rng.normal(0, 20, len(trial)).round(3),
        }
    )


@pytest.fixture
def folder(tmp_path):
    """Files of 8 people and 3 sessions, a folder a session."""
    place = tmp_path / "pushes"
    for session in PHASES:
        (place / f"Session{session}").mkdir(parents=True)
        for person in range(1, 9):
            file = place / f"Session{session}" / f"s{person:02d}session{session}data.txt"
            rows(person, session).to_csv(file, sep="\t", index=False)
    return place


def problems(study, severity):
    found = study.problems[study.problems["severity"] == severity]
    return found.groupby("rule").size().to_dict()


def test_a_folder_starts_a_study(folder, tmp_path):
    found = take_in(folder, tmp_path / "new")
    assert found.recipe.name_parts == "s{participant}session{session}data"
    recipe = found.recipe
    assert (recipe.count, recipe.blocks, recipe.file) == (24, "restarts", "pushes")
    design, table = found.study.design, found.study.trials.table
    assert design.phases == ("pretest", "acquisition", "retention")
    assert (design.practice[0].blocks, design.practice[0].trials_per_block) == (4, 6)
    assert [test.trials for test in design.tests] == [6, 6]
    assert len(table) == 8 * 36 and table["participant"].nunique() == 8
    assert set(table["participant"]) == set("12345678")
    assert problems(found.study, "error") == {}
    asked = " ".join(found.proposal.questions)
    for word in ("1 = pretest", "begin anew", "outcome", "How long after", "groups called"):
        assert word in asked
    wanted = pd.concat([rows(n, s) for s in PHASES for n in range(1, 9)])["S/L"]
    assert sorted(table["y"]) == sorted(wanted)


def test_the_same_as_pattern_list_and_files_of_the_plan(folder, tmp_path):
    whole = take_in(folder, tmp_path / "a").study.trials.table
    pattern = take_in(f"{folder}/*/*.txt", tmp_path / "b").study.trials.table
    files = sorted(str(path) for path in folder.rglob("*.txt"))
    listed = take_in(files, tmp_path / "c").study.trials.table
    pd.testing.assert_frame_equal(whole, pattern)
    pd.testing.assert_frame_equal(whole, listed)
    plan = (tmp_path / "a" / "study.toml").read_text()
    named = ", ".join(f'"pushes/Session{n}"' for n in PHASES)
    (tmp_path / "a" / "study.toml").write_text(
        plan.replace('file = "pushes"', f"files = [{named}]").replace("count = 24\n", "")
    )
    again = ml.read_study(tmp_path / "a").trials.table
    pd.testing.assert_frame_equal(whole, again)


def test_standard_columns_in_a_folder_need_no_recipe(folder, tmp_path):
    found = take_in(folder, tmp_path / "new").study
    home = tmp_path / "plain"
    (home / "parts").mkdir(parents=True)
    for person, part in found.trials.table.groupby("participant"):
        part.to_csv(home / "parts" / f"{person}.csv", index=False)
    plan = (tmp_path / "new" / "study.toml").read_text().partition("[import]")[0]
    (home / "study.toml").write_text(plan + '[files]\ntrials = "parts/*.csv"\n')
    read = ml.read_study(home)
    assert len(read.trials.table) == len(found.trials.table)
    assert problems(read, "error") == {}
    assert "parts/*.csv (8 files)" in ml.trials.study_sums(read)


def test_every_row_knows_its_file(folder, tmp_path):
    file = folder / "Session2" / "s03session2data.txt"
    text = file.read_text().splitlines()
    text[4] = text[4].rsplit("\t", 1)[0] + "\tmuch"
    file.write_text("\n".join(text))
    study = take_in(folder, tmp_path / "new").study
    wrong = study.problems[study.problems["severity"] == "error"].iloc[0]
    assert (wrong["sheet"], wrong["row"], wrong["value"]) == (
        "pushes/Session2/s03session2data.txt",
        5,
        "much",
    )


def hostile(folder, tmp_path, change):
    """What is said after the files were changed behind a study that was taken in."""
    home = tmp_path / "new"
    take_in(folder, home)
    change(home / "pushes")
    return ml.read_study(home)


def one(study, rule):
    mine = study.problems[study.problems["rule"] == rule]
    assert len(mine) == 1, study.problems[["rule", "value"]]
    return mine.iloc[0]


def test_a_missing_file_is_named(folder, tmp_path):
    gone = "Session3/s05session3data.txt"
    study = hostile(folder, tmp_path, lambda place: (place / gone).unlink())
    assert one(study, "no file for a participant")["value"] == "5: session 3"
    assert "24 files and there are 23 now" in one(study, "original file has changed")["advice"]
    assert len(study.trials.table) == 8 * 36 - 6


def test_two_files_of_one_person_and_session_are_one_error(folder, tmp_path):
    def double(place):
        source = place / "Session1" / "s02session1data.txt"
        (place / "Session3" / source.name).write_text(source.read_text())

    study = hostile(folder, tmp_path, double)
    said = one(study, "two files of the same")
    assert "s02session1data.txt and pushes/Session3/s02session1data.txt" in said["value"]
    assert "duplicate trial" not in set(study.problems["rule"])
    assert len(study.trials.table) == 8 * 36 + 6


def test_a_file_of_another_study_is_set_aside_whole(folder, tmp_path):
    def add(place):
        (place / "Session1" / "s09session1data.txt").write_text("colour\tweight\nred\t3\n")

    study = hostile(folder, tmp_path, add)
    assert (
        "colour, weight" in one(study, "file set aside")["advice"]
        or "Grp" in (one(study, "file set aside")["advice"])
    )
    assert len(study.trials.table) == 8 * 36
    assert "the whole file" in set(study.trials.set_aside["content"])


def test_a_name_without_its_parts_is_set_aside(folder, tmp_path):
    def rename(place):
        (place / "Session1" / "s04session1data.txt").rename(place / "Session1" / "copy.txt")

    study = hostile(folder, tmp_path, rename)
    assert "does not fit name_parts" in one(study, "file set aside")["advice"]
    assert one(study, "no file for a participant")["value"] == "4: session 1"


def test_a_name_that_contradicts_its_rows(folder, tmp_path):
    def change(place):
        file = place / "Session1" / "s04session1data.txt"
        file.write_text(file.read_text().replace("\t4.000\t1.000", "\t7.000\t1.000"))

    study = hostile(folder, tmp_path, change)
    assert one(study, "file name contradicts its rows")["value"] == "7 in the rows, 04 in the name"


def test_nothing_there_is_one_sentence(tmp_path):
    with pytest.raises(FileError, match="no such file, folder or pattern"):
        take_in(tmp_path / "nowhere*.csv", tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_short_rows_are_asked_about_once(folder, tmp_path):
    for file in folder.rglob("s0[12]*.txt"):
        text = file.read_text().splitlines()
        text[2] = "\t".join(text[2].split("\t")[:4])
        file.write_text("\n".join(text))
    found = take_in(folder, tmp_path / "new")
    assert found.recipe.short_rows == "empty"
    assert one(found.study, "rows without their last values")["value"] == "6 rows of 6 files"
    assert problems(found.study, "error") == {}
    assert found.study.trials.table["x"].isna().sum() == 6


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("name_parts", "s{participant}{session}"),
        ("name_parts", "session"),
        ("name_parts", "s{id}-{id}"),
        ("files", ("a.csv",)),
    ],
)
def test_recipes_that_cannot_be_are_refused(key, value):
    with pytest.raises(ValueError, match=r"name_parts|name the source once"):
        ImportRecipe.model_validate({"file": "a", key: value})


def test_names_are_guessed_only_where_letters_tell():
    assert guess_name_parts(["p1_day2.csv", "p2_day2.csv"]) == "p{participant}_day{session}"
    assert guess_name_parts(["2024-01.csv", "2024-02.csv"]) == ""
    assert guess_name_parts(["p1.csv", "x2.csv"]) == ""


def test_one_file_stays_one_file(tmp_path):
    file = tmp_path / "a.csv"
    file.write_text("id,phase,time\n1,pretest,2.5\n")
    assert not gather_files([file]).many


def test_the_command_starts_a_study_and_names_codes(folder, tmp_path):
    home = tmp_path / "new"
    words = ["--outcome", "radial_error", "--unit", "cm", "--groups", "1=red,2=blue"]
    done = CliRunner().invoke(app, ["import", str(folder), "--study", str(home), *words])
    assert done.exit_code == 0, done.output
    assert "Written to a new study.toml" in done.output
    study = ml.read_study(home)
    assert study.design.group_names == ("red", "blue")
    assert study.design.units == {"length": "cm"}
    primary = ml.analyse_study(study).primary.iloc[0]
    assert primary["phase"] == "retention" and np.isfinite(primary["estimate"])
