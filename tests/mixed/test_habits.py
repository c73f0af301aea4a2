"""Habits that users of general libraries bring along work on a fit and on its means."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

import motorlearn as ml
from motorlearn.mixed.estimates import Estimates
from motorlearn.results import Result


@pytest.fixture(scope="module")
def fit():
    rng = np.random.default_rng(2)
    rows = pd.DataFrame(
        [(f"p{i}", "ab"[i % 2], phase) for i in range(20) for phase in ("pre", "post") * 3],
        columns=["participant", "group", "phase"],
    )
    own = rng.normal(0, 1, 20)
    rows["time"] = 5 + own[rows["participant"].str[1:].astype(int)] + rng.normal(0, 0.5, len(rows))
    return rows, ml.fit_mixed("time ~ group * phase", rows, random={"participant": "1"})


def test_params_bse_and_intervals_have_the_shapes_of_statsmodels(fit):
    rows, ours = fit
    theirs = smf.mixedlm("time ~ group * phase", rows, groups=rows["participant"]).fit()
    fixed = theirs.fe_params
    np.testing.assert_allclose(ours.params[fixed.index], fixed, rtol=1e-4)
    np.testing.assert_allclose(ours.bse[fixed.index], theirs.bse_fe, rtol=1e-3)
    assert list(ours.conf_int()) == list(theirs.conf_int()) == [0, 1]
    low, high = ours.estimates.set_index("term")[["conf_low", "conf_high"]].T.to_numpy()
    np.testing.assert_allclose(ours.conf_int(), np.column_stack([low, high]))
    wide = ours.conf_int(level=0.99)
    assert (wide[1] - wide[0] > high - low).all()
    assert list(ours.pvalues.index) == list(ours.params.index)
    assert "Fixed effects" in ours.summary()


def test_means_and_contrasts_are_results_that_act_as_their_frame(fit):
    _, ours = fit
    means = ml.marginal_means(ours, "group", within="phase")
    pairs = ml.contrasts(ours, "group", within="phase")
    for found in (means, pairs):
        assert isinstance(found, Estimates) and isinstance(found, Result)
        assert len(found) == len(found.frame) and list(found) == list(found.frame)
        assert found["estimate"].equals(found.frame["estimate"])
        assert found.query("phase == 'pre'").shape[0] == len(found) / 2
        assert "phase" in found and found.loc[0, "phase"] in ("pre", "post")
        again = Estimates.from_json(found.to_json())
        pd.testing.assert_frame_equal(again.frame, found.frame)
        assert "<table" in found._repr_html_() and len(repr(found)) < 600
    with pytest.raises(AttributeError):
        means.nonsense  # noqa: B018
