"""What every public figure function does alike: axes in and out, themes, sizes, order of groups."""

import inspect
import warnings
from dataclasses import replace

import matplotlib as mpl
import pytest
import seaborn as sns
from every_figure import CALLS, PLAN, draw, power
from matplotlib.axes import Axes
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure

from motorlearn import figures
from motorlearn.exceptions import InputError
from motorlearn.figures import SIZES, Drawing, text_overlaps, texts_cut

NEEDS_SEVERAL = {
    "curve_residuals", "diagnostic_panel", "estimation_plot", "individual_fits",
    "multiverse_plot", "parameter_forest",
}  # fmt: skip
WITHOUT_LABELS = {"design_timeline", "participant_flow", "individual_fits"}
"""Drawings of boxes, which have no axes to name, and many small panels with a type of their own."""
IN_ORDER = {
    "raincloud": lambda axes: [t.get_text() for t in axes.get_xticklabels()],
    "modelled_means": lambda axes: [t.get_text() for t in axes.get_yticklabels()],
    "speed_and_outcome": lambda axes: axes.get_legend_handles_labels()[1],
}
"""Where a single panel names its groups in their order."""


def functions():
    """Public functions that give a drawing."""
    found = ((name, getattr(figures, name)) for name in figures.__all__)
    return {
        name: function
        for name, function in found
        if inspect.isfunction(function) and inspect.signature(function).return_annotation is Drawing
    }


def test_every_function_is_called_here_and_takes_axes_or_needs_several():
    known = functions()
    assert set(known) == set(CALLS)
    takes = {name for name, f in known.items() if "ax" in inspect.signature(f).parameters}
    assert takes == set(known) - NEEDS_SEVERAL
    assert all("size" in inspect.signature(f).parameters for f in known.values())


@pytest.fixture
def theme():
    before = mpl.rcParams.copy()
    sns.set_theme(style="darkgrid", rc={"axes.labelsize": 17.0, "xtick.labelsize": 15.0})
    yield
    mpl.rcParams.update(before)


@pytest.mark.usefixtures("theme")
@pytest.mark.parametrize("name", CALLS)
def test_axes_come_in_and_out_and_keep_the_theme_of_the_user(name):
    figure = Figure(figsize=(9, 4))
    other, given = figure.subplots(1, 2)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        drawing = draw(name) if name in NEEDS_SEVERAL else draw(name, ax=given)
    assert isinstance(drawing, Drawing)
    assert all(isinstance(axes, Axes) for axes in drawing.axes)
    if name in NEEDS_SEVERAL:
        assert len([axes for axes in drawing.axes if axes.axison]) > 1
    else:
        assert drawing.axes == [given] and drawing.figure is figure
        assert given.has_data() or given.texts or given.patches
        assert not other.has_data()
    if name in IN_ORDER:
        assert IN_ORDER[name](given) == PLAN
    if name not in WITHOUT_LABELS:
        keeps_the_theme(drawing)


def keeps_the_theme(drawing):
    """Paper and type are those of the theme; a label that had no room may be smaller."""
    shown = [axes for axes in drawing.axes if axes.axison and axes.get_visible()]
    assert any(axes.get_facecolor() == to_rgba("#EAEAF2") for axes in shown)
    named = [a.label for axes in shown for a in (axes.xaxis, axes.yaxis) if a.label.get_text()]
    ticks = [t for axes in shown for t in axes.get_xticklabels() if t.get_text()]
    assert {text.get_size() for text in named} <= {17.0} and (named or ticks)
    assert named or {text.get_size() for text in ticks} == {15.0}


@pytest.mark.slow
@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", CALLS)
def test_every_size_keeps_texts_apart_and_on_the_page(name, size):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        drawing = draw(name, size=size)
        drawing.figure.draw_without_rendering()
    assert drawing.figure.get_figwidth() == pytest.approx(SIZES[size].width)
    assert texts_cut(drawing.figure) == []
    assert text_overlaps(drawing.figure) == []


def test_an_effect_that_is_named_twice_is_asked_for_by_its_size():
    twice = replace(power(), table=power().table.assign(effect_name="given"))
    with pytest.raises(InputError, match="several effects"):
        figures.power_contour(twice, effect="given")
    one = figures.power_contour(twice, effect=4.0)
    assert "'given' (4)" in one.caption
    assert "No line is drawn" in figures.power_contour(twice, effect=0.0).caption
