"""Figures of learning curves: what is drawn comes from the result, nothing collides."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.curves import named_form
from motorlearn.exceptions import InputError
from motorlearn.figures import (
    curve_residuals,
    individual_fits,
    parameter_forest,
    population_curve,
    text_overlaps,
    texts_cut,
)

LABEL = "radial error (cm)"


@pytest.fixture(scope="module")
def rows():
    rng = np.random.default_rng(1)
    block = np.arange(1.0, 13.0)
    level = rng.normal(22, 3, 12)
    y = level[:, None] + 14 * np.exp(-0.4 * (block - 1)) + rng.normal(0, 1.5, (12, 12))
    y[3] = 20 + rng.normal(0, 1, 12)
    return pd.DataFrame(
        {
            "participant": np.repeat([f"P{k:02d}" for k in range(1, 13)], 12),
            "group": np.repeat(["blocked", "serial", "random"], 48),
            "block": np.tile(block, 12),
            "radial_error": y.ravel(),
        }
    )


@pytest.fixture(scope="module")
def population(rows):
    return ml.fit_population_curve(
        rows, "radial_error", practice="block", group="group", vary=("asymptote",)
    )


def test_each_panel_names_the_preferred_form(rows):
    fits = ml.fit_curves(rows, "radial_error", practice="block", by="participant")
    drawing = individual_fits(fits, rows, "radial_error", practice="block", label=LABEL)
    titles = [axes.get_title(loc="left") for axes in drawing.axes if axes.axison]
    forms = fits.preferred["form"].replace("no change", "level")
    assert titles == [f"{p}: {f}" for p, f in zip(fits.preferred["participant"], forms)]
    assert titles[3] == "P04: level"
    assert texts_cut(drawing.figure) == []
    line = drawing.axes[0].lines[1].get_ydata()
    own = fits.table.set_index(["participant", "form"]).loc[("P01", fits.preferred["best"][0])]
    assert line[0] == pytest.approx(own["start"])


def test_a_level_is_not_headed_by_the_name_of_a_form(rows):
    """A form may lead and show no change all the same; what is drawn then is a level."""
    fits = ml.fit_curves(rows, "radial_error", practice="block", by="participant")
    chosen = fits.preferred.assign(form=fits.preferred["form"].replace("no change", "exponential"))
    changed = replace(fits, preferred=chosen)
    drawing = individual_fits(changed, rows, "radial_error", practice="block", label=LABEL)
    assert drawing.axes[3].get_title(loc="left") == "P04: level"
    assert np.ptp(drawing.axes[3].lines[1].get_ydata()) == 0


def test_each_group_has_rows_of_its_own(rows):
    fits = ml.fit_curves(rows, "radial_error", practice="block", by="participant")
    drawing = individual_fits(
        fits, rows, "radial_error", practice="block", label=LABEL, group="group", columns=3
    )
    assert len(drawing.axes) == 18 and sum(axes.axison for axes in drawing.axes) == 12
    marks = {k: axes.get_ylabel() for k, axes in enumerate(drawing.axes) if axes.get_ylabel()}
    assert marks == {0: "blocked", 6: "serial", 12: "random"}
    assert drawing.axes[6].get_title(loc="left").startswith("P05")
    assert texts_cut(drawing.figure) == []


def test_figures_of_a_population_stand_in_the_order_of_the_plan(population):
    order = ["blocked", "serial", "random"]
    drawing = population_curve(population, label=LABEL, order=order)
    assert [axes.get_title(loc="left") for axes in drawing.axes] == [
        f"{group} (n = 4)" for group in order
    ]
    places = [drawing.alt.index(name) for name in order]
    assert places == sorted(places)
    forest = parameter_forest(population, order=order)
    assert [tick.get_text() for tick in forest.axes[0].get_yticklabels()] == order
    points = {k: line.get_xdata()[0] for k, line in enumerate(forest.axes[0].lines[2::3])}
    own = dict(zip(population.groups, population.cells()[:, 0]))
    assert points == pytest.approx({k: own[name] for k, name in enumerate(order)})
    places = [forest.alt.index(f"{name} asymptote") for name in order]
    assert places == sorted(places)


def test_the_population_curve_is_the_prediction(population):
    drawing = population_curve(population, label=LABEL)
    drawn = drawing.axes[0].lines[-1].get_ydata()
    wanted = population.predict(np.array([1.0, 12.0]))["estimate"]
    assert drawn[[0, -1]] == pytest.approx(wanted[:2].to_numpy())
    assert text_overlaps(drawing.figure) == [] and texts_cut(drawing.figure) == []
    assert "blocked" in drawing.alt


@pytest.mark.parametrize("form", ["s_shaped", "two_processes"])
def test_a_population_with_two_rates_is_drawn(form):
    """The line of the curve is its prediction, and thin lines are those of the learners."""
    rng, trial = np.random.default_rng(3), np.arange(1.0, 41.0)
    rows = []
    for person in range(8):
        low, gain = 20 + rng.normal(0, 2), 18 + rng.normal(0, 2)
        fall = 1 / (1 + np.exp(0.35 * (trial - 12 - rng.normal())))
        if form == "two_processes":
            fall = 0.5 * np.exp(-(trial - 1) / 2) + 0.5 * np.exp(-(trial - 1) / (15 + person))
        scores = low + gain * fall + rng.normal(0, 0.5, 40)
        rows.append(pd.DataFrame({"participant": f"P{person}", "trial": trial, "error": scores}))
    fit = ml.fit_population_curve(
        pd.concat(rows), "error", practice="trial", form=form, vary=("asymptote",)
    )
    drawing = population_curve(fit, label="error (cm)")
    lines = drawing.axes[0].lines
    assert lines[-1].get_ydata()[0] == pytest.approx(fit.predict([1.0])["estimate"][0])
    own = fit.learner_curves([1.0, 40.0])
    apart = fit.learner_cells[:, 0] - fit.learner_cells[0, 0]
    assert own[:, 1] - own[0, 1] == pytest.approx(apart, abs=1e-8)  # they differ in level alone
    assert lines[2].get_ydata()[[0, -1]] == pytest.approx(own[2])
    assert named_form(form).title in drawing.caption


def test_the_forest_shows_each_groups_own_estimate(population):
    drawing = parameter_forest(population, unit="cm")
    points = [line.get_xdata()[0] for line in drawing.axes[0].lines[2::3]]
    assert points == pytest.approx(population.cells()[:, 0])
    rates = [line.get_xdata()[0] for line in drawing.axes[2].lines[2::3]]
    assert rates == pytest.approx(np.exp(population.cells()[:, 2]))
    assert texts_cut(drawing.figure) == []
    assert "curve by group" in drawing.caption and "rate by group" in drawing.alt


def test_the_forest_of_one_curve_speaks_of_no_groups(rows):
    one = ml.fit_population_curve(rows, "radial_error", practice="block", vary=["gain"])
    drawing = parameter_forest(one, unit="cm")
    assert "group" not in drawing.caption + drawing.alt


def test_the_forest_shows_the_intervals_of_the_table(population):
    told = population.estimates.set_index("term").loc["asymptote", ["conf_low", "conf_high"]]
    drawn = parameter_forest(population, unit="cm").axes[0].lines[1].get_xdata()
    assert drawn == pytest.approx(told.to_numpy(dtype=float))
    without = replace(population, estimates=population.estimates.assign(std_error=np.nan))
    drawing = parameter_forest(without, unit="cm")
    assert np.isnan(drawing.axes[0].lines[1].get_xdata()).all()
    assert "estimate without an interval" in drawing.caption and "not estimated" in drawing.alt


def test_residuals_of_one_learner_and_of_a_population(rows, population):
    part = rows[rows["participant"] == "P01"]
    one = ml.fit_curve(part["block"], part["radial_error"])
    for fit in (one, population):
        drawing = curve_residuals(fit, label=LABEL)
        assert "lag 1" in drawing.axes[1].get_title(loc="left")
        assert drawing.alt and drawing.caption
        assert not drawing.axes[
            0
        ].texts  # a name at the end of the line would stand on that of zero
    drawn = curve_residuals(one, label=LABEL).axes[0].lines[1].get_ydata()
    assert np.array_equal(drawn, one.residuals)


def test_what_cannot_be_drawn_is_refused(rows):
    fits = ml.fit_curves(rows, "radial_error", practice="block", by=["participant", "group"])
    with pytest.raises(InputError, match="one column"):
        individual_fits(fits, rows, "radial_error", practice="block", label=LABEL)
    single = ml.fit_curves(rows, "radial_error", practice="block", by="participant")
    with pytest.raises(InputError, match="no fits"):
        individual_fits(
            single, rows, "radial_error", practice="block", label=LABEL, learners=["P99"]
        )
    few = ml.fit_curve([1, 2], [3.0, 2.0])
    with pytest.raises(InputError, match="too few"):
        curve_residuals(few, label=LABEL)


def test_with_five_blocks_the_closest_form_is_drawn_though_aicc_prefers_none():
    block = np.arange(1.0, 6.0)
    rows = pd.DataFrame({
        "participant": np.repeat(["P1", "P2"], 5),
        "block": np.tile(block, 2),
        "time": np.concatenate([
            [16.0, 13.9, 12.9, 11.1, 9.7], [9.7, 10.1, 7.7, 8.3, 7.9],
        ]),
    })  # fmt: skip
    fits = ml.fit_curves(rows, "time", practice="block", by="participant")
    assert not np.isfinite(fits.table["aicc"]).any()
    drawing = individual_fits(fits, rows, "time", practice="block", label="time (s)")
    assert "too few scores for AICc to prefer a form" in drawing.caption
    assert "names the form preferred" not in drawing.caption
    assert [len(axes.lines) for axes in drawing.axes] == [2, 2]
    best = fits.table[fits.table["participant"] == "P1"].nlargest(1, "loglik").iloc[0]
    line = drawing.axes[0].lines[1]
    wanted = fits.line(best, np.asarray(line.get_xdata()), block, rows["time"][:5])
    assert line.get_ydata() == pytest.approx(wanted)
