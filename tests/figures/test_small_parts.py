"""Words that can be read where they stand, and lines that can be told apart without colour."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_hex
from matplotlib.figure import Figure

import motorlearn as ml
from motorlearn.design import Outcome, design_from_mapping
from motorlearn.figures.drawing.levels import Levels, contrast_ratio
from motorlearn.figures.models.families import _shares
from motorlearn.figures.outcomes.change import _directions
from motorlearn.wording import Voice
from motorlearn.wording.clouds import cloud_words


def test_a_rating_is_written_in_the_ink_that_is_read_better_on_its_bar():
    axes = Figure().subplots()
    means = pd.DataFrame({"row": "all", "rating": [1, 2, 3, 4], "estimate": 0.25})
    _shares(axes, means)
    assert [text.get_text() for text in axes.texts] == list("1234")
    for bar, text in zip(axes.patches, axes.texts, strict=True):
        ground = to_hex(bar.get_facecolor())
        other = {"white": "black", "black": "white"}[text.get_color()]
        mine, theirs = (contrast_ratio(to_hex(ink), ground) for ink in (text.get_color(), other))
        assert mine > 3 and mine > theirs / 2


def test_the_first_level_is_a_whole_line_and_the_others_have_dashes_of_their_own():
    first, *others = Levels(("blocked", "random", "serial")).dashes.values()
    assert first == "" and all(others) and len(set(others)) == 2


def test_better_and_worse_stand_beside_the_axes_within_the_figure():
    figure = Figure(layout="constrained")
    axes = figure.subplots()
    _directions(axes, Outcome(name="radial_error", better="lower"))
    figure.draw_without_rendering()
    assert [text.get_text() for text in axes.texts] == ["worse ↑", "better ↓"]
    for text in axes.texts:
        box = text.get_window_extent()
        assert box.x0 > axes.bbox.x1 and box.x0 - axes.bbox.x1 < 0.1 * axes.bbox.width
        assert box.x1 <= figure.bbox.x1


@pytest.mark.parametrize("spread", [0.0, 1.0])
def test_residuals_have_the_correlation_of_neighbours_in_their_title(spread):
    trial = np.arange(1.0, 25.0)
    noise = spread * np.random.default_rng(1).normal(size=24)
    fit = ml.fit_curve(trial, 20 + noise)
    drawn = ml.figures.curve_residuals(fit, label="error (cm)")
    lag = np.corrcoef(fit.residuals[:-1], fit.residuals[1:])[0, 1] if spread else 0.0
    assert [axes.get_title(loc="left") for axes in drawn.figure.axes] == [
        "line: running mean", f"lag 1: r = {lag:.2f}".replace("-", "−"),
    ]  # fmt: skip


def test_the_drift_that_is_drawn_is_that_of_each_rater_against_the_mean_of_the_others():
    rng = np.random.default_rng(8)
    clips = np.arange(1.0, 31.0)
    ratings = {name: 5 + rng.normal(0, 1, 30) for name in "abc"}
    ratings["b"] = ratings["b"] + 0.1 * clips
    table = pd.DataFrame(
        [
            {"rater": name, "item": f"clip {n:g}", "order": n, "score": value}
            for name, values in ratings.items()
            for n, value in zip(clips, values, strict=True)
        ]
    )
    found = ml.rater_agreement(
        table, item="item", rater="rater", score="score", kind="interval", order="order"
    )
    drawn = ml.figures.rater_drift(found)
    straight = [line for line in drawn.figure.axes[0].lines if len(line.get_xdata()) == 2]
    slopes = [
        np.diff(line.get_ydata())[0] / np.diff(line.get_xdata())[0]
        for line in straight
        if np.ptp(line.get_xdata()) == 29
    ]
    others = {name: np.mean([ratings[x] for x in "abc" if x != name], axis=0) for name in "abc"}
    expected = [np.polyfit(clips, ratings[name] - others[name], 1)[0] for name in "abc"]
    assert slopes == pytest.approx(expected)


@pytest.mark.parametrize("groups", [["programme"], ["blocked", "random"]])
def test_one_group_alone_is_not_told_by_group(groups):
    outcome = Outcome(name="radial_error", unit="cm", better="lower")
    scores = pd.DataFrame({"group": np.repeat(groups, 6), "score": np.arange(6.0 * len(groups))})
    drawn = ml.figures.raincloud(scores, outcome=outcome, groups=groups)
    design = design_from_mapping(
        {
            "study": {"title": "Ring push"},
            "groups": [{"name": name, "schedule": "own"} for name in groups],
            "tests": [{"phase": "pretest", "trials": 6}],
            "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
        }
    )
    words = cloud_words(scores, groups, "pretest", Voice(design, outcome, 1, "."))
    for text in (drawn.caption, drawn.alt, words.caption):
        assert ("by group" in text) == (len(groups) > 1)
