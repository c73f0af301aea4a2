"""Tables that no figure likes: a picture without a warning, or a refusal in words."""

import warnings
from dataclasses import replace

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest

from motorlearn.exceptions import InputError
from motorlearn.figures import (
    delayed_scores,
    effect_forest,
    estimation_plot,
    interaction_plot,
    landing_map,
    missing_map,
    paired_change,
    paired_lines,
    participant_flow,
    practice_curve,
    raincloud,
    text_overlaps,
    texts_cut,
)

LONG = "practice in a random order with feedback chosen by the learner"  # 62 characters


def differences(frames):
    others = frames.groups[1:]
    return pd.DataFrame(
        {
            "group": others,
            "reference": frames.groups[0],
            "estimate": np.linspace(-1, 1, len(others)),
            "conf_low": -2.0,
            "conf_high": 2.0,
        }
    )


def retention(frames):
    return frames.scores[frames.scores["phase"] == "retention"]


def presence(frames):
    return frames.scores.rename(columns={"phase": "stage"}).assign(share=1.0)


def cell_means(frames):
    tests = frames.scores[frames.scores["phase"].isin(["pretest", "retention"])]
    means = tests.groupby(["phase", "group"], observed=True, as_index=False)["score"].mean()
    cells = [
        means.assign(along=level, mean=means["score"] + shift).rename(columns={"group": "line"})
        for level, shift in (("always", 0.0), ("faded", -2.0))
    ]
    rows = pd.concat(cells, ignore_index=True)
    return rows.assign(conf_low=rows["mean"] - 1, conf_high=rows["mean"] + 1)


def changes(frames):
    rows = retention(frames)
    return rows.assign(change=rows["score"] - rows["score"].median())


def flow(frames):
    rows = [(g, stage, 9, "1 ill") for g in frames.groups for stage in ("allocated", "analysed")]
    return pd.DataFrame(rows, columns=["group", "stage", "n", "note"])


def forest(frames):
    rows = differences(frames)
    return rows.assign(name=[f"Delayed retention: {g} − {frames.groups[0]}" for g in rows["group"]])


# Each takes frames and further keywords, and draws; `rows` cuts its main table to so many rows.
FIGURES = {
    "practice": lambda f, rows=None, **k: practice_curve(
        f.points[:rows], f.scores, outcome=f.outcome, groups=f.groups, **k
    ),
    "scores": lambda f, rows=None, **k: delayed_scores(
        f.tests[:rows], f.points, phases=["retention"], outcome=f.outcome, groups=f.groups, **k
    ),
    "change": lambda f, rows=None, **k: paired_change(
        changes(f)[:rows], outcome=f.outcome, groups=f.groups, **k
    ),
    "lines": lambda f, rows=None, **k: paired_lines(
        f.scores[:rows], outcome=f.outcome, groups=f.groups, **k
    ),
    "landing": lambda f, rows=None, **k: landing_map(
        f.trials[:rows], phases=["retention"], groups=f.groups, unit="cm", **k
    ),
    "forest": lambda f, rows=None, **k: effect_forest(forest(f)[:rows], label="cm", **k),
    "flow": lambda f, rows=None, **k: participant_flow(flow(f)[:rows], groups=f.groups, **k),
    "missing": lambda f, rows=None, **k: missing_map(
        presence(f)[:rows], stages=["pretest", "retention"], groups=f.groups, **k
    ),
    "interaction": lambda f, rows=None, **k: interaction_plot(
        cell_means(f)[:rows],
        lines=f.groups,
        along=["always", "faded"],
        outcome=f.outcome,
        names=("order", "feedback"),
        **k,
    ),
    "raincloud": lambda f, rows=None, **k: raincloud(
        retention(f)[:rows], outcome=f.outcome, groups=f.groups, **k
    ),
    "estimation": lambda f, rows=None, **k: estimation_plot(
        retention(f)[:rows],
        differences(f),
        reference=f.groups[0],
        outcome=f.outcome,
        groups=f.groups,
        **k,
    ),
}
SEVERAL_AXES = {"estimation"}


def drawn_quietly(name, frames, **options):
    """Draw and write a figure with every warning an error."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        drawing = FIGURES[name](frames, **options)
        drawing.figure.draw_without_rendering()
    return drawing


@pytest.fixture(scope="module")
def shapes(make_frames):
    return {
        "one person": make_frames({"programme": 1}),
        "twenty groups": make_frames({f"group {i:02d}": 4 for i in range(20)}, blocks=2),
        "long names": make_frames({f"{LONG} {name}": 6 for name in "ABC"}),
        "many people": make_frames({"blocked": 250, "random": 250}, blocks=2),
    }


@pytest.mark.parametrize("name", FIGURES)
def test_an_empty_table_is_refused_in_words(name, three):
    with pytest.raises(InputError):
        FIGURES[name](three, rows=0)


@pytest.mark.parametrize("name", FIGURES)
@pytest.mark.parametrize(
    "shape",
    [
        "one person",
        "long names",
        pytest.param("twenty groups", marks=pytest.mark.slow),
        pytest.param("many people", marks=pytest.mark.slow),
    ],
)
def test_a_figure_or_a_refusal_and_no_warning(name, shape, shapes):
    refused = {("one person", "forest"), ("one person", "estimation"), ("twenty groups", "landing")}
    if (shape, name) in refused:
        with pytest.raises(InputError):
            FIGURES[name](shapes[shape])
        return
    drawing = drawn_quietly(name, shapes[shape])
    assert texts_cut(drawing.figure) == []
    if shape != "twenty groups":
        assert text_overlaps(drawing.figure) == []


@pytest.mark.parametrize("name", FIGURES)
def test_equal_values_are_drawn(name, three):
    flat = type(three)(
        three.groups,
        three.outcome,
        three.scores.assign(score=7.0),
        three.points.assign(mean=7.0, conf_low=7.0, conf_high=7.0),
        three.trials.assign(x=0.0, y=0.0),
    )
    drawn_quietly(name, flat)


@pytest.mark.parametrize("name", sorted(set(FIGURES) - {"forest"}))
def test_a_group_that_the_plan_does_not_name_is_not_left_out(name, three):
    other = type(three)(["blocked", "serial"], *list(vars(three).values())[1:])
    if name == "flow":
        return
    with pytest.raises(InputError, match="random"):
        FIGURES[name](other)


@pytest.mark.parametrize("name", FIGURES)
def test_it_draws_into_axes_that_are_given(name, make_frames):
    one = make_frames({"blocked": 8, "random": 7})
    if name in {"change", "lines", "landing", "missing"}:
        one = make_frames({"programme": 8})
    if name in SEVERAL_AXES:
        return
    if name == "interaction":
        one = replace(one, scores=retention(one))
    figure, panels = plt.subplots(1, 2)
    drawing = drawn_quietly(name, one, ax=panels[1])
    assert drawing.axes == [panels[1]]
    assert drawing.figure is figure
    assert panels[1].has_data() or panels[1].texts
    assert not panels[0].has_data()
    plt.close(figure)


def test_axes_for_several_panels_are_refused(three):
    figure, axes = plt.subplots()
    with pytest.raises(InputError, match="one for each panel"):
        FIGURES["change"](three, ax=axes)
    plt.close(figure)
