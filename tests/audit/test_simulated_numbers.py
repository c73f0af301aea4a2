"""Simulated residuals and the numbers made of them, by hand and against their distribution."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from motorlearn.audit.mixed.model import MixedModel
from motorlearn.audit.mixed.simulated import _compared, _distance_from_normal, _residuals


def test_a_number_beyond_every_simulation_never_has_a_p_of_zero():
    # (1 + number of simulations as large) / (1 + simulations); Phipson & Smyth 2010.
    assert _compared(5.0, np.array([1.0, 2.0, 3.0])).p == pytest.approx(1 / 4)
    assert _compared(2.0, np.array([1.0, 2.0, 3.0])).p == pytest.approx(3 / 4)


def test_distance_from_normal_by_hand():
    # One value at the centre: -1 - 1 (ln ½ + ln ½).
    assert _distance_from_normal(np.zeros((1, 1)))[0] == pytest.approx(2 * np.log(2) - 1)
    # Two values at the quartiles: -2 - ½ (1·2 ln ¼ + 3·2 ln ¾).
    quartiles = stats.norm.ppf([0.25, 0.75])
    expected = -2 - (np.log(1 / 4) + 3 * np.log(3 / 4))
    assert _distance_from_normal(quartiles[:, None])[0] == pytest.approx(expected)


def test_weights_shrink_the_scale_of_linear_residuals():
    design = SimpleNamespace(weight=np.array([1.0, 4.0]), cell=np.array([0, 0]))
    design.residual, design.x, family = None, np.ones((1, 1)), "gaussian"
    model = MixedModel(SimpleNamespace(design=design, residual_sd=2.0, family=family))
    found = model.standardised(np.array([[12.0], [12.0]]), np.array([[10.0]]))
    assert found[:, 0].tolist() == [1.0, 2.0]


@pytest.mark.parametrize(("attempts", "chance"), [(1, 0.5), (12, 0.8)])
def test_residuals_of_hits_from_the_model_are_standard_normal(attempts, chance):
    rng = np.random.default_rng(2)
    hits = rng.binomial(attempts, chance, (4000, 1)).astype(float)
    model = SimpleNamespace(
        binomial=True,
        conditional=lambda u: np.zeros((4000, 1)),
        mean=lambda eta: np.full(eta.shape, chance),
        by_cell=lambda rows: rows,
        weight=np.full(4000, float(attempts)),
        fit=SimpleNamespace(design=None),
    )
    found = _residuals(model, hits, None, rng)[:, 0]
    assert stats.kstest(found, "norm").pvalue > 0.001
