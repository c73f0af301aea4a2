"""The ratings sheet of the house is read back without a mapping, and unblinded by its key."""

import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.plan import Answers, write_plan, write_sheets

ITEMS = ("stance", "grip")


@pytest.fixture
def study(tmp_path):
    answers = Answers(groups=("all",), tasks=("straight",), size=3, blocks=1, trials=4)
    plan = write_plan(tmp_path / "mine", answers)
    text = plan.read_text(encoding="utf-8").replace(
        'trials = "trials.csv"', 'trials = "sheets/trials.csv"\nratings = "sheets/ratings.csv"'
    )
    text = text.replace("participants.csv", "sheets/concealed/participants.csv")
    plan.write_text(text, encoding="utf-8")
    write_sheets(ml.read_design(plan), plan.parent / "sheets", seed=4, items=ITEMS)
    trials = pd.read_csv(plan.parent / "sheets" / "trials.csv")
    trials.assign(radial_error=10.0, hit=1).to_csv(plan.parent / "sheets/trials.csv", index=False)
    ratings = pd.read_csv(plan.parent / "sheets" / "ratings.csv", dtype=str)
    ratings.assign(score=[str(i % 3) for i in range(len(ratings))]).to_csv(
        plan.parent / "sheets" / "ratings.csv", index=False
    )
    return plan.parent


def test_ratings_come_back_with_people_and_tests(study):
    back = ml.read_study(study)
    key = pd.read_csv(study / "sheets" / "concealed" / "clips.csv").set_index("clip")
    ratings = back.ratings
    assert ratings["participant"].tolist() == key.loc[ratings["clip"], "participant"].tolist()
    assert ratings["phase"].tolist() == key.loc[ratings["clip"], "phase"].tolist()
    assert set(ratings.columns) >= {"rater", "position", "item", "score"}
    assert not (back.problems["file"] == "ratings.csv").any(), back.problems.to_string()


def test_without_the_key_a_sentence_says_where_it_goes_and_the_study_is_read(study):
    (study / "sheets" / "concealed" / "clips.csv").unlink()
    back = ml.read_study(study)
    blind = back.problems[back.problems["rule"] == "ratings are still blind"]
    assert len(blind) == 1
    assert "concealed" in blind["advice"].iloc[0]
    assert back.ratings["participant"].isna().all()
    assert len(back.ratings) == len(pd.read_csv(study / "sheets" / "ratings.csv"))


def test_a_clip_that_is_not_in_the_key_is_named_by_its_cell(study):
    file = study / "sheets" / "ratings.csv"
    ratings = pd.read_csv(file, dtype=str)
    ratings.loc[0, "clip"] = "C999"
    ratings.to_csv(file, index=False)
    back = ml.read_study(study)
    wrong = back.problems[back.problems["rule"] == "clip not in the key"]
    assert wrong[["file", "row", "value"]].to_numpy().tolist() == [["ratings.csv", 2, "C999"]]
    assert back.ratings["participant"].isna().sum() == 1
    assert len(back.ratings) == len(ratings)


def test_a_score_without_a_rater_is_asked_about(study):
    path = study / "sheets" / "ratings.csv"
    ratings = pd.read_csv(path, dtype=str).assign(rater="A")
    ratings.loc[[1, 4], "rater"] = None
    ratings.loc[2, ["rater", "score"]] = None
    ratings.to_csv(path, index=False)
    problems = ml.read_study(study).problems
    found = problems[problems["rule"] == "rating without a rater"]
    assert found["row"].tolist() == [3, 6]
    assert set(found["severity"]) == {"doubt"} and set(found["column"]) == {"rater"}
