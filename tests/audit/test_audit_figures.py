"""Figures of the audit, of agreement and of landmarks: what is drawn and what is said."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.audit import sensitivity
from motorlearn.exceptions import InputError
from motorlearn.figures import (
    bland_altman,
    category_agreement,
    conclusion_forest,
    cutoff_choice,
    decision_curves,
    diagnostic_panel,
    rater_drift,
    stick_figure,
    text_overlaps,
    texts_cut,
    tipping_path,
)
from motorlearn.measures import Landmarks


def comparison(missing=()):
    rng = np.random.default_rng(0)
    rows = []
    for group, effect in (("blocked", 0), ("random", -3)):
        for i in range(16):
            pre = rng.normal(40, 5)
            rows.append((f"{group}{i}", group, "pretest", pre))
            if f"{group}{i}" not in missing:
                score = 10 + 0.6 * pre + effect + rng.normal(0, 3)
                rows.append((f"{group}{i}", group, "retention", score))
    table = pd.DataFrame(rows, columns=["participant", "group", "phase", "radial_error"])
    return ml.compare_phases(table, "radial_error", group="group", baseline="pretest")


def ratings(order=True):
    rng = np.random.default_rng(1)
    true = rng.normal(5, 1.5, 60)
    rows = [
        pd.DataFrame(
            {
                "clip": range(60),
                "rater": name,
                "score": np.round(true + rng.normal(0, 0.7, 60)),
                "seen": rng.permutation(60),
            }
        )
        for name in ("A", "B")
    ]
    return ml.rater_agreement(
        pd.concat(rows), item="clip", rater="rater", score="score", kind="continuous",
        order="seen" if order else None,
    )  # fmt: skip


def clip():
    time = np.linspace(0, 1, 80)
    rng = np.random.default_rng(2)
    rest = {"hip": (0, 90), "shoulder": (5, 140), "elbow": (35, 140), "wrist": (35, 170)}
    points = {
        name: np.column_stack([x + 5 * np.sin(6 * time), y + 5 * np.cos(6 * time)])
        + rng.normal(0, 0.2, (80, 2))
        for name, (x, y) in rest.items()
    }
    return Landmarks(points, np.arange(80), rate=100, events={"top": 3}, unit="cm")


SEGMENTS = [("hip", "shoulder"), ("shoulder", "elbow"), ("elbow", "wrist")]


NAMES = (
    "diagnostics",
    "effect-forest",
    "tipping-path",
    "bland-altman",
    "rater-drift",
    "category-agreement",
    "decision-curves",
    "stick-figure",
    "cutoff-choice",
)


def graded():
    pairs = [("no", "no")] * 9 + [("yes", "yes")] * 6 + [("no", "yes")] * 2 + [("yes", "no")]
    rows = [(i, r, s) for i, pair in enumerate(pairs) for r, s in zip("AB", pair)]
    table = pd.DataFrame(rows, columns=["clip", "rater", "score"])
    return ml.rater_agreement(table, item="clip", rater="rater", score="score", kind="nominal")


def rated_clips():
    rng = np.random.default_rng(5)
    rows = [(f"p{p}", f"p{p}.{c}", r) for p in range(8) for c in range(3) for r in "ABC"]
    table = pd.DataFrame(rows, columns=["participant", "clip", "rater"])
    level = table["participant"].map(dict(zip(table["participant"].unique(), rng.normal(0, 2, 8))))
    table["score"] = (
        level + table["rater"].map({"A": 0, "B": 0.5, "C": -0.5}) + rng.normal(0, 1, 72)
    )
    return ml.analysis.generalisability(table, "score", facets=["rater"], nested=["clip"])


def test_category_agreement_counts_the_pairs():
    drawing = category_agreement(graded(), pair=("B", "A"))
    texts = sorted(int(text.get_text()) for text in drawing.axes[0].texts)
    assert texts == [1, 2, 6, 9] and "83" in drawing.alt
    with pytest.raises(InputError, match="no common items"):
        category_agreement(graded(), pair=("A", "C"))
    with pytest.raises(InputError, match="grades or categories"):
        category_agreement(ratings())
    with pytest.raises(InputError, match="no such facet"):
        decision_curves(rated_clips(), over="item")


@pytest.fixture(scope="module")
def drawings():
    return {drawing.name: drawing for drawing in drawn()}


def drawn():
    result = comparison(missing=("random1", "random2"))
    tried = sensitivity(result, permutations=99)
    yield diagnostic_panel(ml.check_assumptions(result, remedies=False))
    yield conclusion_forest(tried)
    yield tipping_path(tried)
    yield bland_altman(ratings())
    yield rater_drift(ratings())
    yield category_agreement(graded())
    yield decision_curves(rated_clips())
    yield stick_figure(clip(), SEGMENTS, at="top", angles=[("shoulder", "elbow", "wrist")])
    yield cutoff_choice(clip(), "wrist")


@pytest.mark.parametrize("name", NAMES)
def test_every_figure_has_words_and_no_text_collides_or_is_cut(drawings, name):
    drawing = drawings[name]
    assert drawing.caption.endswith(".")
    assert drawing.alt.endswith(".")
    assert text_overlaps(drawing.figure) == []
    assert texts_cut(drawing.figure) == []
    assert len(drawing.png(dpi=60)) > 3000


def test_panel_speaks_of_the_residuals_it_draws():
    audit = ml.check_assumptions(comparison(), remedies=False)
    drawing = diagnostic_panel(audit)
    assert "32 points" in drawing.alt
    assert audit.verdict in drawing.alt
    with pytest.raises(InputError, match="'transfer'"):
        diagnostic_panel(audit, analysis="transfer")


def test_panel_of_one_group_and_of_a_curve():
    n = np.arange(1, 41)
    y = 20 + 10 * np.exp(-0.1 * n) + np.random.default_rng(0).normal(0, 1, 40)
    drawing = diagnostic_panel(ml.check_assumptions(ml.fit_curve(n, y), remedies=False))
    assert "exponential curve" in drawing.caption


def test_agreement_has_no_residual_panel_but_its_own_figures():
    with pytest.raises(InputError, match="no residuals"):
        diagnostic_panel(ml.check_assumptions(ratings()))
    drawing = bland_altman(ratings(), pair=("B", "A"))
    row = ratings().limits.iloc[0]
    assert f"{row['bias']:.2f}".lstrip("-") in drawing.alt
    with pytest.raises(InputError, match="no common items"):
        bland_altman(ratings(), pair=("A", "C"))
    with pytest.raises(InputError, match="order"):
        rater_drift(ratings(order=False))


def test_line_of_no_effect_stands_where_the_table_says_whatever_the_label():
    tried = sensitivity(comparison(missing=("random1",)), permutations=99)
    named = [
        frame.assign(contrast=frame["contrast"].str.replace("difference", "aspect ratio"))
        for frame in (tried.table, tried.shifts, tried.tipping)
    ]
    odd = replace(tried, table=named[0], shifts=named[1], tipping=named[2])
    assert set(odd.table["null"].dropna()) == {0.0, 1.0}
    forest, path = conclusion_forest(odd), tipping_path(odd)
    assert forest.axes[0].get_xscale() == "linear"
    assert 0.0 in [line.get_ydata()[0] for line in path.axes[0].lines[1:]]
    ratios = tried.table.loc[tried.table["null"] == 1.0, "contrast"].iloc[0]
    assert conclusion_forest(tried, contrast=ratios).axes[0].get_xscale() == "log"


def test_nothing_missing_has_no_tipping_path():
    with pytest.raises(InputError, match="no missing score"):
        tipping_path(sensitivity(comparison(), permutations=99))


def test_stick_figure_writes_the_angle_and_the_caution():
    drawing = stick_figure(clip(), SEGMENTS, at="top", angles=[("shoulder", "elbow", "wrist")])
    assert "elbow 90°" in drawing.alt or "elbow 91°" in drawing.alt or "elbow 89°" in drawing.alt
    assert "not a diagnosis" in drawing.caption
    smoothed = stick_figure(clip().smoothed(cutoff=8), SEGMENTS, at=10)
    assert "Butterworth low-pass, cut-off 8 Hz" in smoothed.caption
    with pytest.raises(InputError, match="no such frame"):
        stick_figure(clip(), SEGMENTS, at=200)
    gap = clip()
    gap.points["wrist"][3] = np.nan
    with pytest.raises(InputError, match="'wrist'"):
        stick_figure(gap, SEGMENTS, at="top")


@pytest.mark.parametrize("size", ["thesis", "slide"])
def test_both_sizes(size):
    audit = ml.check_assumptions(comparison(), remedies=False)
    assert diagnostic_panel(audit, size=size).axes
    assert conclusion_forest(sensitivity(comparison(), permutations=99), size=size).axes
