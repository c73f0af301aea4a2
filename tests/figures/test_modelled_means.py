"""Figure of what a model of ratings or counts says of each group at each test."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn import digits
from motorlearn.exceptions import InputError
from motorlearn.figures import canvas, house, modelled_means, modelled_spreads, texts_cut
from motorlearn.wording import variability_sentences


@pytest.fixture(scope="module")
def table():
    rng = np.random.default_rng(2)
    found = pd.DataFrame({"participant": np.repeat(np.arange(12), 10)})
    found["group"] = np.where(found["participant"] % 2, "blocked", "random")
    found["rating"] = rng.integers(0, 3, 120)
    found["catches"] = rng.poisson(2, 120)
    return found


@pytest.mark.parametrize(("outcome", "family"), [("rating", "ordinal"), ("catches", "poisson")])
def test_bars_or_means(table, outcome, family):
    fit = ml.fit_mixed(f"{outcome} ~ group", table, random={"participant": "1"}, family=family)
    drawing = modelled_means(fit, by=("group", "test"), label="Technique")
    axes = drawing.axes[0]
    assert [tick.get_text() for tick in axes.get_yticklabels()] == ["blocked", "random"]
    assert not texts_cut(drawing.figure) and drawing.alt and drawing.caption
    if family == "ordinal":
        ends = [bar.get_x() + bar.get_width() for bar in axes.patches]
        assert np.isclose(max(ends), 1.0) and len(axes.patches) == 6
        assert "most often" in drawing.alt
    with house():
        _, panels = canvas()
        assert modelled_means(fit, by="group", label="t", ax=panels[0]).axes[0] is panels[0]
    with pytest.raises(InputError, match="none of these"):
        modelled_means(fit, by=("phase",), label="t")


def test_spreads_with_intervals_and_their_sentences(table):
    table = table.assign(error=np.random.default_rng(5).normal(20, 3, 120))
    fit = ml.fit_variability("error ~ group", table, spread="group")
    drawing = modelled_spreads(fit, by=("group", "test"), label="Error (cm)")
    axes = drawing.axes[0]
    assert [tick.get_text() for tick in axes.get_yticklabels()] == ["blocked", "random"]
    assert axes.get_xscale() == "log" and not texts_cut(drawing.figure)
    low, high = axes.get_xlim()
    assert low < fit.spreads("group")["conf_low"].min() < high and "blocked" in drawing.alt
    with pytest.raises(InputError, match="none of these"):
        modelled_spreads(fit, by="phase", label="t")
    ratio, beside = variability_sentences(fit, "group")
    row = fit.ratios("group").frame.iloc[0]
    assert ratio.startswith("A typical performer of random scattered")
    assert f"{row['estimate']:.3g}" in ratio and ("holds 1" in ratio) == (
        row["conf_low"] < 1 < row["conf_high"]
    )
    assert "bivariate variable error" in beside and "95 % CI" in ratio
    wider = ml.fit_variability("error ~ group", table, spread="group", level=0.9)
    told = variability_sentences(wider, "group")[0]
    low, high = wider.ratios("group", level=0.9).frame.loc[0, ["conf_low", "conf_high"]]
    assert f"90 % CI {digits.significant(low)} to {digits.significant(high)}" in told
