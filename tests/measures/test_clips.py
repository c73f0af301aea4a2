"""From a coordinate file to a score: headings, gaps, likelihoods, views, handedness, release."""

import numpy as np
import pandas as pd
import pytest
from scipy import signal

import motorlearn as ml
from motorlearn import measures as m
from motorlearn.exceptions import ColumnError, FileError, InputError
from motorlearn.measures.landmarks.filter import low_pass
from motorlearn.measures.landmarks.geometry import joint_angle, rotation_range
from motorlearn.measures.landmarks.posture import Quantity, measure_posture
from motorlearn.measures.landmarks.tracks import Landmarks, read_landmarks

RATE = 100.0
NAMES = ("shoulder", "elbow", "wrist")


def push(frames=80, bend=70.0, noise=0.0, seed=0, rate=RATE):
    """A push of the paddle seen from the side: the elbow opens from a bend to 170 degrees."""
    rng = np.random.default_rng(seed)
    time = np.arange(frames) / rate
    angle = bend + (170 - bend) / (1 + np.exp(-25 * (time - 0.5 * frames / rate)))
    shoulder = np.tile([0.0, 140.0], (frames, 1))
    elbow = np.tile([0.0, 110.0], (frames, 1))
    turn = np.radians(angle)
    wrist = elbow + 27 * np.column_stack([np.sin(turn), np.cos(turn)])
    tracks = (shoulder, elbow, wrist)
    return {n: t + rng.normal(0, noise, t.shape) for n, t in zip(NAMES, tracks)}, angle


def wide(tracks, likelihood=None):
    columns = {}
    for name, track in tracks.items():
        columns[name, "x"], columns[name, "y"] = track.T
        sure = np.full(len(track), 0.99) if likelihood is None else likelihood.get(name, 0.99)
        columns[name, "likelihood"] = sure
    return pd.DataFrame(columns)


def written(tmp_path, table, name="clip.csv", above="digitiser"):
    """A file with three rows of headings."""
    rows = [
        ["who", *[above] * table.shape[1]],
        ["landmark", *[landmark for landmark, _ in table.columns]],
        ["coordinate", *[what for _, what in table.columns]],
        *[[frame, *row] for frame, row in zip(table.index, table.to_numpy())],
    ]
    path = tmp_path / name
    path.write_text("\n".join(",".join(map(str, row)) for row in rows), encoding="utf-8")
    return path


# Files -------------------------------------------------------------------------------------------


def test_a_wide_file_with_three_rows_of_headings_is_read_in_one_call(tmp_path):
    tracks, _ = push()
    clip = read_landmarks(written(tmp_path, wide(tracks)), least=0.6, rate=RATE)
    assert set(clip.points) == set(NAMES) and clip.dimensions == 2
    for name in NAMES:
        assert clip[name] == pytest.approx(tracks[name])


def test_one_row_of_headings_and_events_are_read_too(tmp_path):
    tracks, _ = push(6)
    table = wide(tracks)
    table.columns = [f"{name}_{what}" for name, what in table.columns]
    table.insert(0, "frame", range(6))
    table["what"] = ["", "top", "", "", "", ""]
    path = tmp_path / "clip.csv"
    table.to_csv(path, index=False)
    for source in (path, table):
        clip = read_landmarks(source, least=0.0, event="what")
        assert clip.event("top") == 1
        assert clip["wrist"] == pytest.approx(tracks["wrist"])


def test_a_table_with_headings_of_two_levels_is_read():
    tracks, _ = push(5)
    assert read_landmarks(wide(tracks), least=0.5)["elbow"] == pytest.approx(tracks["elbow"])


def test_headings_that_say_nothing_are_refused(tmp_path):
    path = tmp_path / "clip.csv"
    path.write_text("a,b\n1,2\n3,4\n", encoding="utf-8")
    with pytest.raises(InputError, match="do not name x and y"):
        read_landmarks(path)
    path.write_text("a,b\nc,d\n", encoding="utf-8")
    with pytest.raises(InputError, match="no rows of numbers"):
        read_landmarks(path)
    with pytest.raises(FileError, match="no such"):
        read_landmarks(tmp_path / "none.csv")


def test_a_likelihood_is_no_third_coordinate():
    table = pd.DataFrame({"wx": [1.0], "wy": [2.0], "w_likelihood": [0.9]})
    with pytest.raises(InputError, match="place of a third coordinate"):
        read_landmarks(table, points={"wrist": ("wx", "wy", "w_likelihood")})


def test_mixed_dimensions_are_refused():
    table = pd.DataFrame(np.ones((3, 5)), columns=list("abcde"))
    with pytest.raises(InputError, match="some three"):
        read_landmarks(table, points={"a": ("a", "b"), "b": ("c", "d", "e")}, flip_up=True)


def test_a_wrist_of_low_likelihood_moves_no_elbow():
    tracks, angle = push()
    wild = {name: track.copy() for name, track in tracks.items()}
    wild["wrist"][40] = [300.0, 300.0]
    sure = np.full(80, 0.99)
    sure[40] = 0.01
    table = wide(wild, {"wrist": sure})
    with pytest.raises(InputError, match="least="):
        read_landmarks(table)
    clip = read_landmarks(table, least=0.6, rate=RATE)
    assert np.isnan(clip["wrist"][40]).all()
    assert "wrist 1" in clip.treatment[0]
    smooth = clip.smoothed(cutoff=15, longest_gap=2)
    found = joint_angle(*(smooth[name][40] for name in NAMES))
    assert found == pytest.approx(angle[40], abs=1.5)
    believed = read_landmarks(table, least=0.0, rate=RATE)
    assert abs(joint_angle(*(believed[name][40] for name in NAMES)) - angle[40]) > 20


def test_absent_frames_are_put_in_as_empty_and_said():
    tracks, _ = push(10)
    table = wide(tracks).drop(index=[4, 5])
    table.columns = [f"{name}_{what}" for name, what in table.columns]
    table.insert(0, "frame", table.index)
    clip = read_landmarks(table, least=0.0)
    assert clip.frames.tolist() == list(range(10))
    assert np.isnan(clip["wrist"][4:6]).all()
    assert "2 frames absent" in clip.treatment[0]
    every_other = table[table["frame"] % 2 == 0]
    assert len(read_landmarks(every_other, least=0.0).frames) == 5


def test_frames_written_as_text_are_numbers():
    tracks, _ = push(12)
    table = pd.DataFrame({"f": [str(i) for i in range(12)]})
    table[["x", "y"]] = tracks["wrist"]
    shuffled = table.sample(frac=1, random_state=1)
    clip = read_landmarks(shuffled, points={"wrist": ("x", "y")}, frame="f")
    assert clip.frames.tolist() == list(range(12))
    assert clip["wrist"] == pytest.approx(tracks["wrist"])
    with pytest.raises(InputError, match="not whole numbers"):
        read_landmarks(table.assign(f="a"), points={"wrist": ("x", "y")}, frame="f")


def test_tracks_with_a_long_gap_are_smoothed_on_both_sides_of_it():
    tracks, _ = push()
    tracks["wrist"][30:40] = np.nan
    clip = Landmarks(tracks, np.arange(80), rate=RATE)
    smooth = clip.smoothed(cutoff=10, longest_gap=3)
    assert np.isnan(smooth["wrist"][30:40]).all()
    assert np.isfinite(np.delete(smooth["wrist"], np.s_[30:40], axis=0)).all()


# Smoothing ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("rate", "cutoff"), [(30, 6), (30, 10), (50, 6), (100, 6), (240, 12)])
def test_two_passes_halve_the_power_at_the_cutoff_at_every_frame_rate(rate, cutoff):
    """Response of both passes from the impulse response, by scipy.signal.freqz."""
    impulse = np.zeros(2001)
    impulse[1000] = 1
    response = low_pass(impulse, rate=rate, cutoff=cutoff)
    frequency, gain = signal.freqz(response, worN=2**15, fs=rate)
    half = frequency[np.argmax(np.abs(gain) ** 2 <= 0.5)]
    assert half == pytest.approx(cutoff, abs=0.01)


# Views, handedness, tilt -------------------------------------------------------------------------

CORNERS = ("left hip", "right hip", "left shoulder", "right shoulder")
TURN = Quantity("trunk rotation", "trunk rotation", CORNERS, ("start", "top"), "range")


def turning(degrees=40.0, frames=30, sign=1):
    """Shoulders turn over resting hips about the upright axis (y)."""
    turn = np.radians(sign * np.linspace(0, degrees, frames))
    hips = {"left hip": [-15.0, 90, 0], "right hip": [15.0, 90, 0]}
    tracks = {name: np.tile(point, (frames, 1)) for name, point in hips.items()}
    for name, half in (("left shoulder", -20.0), ("right shoulder", 20.0)):
        tracks[name] = np.column_stack(
            [half * np.cos(turn), np.full(frames, 140.0), half * np.sin(turn)]
        )
    return Landmarks(tracks, np.arange(frames), events={"start": 0, "top": frames - 1})


def seen(clip, axes, view):
    return Landmarks(
        {name: track[:, axes] for name, track in clip.points.items()},
        clip.frames, events=clip.events, view=view,
    )  # fmt: skip


def test_a_turn_filmed_from_the_side_is_refused_and_from_above_measured():
    clip = turning()
    value = measure_posture(clip, [TURN]).values["value"].item()
    assert value == pytest.approx(40, abs=0.01)
    above = measure_posture(seen(clip, [0, 2], "above"), [TURN]).values["value"].item()
    assert above == pytest.approx(40, abs=0.01)
    for view in ("side", "front", ""):
        with pytest.raises(InputError, match="cannot be seen by one camera"):
            measure_posture(seen(clip, [0, 1], view), [TURN])
    height = Quantity("h", "height above", ("left shoulder", "left hip"), "top")
    with pytest.raises(InputError, match="from above"):
        measure_posture(seen(clip, [0, 2], "above"), [height])
    with pytest.raises(InputError, match="view is unknown"):
        read_landmarks(wide(push(5)[0]), least=0, view="drone")


def test_a_left_hander_in_the_mirror_has_the_quantities_of_a_right_hander():
    right = turning()
    left = right.mirrored()
    for name in CORNERS:
        other = name.replace("left", "?").replace("right", "left").replace("?", "right")
        assert left[name] == pytest.approx(right[other] * [-1, 1, 1])
    back = left.mirrored()
    quantity = [TURN, Quantity("twist", "trunk rotation", CORNERS, "top")]
    ours = measure_posture(right, quantity).values["value"]
    assert measure_posture(back, quantity).values["value"].tolist() == pytest.approx(ours.tolist())
    assert "mirrored" in left.treatment[-1]
    assert rotation_range([0, ours[1]]) == pytest.approx(40, abs=0.01)


def test_a_tilted_camera_is_set_upright_by_two_points():
    tracks, _ = push()
    tilt = np.radians(7.0)
    turn = np.array([[np.cos(tilt), -np.sin(tilt)], [np.sin(tilt), np.cos(tilt)]])
    tilted = Landmarks({n: t @ turn.T for n, t in tracks.items()}, np.arange(80))
    foot, top = np.array([50.0, 0.0]) @ turn.T, np.array([50.0, 200.0]) @ turn.T
    level = tilted.levelled(foot, top)
    for name in NAMES:
        assert level[name] == pytest.approx(tracks[name])
    assert "7.0 degrees" in level.treatment[-1]
    with pytest.raises(InputError, match="two different points"):
        tilted.levelled(foot, foot)


# Speed and release -------------------------------------------------------------------------------


def test_speed_of_a_point_on_a_circle():
    time = np.arange(200) / 200
    circle = np.column_stack([np.cos(3 * time), np.sin(3 * time)]) * 2
    clip = Landmarks({"hand": circle}, np.arange(200), rate=200)
    assert m.speed(clip, "hand")[1:-1] == pytest.approx(6.0, rel=1e-4)


@pytest.mark.parametrize("rate", [50, 100, 240])
def test_release_lies_within_its_limits(rate):
    rng = np.random.default_rng(rate)
    held, errors = [], []
    for _ in range(200):
        peak = rng.uniform(0.4, 0.6)
        time = np.arange(int(rate)) / rate
        way = 60 / (1 + np.exp(-20 * (time - peak)))
        track = np.column_stack([way, 0.1 * way]) + rng.normal(0, 0.1, (len(time), 2))
        clip = Landmarks({"wrist": track}, np.arange(len(time)), rate=rate, unit="cm")
        found = m.find_release(clip.smoothed(cutoff=12), "wrist")
        held.append(found.time_low <= peak <= found.time_high)
        errors.append(found.time - peak)
    assert np.mean(held) > 0.95
    assert np.sqrt(np.mean(np.square(errors))) < 0.5 / rate + 0.004
    assert bool(found.caution) == (rate < 100)


def test_release_is_refused_where_it_cannot_be_seen():
    track = np.cumsum(np.arange(20.0))[:, None] * [1, 0]
    clip = Landmarks({"wrist": track}, np.arange(20), rate=100)
    with pytest.raises(InputError, match="fastest at an end"):
        m.find_release(clip, "wrist")
    with pytest.raises(InputError, match="frame rate is unknown"):
        m.find_release(Landmarks({"wrist": track}, np.arange(20)), "wrist")
    lost = Landmarks({"wrist": np.full((20, 2), np.nan)}, np.arange(20), rate=100)
    with pytest.raises(InputError, match="missing in too many"):
        m.find_release(lost, "wrist")


# The plan and the ratings ------------------------------------------------------------------------

PLAN = """
rate = 100
unit = "cm"
view = "side"
least = 0.6
cutoff = 12
longest_gap = 3
release = "wrist"

[[quantities]]
name = "elbow at release"
kind = "joint angle"
landmarks = ["shoulder", "elbow", "wrist"]
at = "release"

[[items]]
item = "arm opens through the push"
quantity = "elbow at release"
bands = [[110, 180, 2], [90, 110, 1]]
cue = "let the arm open before the ring leaves"
source = "the study's coaches"
"""


def clips(tmp_path, bends=(60, 40, 20, 60, 30, 50)):
    found = {}
    for place, bend in enumerate(bends):
        tracks, _ = push(bend=float(bend), noise=0.05, seed=place)
        found[f"c{place}"] = written(tmp_path, wide(tracks), f"c{place}.csv")
    return found


def test_from_files_to_scores_beside_those_of_raters(tmp_path):
    path = tmp_path / "landmarks.toml"
    path.write_text(PLAN, encoding="utf-8")
    plan = m.read_landmark_plan(path)
    scores = plan.score(clips(tmp_path))
    assert scores["value"].between(90, 120).all()
    assert set(scores["score"]) <= {1, 2} and scores["source"].eq("landmarks").all()
    assert scores.loc[scores["score"] < 2, "cue"].str.contains("open").all()
    people = scores[["clip", "item"]].assign(rater="A", score=scores["score"].clip(upper=1.0))
    both = m.with_landmark_scores(people, scores)
    assert both["source"].value_counts().to_dict() == {"raters": 6, "landmarks": 6}
    found = ml.rater_agreement(
        both, item=["clip", "item"], rater="rater", score="score", kind="continuous"
    )
    assert {found.limits["first"].item(), found.limits["second"].item()} == {"A", "landmarks"}
    with pytest.raises(InputError, match="name of the landmarks"):
        m.with_landmark_scores(people.assign(rater="landmarks"), scores)
    with pytest.raises(ColumnError, match="'rater'"):
        m.with_landmark_scores(people.drop(columns="rater"), scores)


def test_a_mirrored_clip_scores_alike(tmp_path):
    path = tmp_path / "landmarks.toml"
    path.write_text(PLAN, encoding="utf-8")
    tracks, _ = push(bend=40.0)
    other = {name: track * [-1, 1] for name, track in tracks.items()}
    plan = m.read_landmark_plan(path)
    files = {"r": wide(tracks), "l": wide(other)}
    values = plan.score(files, left_handed=["l"])["value"]
    assert values[0] == pytest.approx(values[1], abs=0.01)
    with pytest.raises(InputError, match="left-handers are not among"):
        plan.score(files, left_handed=["x"])


def test_a_clip_that_cannot_be_scored_is_named(tmp_path):
    path = tmp_path / "landmarks.toml"
    path.write_text(PLAN, encoding="utf-8")
    tracks, _ = push()
    tracks["wrist"][:] = np.nan
    with pytest.raises(InputError, match="clip c9: the hand is missing"):
        m.read_landmark_plan(path).score({"c9": wide(tracks)})


@pytest.mark.parametrize(
    ("change", "match"),
    [
        (("rate = 100", "speed = 100"), "unknown key"),
        (("rate = 100", ""), "lacks a key"),
        (('quantity = "elbow at release"', 'quantity = "knee"'), "not measured"),
        (("[[110, 180, 2], [90, 110, 1]]", "[]"), "bands"),
        (('kind = "joint angle"', 'kind = "mood"'), "kind of quantity"),
        (("rate = 100", "rate ="), "no TOML"),
    ],
)
def test_a_wrong_plan_of_landmarks_is_refused(tmp_path, change, match):
    path = tmp_path / "landmarks.toml"
    path.write_text(PLAN.replace(*change), encoding="utf-8")
    with pytest.raises(InputError, match=match):
        m.read_landmark_plan(path)
    with pytest.raises(FileError, match="no such plan"):
        m.read_landmark_plan(tmp_path / "none.toml")


def test_synthetic_poses_to_a_hundredth_of_a_degree_mirrored_alike():
    tracks, angle = push()
    for sign in (1, -1):
        found = joint_angle(*(tracks[name] * [sign, 1] for name in NAMES))
        assert np.abs(found - (180 - np.abs(180 - angle))).max() < 0.01
