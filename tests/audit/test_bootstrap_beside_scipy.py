"""Our bootstrap of a contrast beside scipy's: where they agree, and why ours stays.

Ours draws residuals within groups and studentises each draw, so that its tails widen where people
are few; ``scipy.stats.bootstrap`` with its default BCa corrects bias and skewness, and no more.
"""

import numpy as np
import pytest
from scipy import stats

from motorlearn.audit.comparison.phase_model import PhaseModel
from motorlearn.audit.comparison.resampled import bootstrapped


def two_groups(rng, n, spread=(1.0, 1.0)):
    codes = np.repeat([0, 1], n)
    y = rng.normal(size=2 * n) * np.repeat(spread, n)
    x = np.full(2 * n, np.nan)
    names = ("blocked", "random")
    return PhaseModel("retention", np.arange(2 * n), y, x, codes, names, ((1, 0),), False, False)


def difference(first, second, axis=-1):
    return first.mean(axis=axis) - second.mean(axis=axis)


def both(model, seed, resamples=999):
    """Interval of ours and of scipy's BCa for the difference of two means."""
    (ours,) = bootstrapped(model, resamples=resamples, seed=seed)
    samples = (model.y[model.codes == 1], model.y[model.codes == 0])
    theirs = stats.bootstrap(
        samples, difference, n_resamples=resamples, vectorized=True, rng=np.random.default_rng(seed)
    ).confidence_interval
    return (ours.conf_low, ours.conf_high), (theirs.low, theirs.high)


def seen(n, spread, sets, seed=3):
    """Median ratio of widths, ours by scipy's, and how often each holds the true zero."""
    rng = np.random.default_rng(seed)
    pairs = np.array([both(two_groups(rng, n, spread), i) for i in range(sets)])
    width = pairs[:, :, 1] - pairs[:, :, 0]
    holds = ((pairs[:, :, 0] <= 0) & (pairs[:, :, 1] >= 0)).mean(axis=0)
    return float(np.median(width[:, 0] / width[:, 1])), holds


def test_with_many_people_both_bootstraps_say_the_same():
    ratio, _ = seen(100, (1.0, 2.0), sets=12)
    assert ratio == pytest.approx(1.0, abs=0.05)


def test_with_few_people_that_of_scipy_is_too_narrow():
    ratio, _ = seen(6, (1.0, 1.0), sets=40)
    assert ratio > 1.15


@pytest.mark.slow
@pytest.mark.parametrize("spread", [(1.0, 1.0), (1.0, 3.0)])
def test_ours_holds_its_level_where_that_of_scipy_does_not(spread):
    """Standard error of a share of 1,000 is .007."""
    ratio, (ours, theirs) = seen(6, spread, sets=1000)
    print(f"{spread}: widths {ratio:.2f}, coverage ours {ours:.3f}, BCa {theirs:.3f}")
    assert ours > 0.925
    assert theirs < ours - 0.02
