"""Figures of a study: nothing cut, nothing covered, and what is drawn is what was given."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.patches import Ellipse
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.figures import (
    Drawing,
    delayed_scores,
    effect_forest,
    landing_map,
    missing_map,
    paired_change,
    participant_flow,
    practice_curve,
    text_overlaps,
    texts_cut,
)
from motorlearn.figures.outcomes.scores import beeswarm

DELAYED = ["retention", "transfer"]


def practice(frames, size="thesis"):
    return practice_curve(
        frames.points, frames.scores, outcome=frames.outcome, groups=frames.groups, size=size
    )


def scores(frames, size="thesis"):
    means = frames.points
    adjusted = means.rename(columns={"mean": "estimate"})
    return delayed_scores(
        frames.tests,
        means,
        adjusted,
        phases=DELAYED,
        outcome=frames.outcome,
        groups=frames.groups,
        size=size,
    )


def changes(frames):
    wide = frames.tests.pivot_table(
        index=["participant", "group"], columns="phase", values="score"
    ).reset_index()
    return wide.assign(change=wide["retention"] - wide["pretest"])


def change(frames, size="thesis"):
    return paired_change(
        changes(frames), outcome=frames.outcome, groups=frames.groups, detectable=6.0, size=size
    )


def landing(frames, size="thesis"):
    return landing_map(
        frames.trials,
        phases=["pretest", "retention"],
        groups=frames.groups,
        radius=20.0,
        unit="cm",
        size=size,
    )


def forest(frames, size="thesis"):
    names = [f"{phase}: {group} − first" for phase in DELAYED for group in frames.groups]
    effects = pd.DataFrame({"name": names, "estimate": np.linspace(0.8, 1.1, len(names))})
    effects["conf_low"], effects["conf_high"] = effects["estimate"] - 0.1, effects["estimate"] + 0.1
    return effect_forest(
        effects,
        label="ratio of means",
        null=1.0,
        bound=(0.95, 1.05),
        sides=("less", "more"),
        size=size,
    )


def flow(frames, size="thesis"):
    rows = [
        (group, stage, 24 - i, "2 withdrew\n1 ill" if i else "")
        for group in frames.groups
        for i, stage in enumerate(["allocated", "practised", "retention test", "analysed"])
    ]
    frame = pd.DataFrame(rows, columns=["group", "stage", "n", "note"])
    return participant_flow(frame, groups=frames.groups, size=size)


def missing(frames, size="thesis"):
    presence = frames.scores.rename(columns={"phase": "stage"}).assign(share=1.0)
    presence.loc[presence.index % 7 == 0, "share"] = 0.5
    presence = presence[presence.index % 11 != 0]
    stages = ["pretest", "acquisition", "retention", "transfer"]
    return missing_map(presence, stages=stages, groups=frames.groups, size=size)


FIGURES = (practice, scores, change, landing, forest, flow, missing)


@pytest.mark.parametrize("draw", FIGURES)
def test_nothing_overlaps_and_nothing_is_cut(draw, frames):
    drawing = draw(frames)
    assert isinstance(drawing, Drawing)
    assert text_overlaps(drawing.figure) == []
    assert texts_cut(drawing.figure) == []


@pytest.mark.parametrize("draw", FIGURES)
def test_slides_hold_as_well(draw, three):
    drawing = draw(three, "slide")
    assert text_overlaps(drawing.figure) == []
    assert texts_cut(drawing.figure) == []


def test_the_curve_draws_the_means_it_was_given(three):
    axes = practice(three).axes[0]
    drawn = {round(float(y), 9) for line in axes.lines for y in np.atleast_1d(line.get_ydata())}
    assert {round(value, 9) for value in three.points["mean"]} <= drawn


def test_every_participant_has_a_thin_line_or_point(three):
    axes = practice(three).axes[0]
    thin = [
        line for line in axes.lines if line.get_linewidth() == 0.5 and len(line.get_xdata()) == 6
    ]
    assert len(thin) == 2 * three.scores["participant"].nunique()


def test_practice_is_cut_from_the_tests(three):
    axes = practice(three).axes[0]
    lines = [line for line in axes.lines if line.get_zorder() == 4]
    assert max(len(line.get_xdata()) for line in lines) == 6  # no line crosses a break


def test_two_progress_tests_have_their_own_places(three):
    twice = pd.DataFrame(
        {
            "group": "programme",
            "phase": ["progress 1", "progress 2", "retention"],
            "session": np.nan,
            "block": np.nan,
            "mean": [8.0, 10.0, 9.5],
            "conf_low": [7.0, 9.0, 8.5],
            "conf_high": [9.0, 11.0, 10.5],
        }
    )
    scores = three.scores.iloc[:0]
    drawing = practice_curve(twice, scores, outcome=three.outcome, groups=["programme"])
    labels = [text.get_text() for text in drawing.axes[0].get_xticklabels()]
    assert labels == ["progress\n1", "progress\n2", "reten-\ntion"]
    assert text_overlaps(drawing.figure) == []


def test_landing_panels_have_equal_axes_on_one_scale(three):
    panels = landing(three).axes
    assert {axes.get_aspect() for axes in panels} == {1.0}
    assert len({axes.get_xlim() for axes in panels} | {axes.get_ylim() for axes in panels}) == 1


def test_the_ellipse_holds_its_share_of_a_normal_sample(three):
    axes = landing(three).axes[0]
    ellipse = next(patch for patch in axes.patches if isinstance(patch, Ellipse) and not patch.fill)
    xy = three.trials.query("group == 'blocked' and phase == 'pretest'")[["x", "y"]].to_numpy()
    inside = ellipse.get_path().contains_points(
        ellipse.get_patch_transform().inverted().transform(xy)
    )
    assert inside.mean() == pytest.approx(0.95, abs=0.02)
    area = np.pi * ellipse.width * ellipse.height / 4
    expected = np.pi * stats.chi2.ppf(0.95, 2) * np.sqrt(np.linalg.det(np.cov(xy.T)))
    assert area == pytest.approx(expected)


def test_a_missing_estimate_keeps_its_row():
    effects = pd.DataFrame(
        {
            "name": ["retention", "transfer"],
            "estimate": [1.0, np.nan],
            "conf_low": [0.5, np.nan],
            "conf_high": [1.5, np.nan],
        }
    )
    drawing = effect_forest(effects, label="difference (cm)")
    assert "not estimated" in [text.get_text() for text in drawing.axes[0].texts]


def test_points_of_equal_value_are_kept_apart():
    shifts = beeswarm(np.array([5.0, 5.0, 5.0, 9.0]), 0.2)
    assert len(set(shifts[:3])) == 3
    assert (np.abs(shifts) <= 0.2).all()


@pytest.mark.parametrize(
    "draw",
    [
        lambda f: practice_curve(f.points.iloc[:0], f.scores, outcome=f.outcome, groups=f.groups),
        lambda f: paired_change(
            changes(f).assign(change=np.nan), outcome=f.outcome, groups=f.groups
        ),
        lambda f: landing_map(f.trials, phases=["transfer"], groups=f.groups),
        lambda f: delayed_scores(
            f.tests, f.points, phases=["progress"], outcome=f.outcome, groups=f.groups
        ),
    ],
)
def test_an_empty_figure_is_refused(draw, three):
    with pytest.raises(InputError):
        draw(three)


def test_a_ratio_below_zero_is_refused():
    effects = pd.DataFrame(
        {"name": ["x"], "estimate": [0.5], "conf_low": [-0.1], "conf_high": [1.2]}
    )
    with pytest.raises(InputError, match="positive"):
        effect_forest(effects, label="ratio", null=1.0)
