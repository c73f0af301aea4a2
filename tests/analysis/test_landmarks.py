"""``[landmarks]`` of a plan: from files of coordinates to scores beside those of raters."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.analysis import landmark_scores
from motorlearn.analysis.landmarks import _compared
from motorlearn.exceptions import DesignError, InputError
from motorlearn.results import Refused

PLAN = """
[study]
title = "Ring push"
[[groups]]
name = "all"
[[tests]]
phase = "pretest"
trials = 4
[[tests]]
phase = "retention"
trials = 4
interval_days = 7
[[outcomes]]
name = "hits"
better = "higher"
[files]
ratings = "ratings.csv"
participants = "participants.csv"
[checklist]
items = [{name = "arm opens"}, {name = "stance"}]
[landmarks]
folder = "clips"
rate = 100
unit = "cm"
view = "side"
least = 0.6
cutoff = 12
longest_gap = 3
release = "right wrist"
left_handed = ["P2"]
[[landmarks.quantities]]
name = "elbow at release"
kind = "joint angle"
landmarks = ["right shoulder", "right elbow", "right wrist"]
at = "release"
[[landmarks.items]]
item = "arm opens"
quantity = "elbow at release"
bands = [[110, 180, 2], [90, 110, 1]]
cue = "let the arm open"
"""
BENDS = {"c1": 70, "c2": 30, "c3": 20, "c4": 60, "c5": 40, "c6": 25}
OWNERS = {"c1": "P1", "c2": "P1", "c3": "P2", "c4": "P2", "c5": "P3", "c6": "P3"}


def push(bend, seed, *, left=False):
    """Coordinates of a push from the side, the elbow opening; a left-hander's in the mirror."""
    rng, time = np.random.default_rng(seed), np.arange(80) / 100
    turn = np.radians(bend + (170 - bend) / (1 + np.exp(-25 * (time - 0.4))))
    tracks = {"shoulder": np.tile([0.0, 140.0], (80, 1)), "elbow": np.tile([0.0, 110.0], (80, 1))}
    tracks["wrist"] = tracks["elbow"] + 27 * np.column_stack([np.sin(turn), np.cos(turn)])
    columns = {}
    for side in ("right", "left"):
        for name, track in tracks.items():
            moves = (side == "left") == left
            place = track if moves else np.broadcast_to(track[0], track.shape)
            place = place * (-1 if left else 1, 1) + rng.normal(0, 0.1, (80, 2))
            columns |= {f"{side} {name}_x": place[:, 0], f"{side} {name}_y": place[:, 1]}
            columns[f"{side} {name}_likelihood"] = 0.98
    return pd.DataFrame(columns).rename_axis("frame").reset_index()


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "study.toml").write_text(PLAN, "utf-8")
    (tmp_path / "clips").mkdir()
    for seed, (clip, bend) in enumerate(BENDS.items()):
        left = OWNERS[clip] in ("P2", "P3")
        push(bend, seed, left=left).to_csv(tmp_path / "clips" / f"{clip}.csv", index=False)
    people = pd.DataFrame({"participant": ["P1", "P2", "P3"], "group": "all",
                           "hand": ["right", "", "Left"]})  # fmt: skip
    people.to_csv(tmp_path / "participants.csv", index=False)
    rows = [
        {"participant": OWNERS[clip], "phase": "pretest", "clip": clip, "item": item,
         "rater": rater, "score": (i + j) % 3 if item == "stance" else min(2, (bend + 5 * j) // 30)}
        for i, (clip, bend) in enumerate(BENDS.items())
        for j, rater in enumerate("AB")
        for item in ("arm opens", "stance")
    ]  # fmt: skip
    pd.DataFrame(rows).to_csv(tmp_path / "ratings.csv", index=False)
    trials = [
        {"participant": p, "phase": phase, "trial": t, "hit": (i + t + (phase == "retention")) % 2}
        for i, p in enumerate(["P1", "P2", "P3"])
        for phase in ("pretest", "retention")
        for t in (1, 2, 3, 4)
    ]
    pd.DataFrame(trials).to_csv(tmp_path / "trials.csv", index=False)
    return tmp_path


def test_from_files_to_scores_in_two_calls(folder):
    found = landmark_scores(ml.read_study(folder))
    assert found.scores["clip"].tolist() == list(BENDS)
    by_clip = found.scores.set_index("clip")["value"]
    for clip, bend in BENDS.items():
        # Shoulder above the elbow: the angle at the middle of the swing, where the hand is fastest.
        assert by_clip[clip] == pytest.approx((bend + 170) / 2, abs=4)
    assert found.unscored.empty
    assert set(found.ratings["source"]) == {"raters", "landmarks"}
    own = found.ratings.query("source == 'landmarks'")
    assert own["participant"].tolist() == [OWNERS[clip] for clip in own["clip"]]
    assert found.items["item"].tolist() == ["arm opens"] and found.items["n"].item() == 6
    people = found.ratings.query("item == 'arm opens' and source == 'raters'")["score"].mean()
    assert found.items["raters"].item() == pytest.approx(people)
    assert found.items["bias"].item() == pytest.approx(own["score"].mean() - people)
    assert set(found.comparison.limits.iloc[0][["first", "second"]]) == {"landmarks", "raters"}
    assert found.clips["treatment"].str.contains("ms either way").all()
    assert found.clips["treatment"].str.contains("mirrored").tolist() == [False, False] + [True] * 4
    assert "low-pass" in found.recipe.engine and "frame" not in found.recipe.engine
    again = type(found).from_json(found.to_json())
    assert str(again) == str(found) and "another method" in str(found)


def test_clips_that_only_one_of_both_scored_are_no_comparison():
    scored = {"item": "arm opens", "score": 1.0}
    rows = [
        {"clip": "c1", "rater": "A", "source": "raters", **scored},
        {"clip": "c2", "rater": "landmarks", "source": "landmarks", **scored},
    ]
    found = _compared(pd.DataFrame(rows), "landmarks")
    assert isinstance(found, Refused)
    assert found.reason.startswith("no clip was scored by raters and by landmarks")


def test_left_handers_not_said_score_otherwise(folder):
    plan = PLAN.replace('left_handed = ["P2"]', "")
    (folder / "study.toml").write_text(plan, "utf-8")
    found = landmark_scores(ml.read_study(folder)).scores.set_index("clip")["value"]
    assert not abs(found.get("c3", np.nan) - 95) < 20
    assert found["c5"] == pytest.approx(105, abs=4)


def test_a_clip_that_cannot_be_scored_is_listed(folder):
    (folder / "clips" / "c7.csv").write_text("a,b\n1,2\n", "utf-8")
    found = landmark_scores(ml.read_study(folder))
    assert found.unscored["clip"].tolist() == ["c7"] and found.recipe.n == 6
    assert "c7" in str(found)


def test_analysis_holds_the_scores_or_why_there_are_none(folder):
    study = ml.read_study(folder)
    for path in (folder / "clips").iterdir():
        path.unlink()
    empty = ml.analyse_study(study).landmarks
    assert isinstance(empty, Refused) and "no files of coordinates" in empty.reason


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('left_handed = ["P2"]', 'left_handed = ["P9"]', "neither a clip nor a participant"),
        ('release = "right wrist"', 'release = "nose"', "no such landmark"),
        ("least = 0.6", "", "least likelihood"),
        ('folder = "clips"', 'folder = "elsewhere"', "no files of coordinates"),
        ('folder = "clips"', 'rater = "A"', "name of the landmarks"),
    ],
)
def test_what_a_plan_cannot_do_is_said(folder, old, new, said):
    (folder / "study.toml").write_text(PLAN.replace(old, new), "utf-8")
    with pytest.raises(InputError, match=said):
        landmark_scores(ml.read_study(folder))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('view = "side"', 'view = "left"', "must be one of"),
        ("cutoff = 12", "cutoff = 60", "not below half"),
        ("least = 0.6", "least = 6", "1 or less"),
        ('quantity = "elbow at release"', 'quantity = "knee"', "not measured: knee"),
        ('"right shoulder", ', "", "needs 3 landmarks and has 2"),
        ('item = "arm opens"', 'item = "grip"', "not on the checklist"),
        ("[110, 180, 2]", "[110, 180, 7]", "beyond the checklist's scale"),
        ("[[110, 180, 2], [90, 110, 1]]", "[]", "fewer entries than 1"),
        ('at = "release"', 'at = ["start", "release"]', "read at one event"),
        ("rate = 100", "", "'landmarks.rate' is missing"),
    ],
)
def test_a_wrong_plan_is_refused_with_its_key(folder, old, new, said):
    (folder / "study.toml").write_text(PLAN.replace(old, new), "utf-8")
    with pytest.raises(DesignError, match=said):
        ml.read_design(folder)


def test_check_asks_about_clips_that_are_missing_or_unknown(folder):
    assert "clip" not in " ".join(ml.read_study(folder).problems["rule"])
    (folder / "clips" / "c1.csv").rename(folder / "clips" / "C01.csv")
    row = ml.read_study(folder).problems.set_index("rule").loc["clips that no rater knows"]
    assert row["value"] == "C01" and row["severity"] == "doubt"
    for path in (folder / "clips").iterdir():
        path.unlink()
    row = ml.read_study(folder).problems.set_index("rule").loc["no coordinates yet"]
    assert row["severity"] == "note"


def test_events_that_the_files_label(folder):
    plan = PLAN.replace('release = "right wrist"', 'event = "what"').replace(
        'at = "release"', 'at = "top"'
    )
    (folder / "study.toml").write_text(plan, "utf-8")
    for path in (folder / "clips").iterdir():
        table = pd.read_csv(path)
        table.assign(what=np.where(table["frame"] == 0, "top", "")).to_csv(path, index=False)
    found = landmark_scores(ml.read_study(folder)).scores.set_index("clip")["value"]
    for clip, bend in BENDS.items():
        assert found[clip] == pytest.approx(bend, abs=2)


def test_no_output_takes_the_place_of_a_clip(folder):
    with pytest.raises(ml.exceptions.FileError, match="a file of the study"):
        ml.trials.refuse_inputs(folder / "clips" / "c1.csv", folder)


@pytest.mark.slow
def test_the_report_shows_landmarks_beside_raters(folder):
    written = ml.write_report(ml.read_study(folder), folder / "report")
    assert len(ml.analyse_study(ml.read_study(folder)).landmarks.scores) == 6
    page = next(path for path in folder.joinpath("report").glob("*.html")).read_text("utf-8")
    assert "Technique from landmarks" in page and "another method" in page
    assert "bland-altman-landmarks" in page and written
