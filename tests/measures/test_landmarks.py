"""Landmarks: geometry by hand, by invariance and against rotations; smoothing; checklists."""

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

import motorlearn as ml
from motorlearn.exceptions import ColumnError, FileError, InputError
from motorlearn.measures.landmarks.filter import fill_gaps, low_pass, residual_analysis
from motorlearn.measures.landmarks.geometry import (
    height_above,
    joint_angle,
    line_rotation,
    path_length,
    rotation_range,
    segment_inclination,
    signed_angle,
)
from motorlearn.measures.landmarks.posture import (
    ChecklistItem,
    Quantity,
    measure_posture,
    score_checklist,
)
from motorlearn.measures.landmarks.tracks import Landmarks, read_landmarks

RNG = np.random.default_rng(7)
ARM = RNG.normal(size=(3, 50, 3))


# A checklist of the tests' own: the arm that pushes a ring with a paddle.
PUSHING = (
    ChecklistItem(
        "elbow bent before the push",
        "elbow angle",
        ((75, 105, 2), (60, 120, 1)),
        cue="bend the elbow",
        source="our club",
    ),
    ChecklistItem(
        "elbow behind the hip",
        "upper arm inclination",
        ((0, 90, 2), (-15, 0, 1)),
        cue="draw the elbow back",
        source="our club",
    ),
)


# Hand answers -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wrist", "angle"),
    [([1, 0], 90), ([0, 1], 0), ([0, -2], 180), ([1, 1], 45), ([3**0.5, -1], 120)],
)
def test_joint_angle_by_hand(wrist, angle):
    assert joint_angle([0, 1], [0, 0], wrist) == pytest.approx(angle)


def test_joint_angle_keeps_tiny_angles():
    assert joint_angle([1, 0], [0, 0], [1, 1e-9]) == pytest.approx(np.degrees(1e-9), rel=1e-9)


def test_joint_angle_in_space_by_hand():
    assert joint_angle([1, 0, 0], [0, 0, 0], [0, 0, 4]) == pytest.approx(90)
    assert joint_angle([1, 1, 1], [0, 0, 0], [1, 1, -1]) == pytest.approx(
        np.degrees(np.arccos(1 / 3))
    )


def test_inclination_by_hand():
    assert segment_inclination([0, 0], [0, -1]) == pytest.approx(-90)
    assert segment_inclination([0, 0], [-1, 1]) == pytest.approx(45)
    assert segment_inclination([0, 0, 0], [3, 4, 5], up=2) == pytest.approx(45)


def test_path_and_height_by_hand():
    assert path_length([[0, 0], [np.nan, 1], [3, 4], [3, 4]]) == pytest.approx(5)
    assert height_above([1, 2], [1, 5]) == pytest.approx(-3)


def test_coinciding_or_missing_landmarks_have_no_angle():
    assert np.isnan(joint_angle([0, 0], [0, 0], [1, 0]))
    assert np.isnan(joint_angle([np.nan, 0], [0, 0], [1, 0]))
    assert np.isnan(segment_inclination([1, 1], [1, 1]))


# Against scipy's rotations ----------------------------------------------------------------------


def test_angle_between_a_vector_and_its_rotation():
    for degrees in (5.0, 60.0, 175.0):
        axis = RNG.normal(size=3)
        across = np.cross(axis, RNG.normal(size=3))
        turned = Rotation.from_rotvec(np.radians(degrees) * axis / np.linalg.norm(axis)).apply(
            across
        )
        assert joint_angle(across, np.zeros(3), 3 * turned) == pytest.approx(degrees, rel=1e-10)


@pytest.mark.parametrize("up", [0, 1, 2])
def test_trunk_rotation_is_the_rotation_about_the_upward_axis(up):
    axis = "xyz"[up]
    hips = np.array([[-0.1, 0.1, 0.05], [0.2, -0.1, -0.05]])
    turns = np.linspace(0, 260, 30)
    shoulders = [Rotation.from_euler(axis, turn, degrees=True).apply(hips) for turn in turns]
    tilt = np.zeros(3)
    tilt[up] = 0.5
    left, right = (np.array([pair[side] for pair in shoulders]) + tilt for side in (0, 1))
    found = line_rotation(
        np.broadcast_to(hips[0], left.shape), np.broadcast_to(hips[1], left.shape), left, right,
        up=up,
    )  # fmt: skip
    assert found == pytest.approx(turns, abs=1e-9)
    assert rotation_range(found) == pytest.approx(260)


# Invariants -------------------------------------------------------------------------------------


def test_joint_angle_ignores_rotation_scale_and_shift():
    turned = [
        3.7 * Rotation.from_euler("xyz", [10, 200, 35], degrees=True).apply(p) + 5 for p in ARM
    ]
    assert joint_angle(*turned) == pytest.approx(joint_angle(*ARM), rel=1e-9)


def test_planar_angle_equals_the_angle_of_points_in_a_plane_in_space():
    plane = ARM[:, :, :2]
    in_space = np.concatenate([plane, np.zeros((3, 50, 1))], axis=-1)
    assert joint_angle(*plane) == pytest.approx(joint_angle(*in_space))
    assert np.abs(signed_angle(plane[0] - plane[1], plane[2] - plane[1])) == pytest.approx(
        joint_angle(*plane)
    )


def test_inclination_ignores_turning_about_the_upward_axis():
    start, end = ARM[0], ARM[1]
    turn = Rotation.from_euler("y", 73, degrees=True)
    assert segment_inclination(turn.apply(start), turn.apply(end)) == pytest.approx(
        segment_inclination(start, end)
    )


def test_mirrored_trunk_turns_the_other_way():
    lines = RNG.normal(size=(4, 20, 3))
    mirrored = lines * np.array([-1, 1, 1])
    assert line_rotation(*mirrored)[:1] == pytest.approx(-line_rotation(*lines)[:1])


# Smoothing --------------------------------------------------------------------------------------


def test_filter_halves_the_power_at_the_cutoff_without_delay():
    rate, cutoff = 200.0, 6.0
    time = np.arange(4000) / rate
    smooth = low_pass(np.sin(2 * np.pi * cutoff * time), rate=rate, cutoff=cutoff)[1000:3000]
    wave = np.sin(2 * np.pi * cutoff * time)[1000:3000]
    gain = smooth @ wave / (wave @ wave)
    assert gain == pytest.approx(np.sqrt(0.5), rel=0.002)
    assert smooth == pytest.approx(gain * wave, abs=0.005)  # in phase: no lag


def test_filter_keeps_slow_movement():
    time = np.arange(400) / 100
    slow = np.column_stack([time**2, 3 - time])
    assert low_pass(slow, rate=100, cutoff=10)[50:-50] == pytest.approx(slow[50:-50], abs=1e-3)


def test_residual_analysis_finds_noise_and_a_cutoff_between_signal_and_noise():
    rate = 200.0
    time = np.arange(2000) / rate
    noise = np.random.default_rng(2).normal(0, 0.01, (2000, 2))
    movement = np.column_stack([np.sin(2 * np.pi * 2 * time), np.cos(2 * np.pi * 3 * time)])
    found = residual_analysis(movement + noise, rate=rate)
    assert 3 < found.cutoff < 20
    assert found.noise == pytest.approx(np.sqrt(2) * 0.01, rel=0.25)  # the line overshoots
    smooth = low_pass(movement + noise, rate=rate, cutoff=found.cutoff)
    assert np.std(smooth - movement) < 0.8 * np.std(noise)


def test_short_gaps_are_bridged_and_long_ones_stay():
    track = np.array([np.nan, 0, np.nan, 2, np.nan, np.nan, np.nan, 6, np.nan])
    filled = fill_gaps(track, longest=2)
    assert filled[2] == 1
    assert np.isnan(filled[[0, 4, 5, 6, 8]]).all()


def test_filter_refuses_gaps_short_clips_and_impossible_cutoffs():
    with pytest.raises(InputError, match=r"missing.*\(3\)"):
        low_pass([0, 0, 0, np.nan, *[0] * 40], rate=100, cutoff=6)
    with pytest.raises(InputError, match="too few frames"):
        low_pass(np.zeros(5), rate=100, cutoff=6)
    with pytest.raises(InputError, match=r"below 50 Hz, half"):
        low_pass(np.zeros(100), rate=100, cutoff=50)


# Reading, events, checklist ---------------------------------------------------------------------

POINTS = {
    "shoulder": ("sx", "sy"),
    "elbow": ("ex", "ey"),
    "wrist": ("wx", "wy"),
}


def clip_table(elbow_height=1.0, frames=5):
    """Upper arm along x with the elbow raised; forearm upright."""
    return pd.DataFrame(
        {
            "frame": range(frames),
            "sx": 0.0,
            "sy": 0.0,
            "ex": 10.0,
            "ey": -elbow_height,
            "wx": 10.0,
            "wy": -elbow_height - 10,
            "what": ["start", "", "top", "", "release"][:frames],
        }
    )


QUANTITIES = (
    Quantity("elbow angle", "joint angle", ("shoulder", "elbow", "wrist"), "top"),
    Quantity("upper arm inclination", "segment inclination", ("shoulder", "elbow"), "top"),
    Quantity("hand path", "hand path", ("wrist",), ("top", "release"), "length"),
    Quantity("elbow height", "height above", ("elbow", "shoulder"), ("start", "top"), "minimum"),
)


def read(table, **options):
    options = {"frame": "frame", "event": "what", "flip_up": True, "unit": "cm"} | options
    return read_landmarks(table, points=POINTS, **options)


def test_quantities_at_events_and_in_phases():
    values = measure_posture(read(clip_table(1.0)), QUANTITIES, clip="c1").values.set_index(
        "quantity"
    )["value"]
    assert values["elbow angle"] == pytest.approx(90 + np.degrees(np.arctan(0.1)))
    assert values["upper arm inclination"] == pytest.approx(np.degrees(np.arctan(0.1)))
    assert values["hand path"] == 0
    assert values["elbow height"] == pytest.approx(1.0)


def test_checklist_scores_the_good_arm_and_the_elbow_out_of_place():
    clips = [
        measure_posture(read(clip_table(height)), QUANTITIES, clip=name)
        for name, height in (("raised", 1.0), ("dropped", -6.0))
    ]
    scores = score_checklist(clips, PUSHING)
    wide = scores.pivot(index="clip", columns="item", values="score")
    assert wide.loc["raised"].tolist() == [2, 2]
    assert wide.loc["dropped", "elbow behind the hip"] == 0
    faults = scores[(scores["clip"] == "dropped") & (scores["cue"] != "")]
    assert "draw the elbow back" in faults["cue"].tolist()
    assert scores["source"].eq("landmarks").all()
    assert scores["limits_from"].eq("our club").all()
    assert scores["caution"].str.contains("not a diagnosis").all()


def test_checklist_scores_can_be_compared_with_a_rater():
    clips = [
        measure_posture(read(clip_table(height)), QUANTITIES, clip=f"c{i}")
        for i, height in enumerate([4, 2, 1, -1, -2, -4, -6, -8])
    ]
    computed = score_checklist(clips, PUSHING[1:2])
    watched = computed.assign(rater="watcher", score=[2, 2, 2, 1, 1, 1, 0, 0])
    result = ml.rater_agreement(
        pd.concat([computed, watched]), item=["clip", "item"], rater="rater", score="score",
        kind="ordinal",
    )  # fmt: skip
    kappa = result.estimates.set_index("term").loc["weighted kappa", "estimate"]
    assert 0.6 < kappa <= 1


def test_every_output_carries_the_caution():
    posture = measure_posture(read(clip_table()), QUANTITIES)
    assert "perspective error" in str(posture)
    assert "not smoothed" in str(posture)
    assert type(posture).from_json(posture.to_json()).caution == posture.caution


def test_smoothing_is_written_down(tmp_path):
    table = pd.DataFrame(
        np.random.default_rng(0).normal(size=(60, 6)),
        columns=[name for pair in POINTS.values() for name in pair],
    )
    table.loc[30, "ex"] = np.nan
    path = tmp_path / "clip.csv"
    table.to_csv(path, sep=";", decimal=",", index=False)
    clip = read_landmarks(path, points=POINTS, rate=50, separator=";", decimal=",")
    smooth = clip.smoothed(cutoff=6, longest_gap=1)
    assert "1 missing landmark frames bridged" in smooth.treatment[0]
    assert "cut-off 6 Hz, order 4" in smooth.treatment[1]
    assert clip["wrist"] == pytest.approx(table[["wx", "wy"]].to_numpy())


def test_reading_names_what_is_wrong(tmp_path):
    with pytest.raises(ColumnError, match="'ey'"):
        read(clip_table().drop(columns="ey"))
    with pytest.raises(InputError, match=r"not numbers.*'out'"):
        read(clip_table().astype({"ex": object}).assign(ex=["out", 1, 1, 1, 1]))
    with pytest.raises(InputError, match=r"frame occurs twice.*\(3\)"):
        read(clip_table().assign(frame=[0, 1, 2, 3, 3]))
    with pytest.raises(InputError, match=r"event occurs twice.*'top'"):
        read(clip_table().assign(what=["", "top", "top", "", ""]))
    with pytest.raises(FileError, match="no such landmark file"):
        read(tmp_path / "absent.csv")
    with pytest.raises(InputError, match=r"no such event.*'end'.*start, top, release"):
        read(clip_table()).event("end")
    with pytest.raises(InputError, match=r"no such landmark.*'hip'"):
        read(clip_table())["hip"]
    with pytest.raises(InputError, match="frame rate is unknown"):
        read(clip_table()).smoothed(cutoff=6)


def test_quantities_that_make_no_sense_are_refused():
    with pytest.raises(InputError, match="needs 3 landmarks"):
        Quantity("a", "joint angle", ("x", "y"), "top")
    with pytest.raises(InputError, match="statistic does not fit"):
        Quantity("a", "joint angle", ("x", "y", "z"), ("start", "top"))
    with pytest.raises(InputError, match="statistic does not fit"):
        Quantity("a", "hand path", ("x",), "top")
    item = ChecklistItem("follow-through", "way of the hand", ((50, 300, 1),))
    with pytest.raises(InputError, match="'way of the hand'"):
        score_checklist(measure_posture(read(clip_table()), QUANTITIES), [item])


def test_a_phase_that_runs_backwards_is_refused():
    with pytest.raises(InputError, match="ends before it starts"):
        read(clip_table()).between("release", "start")


def test_missing_landmark_gives_a_missing_score():
    clip = Landmarks({"a": np.full((2, 2), np.nan)}, np.arange(2), events={"s": 0, "e": 1})
    quantity = Quantity("way", "hand path", ("a",), ("s", "e"), "length")
    posture = measure_posture(clip, [quantity])
    scores = score_checklist(posture, [ChecklistItem("long way", "way", ((1, 9, 1),))])
    assert scores["score"].isna().all()
