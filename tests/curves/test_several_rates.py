"""Forms with two and three rates, many learners at once: never worse than the fit of one."""

import numpy as np
import pytest

from motorlearn.curves import FORMS
from motorlearn.curves.batch.padded import Padded, fit_padded
from motorlearn.curves.single.problem import Problem
from motorlearn.curves.single.solving import solve


@pytest.mark.parametrize(
    ("form", "rates"), [("s_shaped", (0.25, 20.0)), ("two_processes", (0.5, 0.08, 0.6))]
)
def test_together_no_worse_than_alone(form, rates):
    n, rng = np.arange(1.0, 41.0), np.random.default_rng(8)
    y = FORMS[form].curve(n, 20.0, 15.0, rates) + rng.normal(0, 1, (4, 40))
    ones = np.ones(y.shape)
    found = fit_padded(Padded(FORMS[form], np.tile(n, (4, 1)), y, ones, False, 1.0))
    # The first learner's counts are other ones, so that nobody shares the search.
    shifted = np.vstack([n + 1, np.tile(n, (3, 1))])
    apart = fit_padded(Padded(FORMS[form], shifted, y, ones, False, 1.0))
    assert found.settled.all()
    assert apart.loss[1:] == pytest.approx(found.loss[1:], rel=1e-8)
    for own, loss in zip(y[:2], found.loss):
        alone = solve(Problem(FORMS[form], n, own, np.ones(40), False))
        assert loss <= alone.loss * (1 + 1e-8)
