"""Means of a practice curve: intervals of people's means, empty where one person has none."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from motorlearn.analysis.points import group_points
from motorlearn.exceptions import InputError


def test_intervals_are_those_of_scipy_and_one_person_has_none():
    rng = np.random.default_rng(2)
    sizes = {"blocked": 5, "random": 9, "alone": 1}
    cells = pd.concat(
        pd.DataFrame({"group": name, "block": 1, "score": rng.normal(20, 3, n)})
        for name, n in sizes.items()
    )
    found = group_points(cells, ["group", "block"]).set_index("group")
    for name in ("blocked", "random"):
        own = cells.loc[cells["group"] == name, "score"]
        low, high = stats.ttest_1samp(own, 0).confidence_interval()
        assert found.loc[name, ["conf_low", "conf_high"]].tolist() == pytest.approx([low, high])
        assert found.loc[name, "quartile_low"] == pytest.approx(np.quantile(own, 0.25))
    assert found.loc["alone", ["conf_low", "conf_high"]].isna().all()
    narrow = group_points(cells, ["group", "block"], level=0.8).set_index("group")
    assert narrow.loc["blocked", "conf_low"] > found.loc["blocked", "conf_low"]


def test_no_cell_is_refused():
    with pytest.raises(InputError, match="no scores to average"):
        group_points(pd.DataFrame({"group": [], "score": []}), ["group"])
