"""Random structures side by side: equal to single fits, with tests at the edge."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

import motorlearn as ml
from motorlearn.exceptions import InputError
from motorlearn.mixed import random_structures


def test_each_row_equals_a_fit_of_its_own(published, sleepstudy):
    fit = ml.fit_mixed("Reaction ~ Days", sleepstudy, random={"Subject": "1 + Days"})
    found = random_structures(fit).frame
    singles = [
        ml.fit_mixed("Reaction ~ Days", sleepstudy, random={"Subject": part})
        for part in ("1 + Days", ["1", "Days"], "1")
    ]
    assert_allclose(found["loglik"], [one.loglik for one in singles], atol=1e-6)
    assert_allclose(found["aic"], [one.aic for one in singles], atol=1e-5)
    assert list(found["asked"]) == [True, False, False] and not found["singular"].any()
    gain = 2 * (singles[0].loglik - singles[2].loglik)
    # The closed form of tests/reference/mixed_models has the criterion of the first.
    expected = published["sleepstudy_closed_form"]["REML"]["crit"]
    assert_allclose(-2 * found["loglik"].iloc[0], expected, atol=1e-6)
    edge = (stats.chi2.sf(gain, 1) + stats.chi2.sf(gain, 2)) / 2
    assert_allclose(found["p"].iloc[2], edge, rtol=1e-6)
    assert_allclose(found["p"].iloc[1], stats.chi2.sf(found["statistic"].iloc[1], 1))


def test_every_family_and_what_has_nothing_simpler(sleepstudy):
    fit = ml.fit_mixed(
        "Reaction ~ Days", sleepstudy, random={"Subject": ["1", "Days"]}, family="gamma"
    )
    found = random_structures(fit)
    assert len(found.frame) == 2 and found["p"].iloc[1] < 1e-6
    assert "stands first" in str(found)
    lone = ml.fit_mixed("Reaction ~ Days", sleepstudy, random={"Subject": "1"})
    with pytest.raises(InputError, match="nothing simpler"):
        random_structures(lone)
    assert np.isnan(found["p"].iloc[0])
