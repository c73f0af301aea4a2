"""Left-handed people: read, printed on the sheets, and nothing mirrored in silence."""

import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.plan import Answers, programme_text, write_plan, write_sheets
from motorlearn.trials import left_handed


@pytest.fixture
def folder(tmp_path):
    answers = Answers(title="Ring push", size=4, test_trials=5, seed=1)
    write_plan(tmp_path, answers, text=programme_text(answers))
    write_sheets(ml.read_design(tmp_path), tmp_path / "sheets", seed=1)
    return tmp_path


def say(folder, *hands):
    file = folder / "sheets" / "concealed" / "participants.csv"
    people = pd.read_csv(file, dtype=str)
    people.assign(hand=list(hands)).to_csv(file, index=False)
    return file


def test_the_hand_is_kept_when_sheets_are_written_again_and_stands_on_them(folder):
    file = say(folder, "right", "left", "", "right")
    write_sheets(ml.read_design(folder), folder / "sheets", seed=1)
    assert pd.read_csv(file)["hand"].fillna("").tolist() == ["right", "left", "", "right"]
    printed = folder / "sheets" / "print"
    for page in ("test_days.html", "sessions.html"):
        assert "P02: mirror cues, start and place" in (printed / page).read_text(encoding="utf-8")
    assert (printed / "learners.html").read_text(encoding="utf-8").count("<b>hand</b>: left") == 1
    study = ml.read_study(folder)
    assert left_handed(study.participants) == ("P02",)
    assert (study.problems["severity"] != "note").sum() == 0


def test_a_hand_that_cannot_be_read_is_named_by_its_cell(folder):
    say(folder, "right", "lft", "both", "L")
    found = ml.read_study(folder).problems.query("rule == 'hand not understood'").iloc[0]
    assert (found["row"], found["column"], found["value"]) == (3, "hand", "lft")


def test_sideways_errors_of_left_handers_are_not_mirrored_in_silence(tmp_path):
    plan = """
        [study]
        title = "Ring push"
        [[groups]]
        name = "all"
        [[tests]]
        phase = "pretest"
        trials = 2
        [[outcomes]]
        name = "radial_error"
        better = "lower"
        [files]
        participants = "participants.csv"
    """
    (tmp_path / "study.toml").write_text(plan)
    (tmp_path / "participants.csv").write_text("participant,hand\na,left\nb,right\n")
    rows = [f"{who},pretest,{n},{x},1" for who in "ab" for n, x in ((1, -3), (2, 4))]
    (tmp_path / "trials.csv").write_text("participant,phase,trial,x,y\n" + "\n".join(rows) + "\n")
    study = ml.read_study(tmp_path)
    found = study.problems.query("rule == 'left-hander, x not mirrored'")
    assert found["value"].tolist() == ["left"] and found["severity"].tolist() == ["note"]
    assert study.trials.table["x"].tolist() == [-3, 4, -3, 4]
