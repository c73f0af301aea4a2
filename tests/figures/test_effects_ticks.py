"""Labels of ticks: thinned within the limits, which stay."""

import pandas as pd
import pytest

from motorlearn.figures import effect_forest, text_overlaps
from motorlearn.figures.drawing.labels import thin_ticks
from motorlearn.figures.drawing.style import canvas, house


@pytest.mark.parametrize("size", ["column", "thesis"])
def test_ticks_beyond_the_limits_do_not_widen_a_forest(size):
    rows = pd.DataFrame({
        "name": ["as analysed", "not adjusted for the baseline", "without who matters most"],
        "estimate": [-0.18, -0.42, -0.24],
        "conf_low": [-0.64, -0.99, -0.68],
        "conf_high": [0.27, 0.16, 0.21],
    })  # fmt: skip
    drawing = effect_forest(rows, label="choice − yoked, difference (s)", size=size)
    assert text_overlaps(drawing.figure) == []


def test_limits_stay_where_labels_are_thinned():
    with house("thesis"):
        _, (axes,) = canvas("thesis")
        axes.set_xlim(-1.1, 0.3)
        thin_ticks(axes)
        assert axes.get_xlim() == (-1.1, 0.3)
