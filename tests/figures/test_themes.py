"""Groups in grey and for the colour-blind; themes of the user; sizes; the order of the plan."""

from itertools import combinations, pairwise

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
import seaborn as sns
from matplotlib.colors import to_rgb

from motorlearn.exceptions import ColumnError, InputError
from motorlearn.figures import (
    SIZES,
    Levels,
    effect_forest,
    practice_curve,
    raincloud,
    text_overlaps,
    texts_cut,
)
from motorlearn.figures.drawing.labels import thin_runs
from motorlearn.figures.drawing.levels import COLOURS
from motorlearn.figures.drawing.style import canvas, house

# Machado, Oliveira & Fernandes (2009), IEEE TVCG 15:1291, doi:10.1109/TVCG.2009.113, severity 1.0
# (matrices from memory; each row sums to 1, so that white stays white).
BLINDNESS = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)  # IEC 61966-2-1


def linear(colour: str) -> np.ndarray:
    channels = np.array(to_rgb(colour))
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def lab(light: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB, with the linear toe of the standard."""
    ratio = (TO_XYZ @ np.clip(light, 0, 1)) / (TO_XYZ @ np.ones(3))
    toe = ratio * (841 / 108) + 4 / 29
    x, y, z = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), toe)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def test_the_first_three_groups_are_apart_in_grey():
    light = [lab(linear(colour))[0] for colour in COLOURS]
    assert min(abs(a - b) for a, b in combinations(light[:3], 2)) >= 12
    assert min(abs(a - b) for a, b in combinations(light, 2)) >= 4


@pytest.mark.parametrize("kind", BLINDNESS)
def test_colours_stay_apart_for_the_colour_blind(kind):
    matrix = np.array(BLINDNESS[kind])
    np.testing.assert_allclose(matrix.sum(axis=1), 1.0, atol=1e-5)
    seen = [lab(matrix @ linear(colour)) for colour in COLOURS]
    assert min(np.linalg.norm(a - b) for a, b in combinations(seen, 2)) >= 18


def test_the_check_of_colours_can_fail():
    before = ("#D55E00", "#009E73")  # two that a grey print of an earlier version confused
    light = [lab(linear(colour))[0] for colour in before]
    assert abs(light[0] - light[1]) < 12


def test_no_two_of_forty_groups_look_alike_without_colour():
    looks = Levels([f"g{i}" for i in range(40)]).looks.values()
    assert len({(look.marker, str(look.line)) for look in looks}) == 40


def test_lines_and_markers_carry_the_group(three):
    drawing = practice_curve(three.points, three.scores, outcome=three.outcome, groups=three.groups)
    levels = Levels(three.groups)
    drawn = {
        (line.get_color(), line.get_marker(), line.get_linestyle() == "-")
        for line in drawing.axes[0].lines
        if line.get_zorder() == 4
    }
    wanted = {(look.colour, look.marker, look.line == "-") for look in levels.looks.values()}
    assert drawn == wanted


def test_levels_keep_the_order_of_the_plan_and_refuse_others(three):
    levels = Levels(["random", "blocked", "serial", "random"])
    assert list(levels) == ["random", "blocked", "serial"]
    assert [look.group for look in levels.present(three.scores)] == list(levels)
    with pytest.raises(InputError, match="no group of the plan"):
        levels.present(three.scores.assign(group="other"))
    with pytest.raises(InputError, match="at least one group"):
        Levels([])


@pytest.fixture
def theme():
    before = mpl.rcParams.copy()
    sns.set_theme(style="darkgrid", palette="deep", rc={"axes.labelsize": 17.0})
    yield
    mpl.rcParams.update(before)


@pytest.mark.usefixtures("theme")
def test_a_theme_of_the_user_is_obeyed(three):
    scores = three.scores[three.scores["phase"] == "retention"]
    drawing = raincloud(scores, outcome=three.outcome, groups=three.groups)
    axes = drawing.axes[0]
    assert axes.get_facecolor() == pytest.approx((*to_rgb("#EAEAF2"), 1.0), abs=1e-6)
    assert axes.yaxis.label.get_size() == 17.0
    wanted = {tuple(np.round(colour, 3)) for colour in sns.color_palette("deep", 3)}
    drawn = {tuple(np.round(c.get_facecolor()[0][:3], 3)) for c in axes.collections}
    assert wanted <= drawn


def test_the_house_style_is_back_after_the_theme(three):
    assert Levels(three.groups)["blocked"].colour == COLOURS[0]
    with house() as chosen:
        assert mpl.rcParams["font.size"] == chosen.font


@pytest.mark.parametrize(("size", "millimetres"), [("column", 85), ("page", 175)])
def test_journal_columns_have_their_width(size, millimetres, three):
    assert SIZES[size].width * 25.4 == pytest.approx(millimetres)
    drawing = practice_curve(
        three.points, three.scores, outcome=three.outcome, groups=three.groups, size=size
    )
    assert drawing.figure.get_figwidth() * 25.4 == pytest.approx(millimetres)
    assert text_overlaps(drawing.figure) == []
    assert texts_cut(drawing.figure) == []


@pytest.mark.parametrize("size", SIZES)
def test_eight_sessions_have_labels_that_can_be_read(size, three):
    rows = [
        {"group": g, "phase": "acquisition", "session": s, "block": b, "mean": 30 - s,
         "conf_low": 28 - s, "conf_high": 32 - s}
        for g in three.groups for s in range(1, 9) for b in range(1, 4)
    ]  # fmt: skip
    tests = three.points[three.points["phase"] != "acquisition"]
    points = pd.concat([pd.DataFrame(rows), tests], ignore_index=True)
    drawing = practice_curve(
        points, three.scores, outcome=three.outcome, groups=three.groups, size=size
    )
    assert text_overlaps(drawing.figure) == []
    labels = [text.get_text().replace("-\n", "") for text in drawing.axes[0].get_xticklabels()]
    assert {"pretest", "retention", "transfer"} <= set(labels)


def test_a_session_of_one_block_has_a_point_for_every_participant(three):
    once = three.scores[(three.scores["block"] == 1) | three.scores["block"].isna()]
    points = three.points[(three.points["block"] == 1) | three.points["block"].isna()]
    axes = practice_curve(points, once, outcome=three.outcome, groups=three.groups).axes[0]
    assert sum(len(c.get_offsets()) for c in axes.collections if len(c.get_offsets()) > 1) == len(
        once
    )


def test_a_limit_that_is_not_the_null_is_not_written_as_the_null():
    effects = pd.DataFrame(
        {"name": ["a", "b"], "estimate": [0.91, 0.95], "conf_low": [0.83, 0.9],
         "conf_high": [0.9978, 1.0]}
    )  # fmt: skip
    texts = [t.get_text() for t in effect_forest(effects, label="ratio", null=1.0).axes[0].texts]
    assert texts == ["0.91 [0.830 to 0.998]", "0.95 [0.90 to 1.00]"]


def test_a_lacking_column_is_named(three):
    with pytest.raises(ColumnError, match="conf_low"):
        practice_curve(
            three.points.drop(columns="conf_low"),
            three.scores,
            outcome=three.outcome,
            groups=three.groups,
        )


def forest_rows():
    return pd.DataFrame(
        {
            "name": [
                "Immediate posttest: random / blocked",
                "Delayed retention: random / blocked",
                "* without the participant who matters most",
            ],
            "estimate": [1.1, 0.95, 0.9],
            "conf_low": [0.9, 0.8, 0.78],
            "conf_high": [1.3, 1.1, 0.998],
        }
    )


@pytest.mark.parametrize("size", SIZES)
def test_a_forest_leaves_room_for_its_intervals(size):
    """Beside long names at the left and numbers at the right the axes had vanished at 85 mm."""
    drawing = effect_forest(
        forest_rows(), label="ratio of means", null=1.0, sides=("first better", "second better"),
        size=size,
    )  # fmt: skip
    figure, axes = drawing.figure, drawing.axes[0]
    assert text_overlaps(figure) == [] and texts_cut(figure) == []
    assert axes.get_window_extent().width > 0.3 * figure.bbox.width
    assert axes.get_xlabel().endswith("← first better   |   second better →")
    shown = [t.get_text() for t in [*axes.get_yticklabels(), *axes.texts]]
    assert any("1.10 [0.90 to 1.30]" in text for text in shown)


def test_labels_of_a_run_are_left_out_evenly():
    with house("column"):
        _, (axes,) = canvas("column")
        axes.set_xlim(0, 30)
        axes.set_xticks(range(1, 25), [str(100 + i) for i in range(1, 25)])
        thin_runs(axes, [list(range(1, 13)), list(range(13, 25))])
    kept = [i for i, text in enumerate(axes.get_xticklabels(), 1) if text.get_text()]
    steps = {b - a for a, b in pairwise(k for k in kept if k <= 12)}
    assert len(steps) == 1 and steps == {b - a for a, b in pairwise(k for k in kept if k > 12)}
    assert 1 in kept and 13 in kept and 1 < steps.pop() < 12
