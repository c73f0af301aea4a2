"""Figures of planning: they show their numbers, no text collides, and every one has its words."""

import itertools

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.figures import (
    contrast_ratio,
    design_timeline,
    load_by_week,
    power_contour,
    power_curves,
    text_overlaps,
    texts_cut,
    trial_order_raster,
)
from motorlearn.figures.drawing.levels import relative_luminance
from motorlearn.figures.plan.orders import TASK_COLOURS
from motorlearn.plan import throw_load

CONTENT = {
    "study": {"title": "Ring push"},
    "groups": [
        {"name": "blocked", "schedule": "blocked", "size": 4},
        {"name": "random", "schedule": "random", "size": 4},
    ],
    "tasks": [{"name": "straight"}, {"name": "bank"}, {"name": "lob"}],
    "target": {"radius": 20},
    "practice": [
        {"session": s, "day": s - 1, "trials_per_block": 18, "feedback_every": 2} for s in (1, 2)
    ],
    "tests": [
        {"phase": "pretest", "trials": 12, "effort": "maximal"},
        {"phase": "retention", "trials": 12, "interval_days": 7},
    ],
    "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    "primary": {"outcome": "radial_error", "groups": ["random", "blocked"]},
    "assumptions": {"baseline": 38, "between_sd": 6.5, "within_sd": 15, "gain": 12},
}
DESIGN = ml.design.design_from_mapping(CONTENT)


@pytest.fixture(scope="module")
def practice():
    table = ml.simulate_study(DESIGN, seed=1, missing=False).trials.table
    return table[table["phase"] == "acquisition"]


@pytest.fixture(scope="module")
def power():
    return ml.power(DESIGN, n=[8, 16, 32], trials=[6, 12], simulations=100, seed=1, effects=[4])


def drawn(practice, power, size):
    return [
        trial_order_raster(
            practice,
            groups=DESIGN.group_names,
            tasks=["straight", "bank", "lob"],
            size=size,
        ),
        load_by_week(throw_load(DESIGN), limit=50, limit_source="our club", size=size),
        power_curves(power, size=size),
        power_contour(power, effect="given", size=size),
        design_timeline(DESIGN, size=size),
    ]


@pytest.mark.parametrize("size", ["thesis", "slide"])
def test_no_text_collides_or_is_cut_and_all_have_words(practice, power, size):
    for drawing in drawn(practice, power, size):
        assert text_overlaps(drawing.figure) == [], drawing.name
        assert texts_cut(drawing.figure) == [], drawing.name
        assert len(drawing.caption) > 60
        assert len(drawing.alt) > 40


def test_raster_shows_each_trial_and_names_its_switch_rate(practice):
    drawing = trial_order_raster(
        practice, groups=DESIGN.group_names, tasks=["straight", "bank", "lob"]
    )
    picture = drawing.axes[0].images[0].get_array()
    assert picture.shape == (4, 36)
    # Blocked: each line has three runs in each of two sessions.
    assert set((np.diff(picture[:, :18], axis=1) != 0).sum(axis=1)) == {2}
    assert "switch rate 0.12" in drawing.axes[0].get_title(loc="left")
    assert "blocked 0.12" in drawing.alt


def test_tasks_differ_in_grey():
    light = [relative_luminance(colour) for colour in TASK_COLOURS]
    assert light == sorted(light)
    ratios = [contrast_ratio(a, b) for a, b in itertools.pairwise(TASK_COLOURS)]
    assert min(ratios) > 1.3


def test_load_bars_add_up_and_the_limit_is_drawn():
    drawing = load_by_week(throw_load(DESIGN), limit=30)
    heights = sum(bar.get_height() for bar in drawing.axes[0].patches if bar.get_width() == 0.62)
    assert heights == 12 + 36 + 12
    assert "1 of 2 weeks are above the limit of 30" in drawing.alt
    assert "predicts no injury" in drawing.caption


def test_power_curve_has_a_point_per_size_with_its_interval(power):
    drawing = power_curves(power)
    bars = drawing.axes[0].containers
    assert len(bars) == 2
    table = power.table.query("trials == 12 and kind == 'power'")
    assert np.allclose(bars[1].lines[0].get_ydata(), table["power"])
    assert "95 % Monte-Carlo intervals" in drawing.caption
    with pytest.raises(InputError, match="two or more n"):
        power_curves(ml.power(DESIGN, n=8, simulations=10, seed=1))


def test_power_contour_needs_a_grid(power):
    with pytest.raises(InputError, match="no such effect"):
        power_contour(power, effect="huge")
    line = ml.power(DESIGN, n=[8, 9], simulations=10, seed=1, effects=[4])
    with pytest.raises(InputError, match="two or more n and trials"):
        power_contour(line, effect="given")


def test_timeline_joins_equal_sessions_and_names_the_gap():
    drawing = design_timeline(DESIGN)
    texts = [text.get_text() for text in drawing.axes[0].texts]
    assert any("2 sessions" in text for text in texts)
    assert any("7 days\nwithout\npractice" in text for text in texts)
    assert "feedback:\nevery 2 trials" in texts
    assert "practice (days 0 to 1, 36 trials)" in drawing.alt


def test_unusable_input_is_refused(practice):
    with pytest.raises(ColumnError, match="lacks a column"):
        trial_order_raster(practice.drop(columns="task"), groups=["a"], tasks=["b"])
    with pytest.raises(InputError, match="no group"):
        trial_order_raster(practice, groups=["other"], tasks=["straight"])
    with pytest.raises(InputError, match="more tasks"):
        trial_order_raster(practice, groups=DESIGN.group_names, tasks=list("abcdefg"))
    assert isinstance(practice, pd.DataFrame)


def test_a_gap_of_one_day_is_singular():
    tests = [{"phase": "pretest", "trials": 6}]
    tests.append({"phase": "retention", "trials": 6, "interval_days": 1})
    plan = ml.design.design_from_mapping(CONTENT | {"tests": tests})
    figure = design_timeline(plan).figure
    said = [text.get_text() for text in figure.axes[0].texts]
    assert "1 day\nwithout\npractice" in said


def test_a_gap_after_a_delayed_test_counts_from_that_test():
    """A week to the first and eight days to the second are one day apart, not fifteen in all."""
    tests = [
        {"phase": "pretest", "trials": 6},
        {"phase": "retention", "trials": 6, "interval_days": 7},
        {"phase": "transfer", "trials": 6, "interval_days": 8},
    ]
    figure = design_timeline(ml.design.design_from_mapping(CONTENT | {"tests": tests})).figure
    said = [text.get_text() for text in figure.axes[0].texts]
    assert "7 days\nwithout\npractice" in said and "1 day\nlater" in said
    assert not any(text.startswith("8 days\nwithout") for text in said)


def test_tests_without_days_are_not_placed_in_time():
    tests = [
        {"phase": "progress", "name": "week 2", "week": 2, "session": 2, "trials": 20},
        {"phase": "retention", "name": "late", "session": 3, "interval_days": 7, "trials": 20},
    ]
    kept = {k: v for k, v in CONTENT.items() if k != "practice"}
    with pytest.raises(InputError, match="late"):
        design_timeline(ml.design.design_from_mapping(kept | {"tests": tests}))
    tests[1]["week"] = 9
    drawing = design_timeline(ml.design.design_from_mapping(kept | {"tests": tests}))
    assert drawing.alt.index("week 2") < drawing.alt.index("late")


def test_the_load_names_only_what_is_planned():
    drawing = load_by_week(throw_load(DESIGN))
    named = [text.get_text() for text in drawing.figure.legends[0].get_texts()]
    weeks = throw_load(DESIGN).weeks
    assert ("warm-up" in named) == bool((weeks["warm_up"] > 0).any())
    assert ("warm-up" in drawing.caption) == ("warm-up" in named)
    assert ("diamonds" in drawing.caption) == ("at maximal effort" in named)
